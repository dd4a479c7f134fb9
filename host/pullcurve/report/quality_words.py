"""How well the data came, in words."""

from typing import Final

from pullcurve.checks.data_quality import ChannelQuality, DataQuality
from pullcurve.rounding import count, counted, minutes, percent, times

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
    "supply_v": "supply voltage of the board",
}

_DAMAGE: Final = {
    "bad_crc": "with a wrong check sum",
    "foreign": "that no board of ours writes",
    "truncated": "cut short",
    "unknown_kind": "of a kind that this version does not know",
    "malformed": "with fields that are not those of their kind",
    "no time or origin": "without a time or an origin",
    "impossible time": "with a time that cannot be",
}


def quality_sentences(quality: DataQuality) -> list[str]:
    """What arrived, what did not, which samples are doubtful, and what time is covered."""
    sentences = [_records(quality)]
    if quality.damaged:
        reasons = ", ".join(
            f"{count(number)} {_damage(why)}" for why, number in sorted(quality.damaged.items())
        )
        sentences.append(f"Damaged lines, left out: {reasons}.")
    for number, what in ((quality.duplicated, "came twice"), (quality.late, "came late")):
        if number:
            sentences.append(f"{counted(number, 'record')} {what}.")
    if quality.board_starts > 1:
        sentences.append(f"The board started {times(quality.board_starts)} during the run.")
    return [*sentences, _samples(quality), *_coverage(quality)]


def _damage(reason: str) -> str:
    place, _, code = reason.rpartition(": ")
    said = _DAMAGE.get(code, code)
    return f"{said} ({place.rpartition(': ')[2]})" if place else said


def _records(quality: DataQuality) -> str:
    if not quality.records:
        return "No record arrived."
    if not quality.lost:
        return f"{'All ' * (quality.records > 1)}{counted(quality.records, 'record')} arrived."
    share = quality.lost / (quality.records + quality.lost)
    return (
        f"{counted(quality.records, 'record')} arrived, {count(quality.lost)} "
        f"{'is' if quality.lost == 1 else 'are'} missing "
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
    return f"Differential pressure: {counted(taken, 'sample')}, {doubtful}."


def _coverage(quality: DataQuality) -> list[str]:
    """One sentence on the channels that cover the run, and one for those with the same gaps."""
    holed = [channel for channel in quality.channels if channel.gaps]
    if not holed:
        return ["Every channel covers the whole run."] if quality.channels else []
    alike: dict[str, list[str]] = {}
    for channel in holed:
        alike.setdefault(_gaps(channel), []).append(CHANNELS[channel.channel])
    told = [f"{', '.join(names).capitalize()}: {gaps}" for gaps, names in alike.items()]
    covered = [channel for channel in quality.channels if not channel.gaps]
    rest = ["Every other channel covers the whole run."] if covered else []
    return [*told, *rest]


def _gaps(channel: ChannelQuality) -> str:
    if not channel.covered:
        return "not one reading."
    times = f"{channel.gaps} gaps, the longest" if channel.gaps > 1 else "one gap,"
    at = (
        "" if channel.longest_gap_start_s is None else f" at {minutes(channel.longest_gap_start_s)}"
    )
    return (
        f"{percent(channel.covered, 3)} of the run's time covered, {times} "
        f"{channel.longest_gap_s:.1f} s{at}."
    )
