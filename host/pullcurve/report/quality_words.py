"""How well the data came, in words."""

from typing import Final

from pullcurve.report.result import ChannelQuality, DataQuality
from pullcurve.report.rounding import count, minutes, percent

CHANNELS: Final = {
    "differential_pressure_pa": "differential pressure",
    "speed_rpm": "speed of the blower's shaft",
    "engine_speed_rpm": "speed of the engine's shaft",
    "sensor_temperature_k": "temperature of the pressure sensor",
    "ambient_pressure_pa": "pressure of the open air",
    "ambient_temperature_k": "temperature of the open air",
    "ambient_humidity": "humidity of the open air",
    "meter_pressure_pa": "pressure at the meter",
    "blower_pressure_pa": "pressure at the blower's inlet",
    "tank_pressure_pa": "pressure in the tank",
    "discharge_temperature_k": "discharge temperature",
}


def quality_sentences(quality: DataQuality) -> list[str]:
    """What arrived, what did not, which samples are doubtful, and what time is covered."""
    sentences = [_records(quality)]
    if quality.damaged:
        reasons = ", ".join(f"{number} × {why}" for why, number in sorted(quality.damaged.items()))
        sentences.append(f"Damaged lines, left out: {reasons}.")
    for number, what in ((quality.duplicated, "came twice"), (quality.late, "came late")):
        if number:
            sentences.append(f"{count(number)} record{'s' * (number != 1)} {what}.")
    if quality.board_starts > 1:
        sentences.append(f"The board started {quality.board_starts} times during the run.")
    return [*sentences, _samples(quality), *_coverage(quality)]


def _records(quality: DataQuality) -> str:
    if not quality.records:
        return "No record arrived."
    if not quality.lost:
        return f"All {count(quality.records)} records arrived."
    share = quality.lost / (quality.records + quality.lost)
    return (
        f"{count(quality.records)} records arrived, {count(quality.lost)} are missing "
        f"({percent(share)})."
    )


def _samples(quality: DataQuality) -> str:
    taken = quality.samples + quality.stale_samples + quality.faulty_samples
    faults = [
        f"{count(number)} {what} ({percent(number / taken)})"
        for number, what in (
            (quality.stale_samples, "not yet renewed"),
            (quality.faulty_samples, "faulty"),
            (quality.clipped_samples, "clipped at the end of the sensor's range"),
        )
        if number
    ]
    doubtful = ", ".join(faults) or "none of them late, faulty or clipped"
    return f"Differential pressure: {count(taken)} samples, {doubtful}."


def _coverage(quality: DataQuality) -> list[str]:
    """One sentence on the channels that cover the run, and one for each that does not."""
    holed = [channel for channel in quality.channels if channel.gaps]
    if not holed:
        return ["Every channel covers the whole run."] if quality.channels else []
    covered = [channel for channel in quality.channels if not channel.gaps]
    rest = ["Every other channel covers the whole run."] if covered else []
    return [*map(_gaps, holed), *rest]


def _gaps(channel: ChannelQuality) -> str:
    name = CHANNELS[channel.channel].capitalize()
    if not channel.covered:
        return f"{name}: not one reading."
    times = f"{channel.gaps} gaps, the longest" if channel.gaps > 1 else "one gap,"
    at = (
        "" if channel.longest_gap_start_s is None else f" at {minutes(channel.longest_gap_start_s)}"
    )
    return (
        f"{name}: {percent(channel.covered, 3)} of the run's time covered, {times} "
        f"{channel.longest_gap_s:.1f} s{at}."
    )
