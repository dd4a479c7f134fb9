"""Looks for each trouble in a reduced run. Thresholds are judgements unless a source is named."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pullcurve.checks.meter_limits import findings
from pullcurve.checks.pickup import pickup_troubles
from pullcurve.measure.meter import of_no_standard
from pullcurve.measure.swirl import (
    inlet_loss,
    is_clogged,
    is_disturbed,
    lacks_straightener,
)
from pullcurve.measure.troubles import STOPPED, Number, Trouble
from record_format import STATUS_NAMES

if TYPE_CHECKING:
    from pullcurve.examine import Run

CLIPPED_SHARE = 0.02  # of a point's blocks, from which on its result is withheld
MOVED_SPANS = 0.004  # of the span, by which a zero may move in a run without being named
SUDDEN_SPANS, SUDDEN_PA = 0.003, 15.0  # by which drift and warmth move no zero in a run
WARMED_K = 8.0
LOST_SHARE = 0.01
CLOCK_JUMP_S = 1.0
STEADY_BLOCKS = 120
_FIT = "Fit a straightener (a nest of tubes, an egg crate) ahead of the upstream tap."


def find_troubles(run: "Run") -> list[Trouble]:
    """All troubles of a run."""
    found = list(run.around.troubles) if run.around else []
    reversed_tubes = list(_tubes_reversed(run))
    found += reversed_tubes
    if not reversed_tubes:
        found += [*_clipping(run), *_water(run)]
    found += pickup_troubles(run)
    found += _zero(run)
    found += _meter(run)
    found += _straightener(run)
    found += _board_and_link(run)
    return found


def _tubes_reversed(run: "Run") -> Iterator[Trouble]:
    """Negative while the blower turns; a one-sided sensor stands at its lower end instead."""
    table = run.channels.table
    turning = table["speed_rpm"] > 0
    if not turning.any():
        return
    zeroed = (table["differential_pressure_pa"] - table["zero_pa"])[turning]
    limit = 3 * run.zeros.half_width_pa() + 0.005 * run.channels.span_pa
    at_top = zeroed[table["speed_rpm"][turning] >= 0.8 * table["speed_rpm"].max()]
    if len(at_top) and at_top.median() < -limit:
        yield Trouble(
            "tubes_reversed",
            "differential pressure",
            "While the blower turns the differential pressure falls by {fall}; with the tubes on "
            "the right ports it rises.",
            STOPPED + "put the upstream tap's tube on the port marked +, the throat's on the "
            "other, and run again.",
            "withheld",
            numbers=(Number("fall", "differential_pressure", abs(at_top.median())),),
        )


def _clipping(run: "Run") -> Iterator[Trouble]:
    table = run.channels.table
    clipped = table["clipped_block"].to_numpy(bool)
    if not clipped.any():
        return
    ends = table.loc[clipped, "greatest_pa"]
    share = run.points["clipped_share"] if len(run.points) else pd.Series(dtype=float)
    withheld = int((share > CLIPPED_SHARE).sum())
    yield Trouble(
        "sensor_clipped",
        "differential pressure",
        f"In {clipped.sum()} of {len(table)} blocks, {withheld} holds among them, samples stood at "
        "one end of the sensor's range (about {end}); the true pressure lies "
        "beyond it.",
        "Use a sensor of a wider range, or a tube with a wider throat.",
        "withheld" if withheld else "none",
        numbers=(Number("end", "differential_pressure", float(ends.median()), 3),),
    )


def _water(run: "Run") -> Iterator[Trouble]:
    """An offset that the engine-off zeros do not take off, or where no sweep could tell one, a
    zero that moved by more than a sensor's own does."""
    named = [offset for offset in run.offsets if offset.named]
    moved = _zero_moved(run)
    action = (
        STOPPED + "take the lines off the sensor, let them drain and dry, lay them so that they "
        "rise to the sensor, and run again."
    )
    for offset in named:
        if offset.turning_only:
            when = "It is there in every hold, and not while the engine is off."
        elif offset.from_s is None:
            when = f"It is there from the beginning, and goes at about {offset.to_s or 0:.0f} s."
        else:
            when = f"It comes at about {offset.from_s:.0f} s" + (
                f" and goes at about {offset.to_s:.0f} s." if offset.to_s else " and stays."
            )
        yield Trouble(
            "water_in_line",
            "differential pressure",
            "The differential pressure fits speeds and zeros only with an offset of about "
            f"{{offset}}, as water or dirt in one of the sensor's lines makes "
            f"it. {when} It is taken off, as well as it is known.",
            action,
            "widened",
            offset.from_s,
            offset.to_s,
            (Number("offset", "differential_pressure", offset.greatest_pa, signed=True),),
        )
    if not run.offsets and abs(moved) > max(SUDDEN_SPANS * run.channels.span_pa, SUDDEN_PA):
        yield Trouble(
            "water_in_line",
            "differential pressure",
            "The zero moved by {moved} between engine stops, more than a sensor's own "
            "does. Water or dirt in one of its lines does that.",
            action,
            "widened",
            numbers=(_moved(moved),),
        )


def _moved(pa: float) -> Number:
    return Number("moved", "differential_pressure", pa, signed=True)


def _zero_moved(run: "Run") -> float:
    zeros = run.zeros.table["zero_pa"]
    return float(zeros.iloc[-1] - zeros.iloc[0]) if len(zeros) > 1 else 0.0


def _zero(run: "Run") -> Iterator[Trouble]:
    if run.zeros.table.empty:
        yield Trouble(
            "no_zero",
            "zero",
            "No stretch with the engine off was found, so the zero of the differential pressure is "
            "known from the sensor's data sheet only.",
            "Let the logger run for 10 s with the engine off before and after a sweep.",
            "widened",
        )
    moved = _zero_moved(run)
    if abs(moved) > MOVED_SPANS * run.channels.span_pa:
        yield Trouble(
            "zero_moved",
            "zero",
            "The zero moved by {moved} between the first engine stop and the last.",
            "Keep the board out of the sun, let it warm up before the run, and take a zero before "
            "and after each sweep.",
            "widened",
            numbers=(_moved(moved),),
        )
    table = run.channels.table
    if "sensor_temperature_k" in table:
        warmed = _span(table["sensor_temperature_k"])
        if warmed > WARMED_K:
            yield Trouble(
                "board_warmed",
                "board",
                "The sensor's own temperature changed by {warmed} during the run; its zero "
                "and gain follow that, within the sensor's stated limits.",
                "Keep the board in the shade, and let it stand for ten minutes before the run.",
                "none",
                numbers=(Number("warmed", "temperature_difference", warmed),),
            )


def _span(values: pd.Series) -> float:
    known = values.dropna()
    return float(known.max() - known.min()) if len(known) else 0.0


def _meter(run: "Run") -> Iterator[Trouble]:
    if run.flows is None:
        return
    if not run.flows.state.converged.all():
        yield Trouble(
            "no_solution",
            "meter",
            "At some points the flow equation has no solution: the differential pressure is more "
            "than this meter can have.",
            "Check the bores in the rig and the sensor's range in board.json.",
            "withheld",
        )
    for finding in findings(run.rig.meter, run.flows.state):
        if finding.consequence == "widened" and finding.quantity != "Reynolds number":
            yield Trouble("meter_limit", "meter", finding.sentence, "", finding.consequence)


def _straightener(run: "Run") -> Iterator[Trouble]:
    """A flow that is not straight, and a mouth that costs too much."""
    meter, points = run.rig.meter, run.points
    if run.flows is None or run.around is None:
        return
    seen = inlet_loss(meter, run.flows, run.around)
    clogged = is_clogged(meter, seen)
    if is_disturbed(points):
        restless = 100 * float(points["restlessness"].median())
        yield Trouble(
            "straightener_clogged" if meter.straightener else "straightener_missing",
            "meter",
            f"At steady speed the differential pressure wanders by {restless:.1f} % from one half "
            "second to the next, as it does behind eddies and swirl. Nothing here tells how far "
            "the coefficient is off for them.",
            STOPPED
            + "look into the pipe ahead of the meter. "
            + ("Clean the straightener, and fix it." if meter.straightener else _FIT)
            + " Then run again.",
            "widened",
        )
    elif lacks_straightener(meter):
        yield Trouble(
            "straightener_missing",
            "meter",
            "The rig says that there is no straightener, and it states no straight pipe that is "
            "long enough without one. A steady swirl shows in no reading.",
            STOPPED + _FIT[0].lower() + _FIT[1:],
            "none" if of_no_standard(meter) else "widened",
        )
    if clogged and seen is not None:
        yield Trouble(
            "straightener_clogged",
            "meter",
            f"From the open air to the upstream tap {seen[0]:.1f} velocity heads are lost, and the "
            f"rig says {meter.inlet_loss:.1f}. The flow is worked out with the pressure measured "
            "there, but what clogs the mouth may stir the flow as well.",
            STOPPED + "clean the mouth and the straightener, or mend inlet_loss in the rig.",
            "none",
        )


def _board_and_link(run: "Run") -> Iterator[Trouble]:
    records = run.records
    if records.lost > LOST_SHARE * (records.lost + records.received):
        yield Trouble(
            "records_lost",
            "link",
            f"{records.lost} of {records.lost + records.received} records are missing.",
            "Use a shorter cable, away from the ignition, and keep the recorder running.",
            "none",
        )
    drift = _clock_jump(run)
    if drift > CLOCK_JUMP_S:
        yield Trouble(
            "clock_jump",
            "host's clock",
            f"The computer's clock jumped by {drift:.1f} s during the run. Board time is used, so "
            "no flow depends on it; notes typed live may sit at the wrong time.",
            "",
            "none",
        )
    boots = records.blocks["boot"].nunique()
    if boots > 1:
        yield Trouble(
            "board_reset",
            "board",
            f"The board started {boots} times during the run; what it measured before and after is "
            "joined by the computer's clock.",
            "Check the board's supply: the plug, the cable, the battery.",
            "none",
        )
    for subject, rows in records.events[records.events["code"] == "sensor_lost"].groupby("subject"):
        statuses = sorted({v for v in rows["value"] if 0 <= v < len(STATUS_NAMES)})
        words = " and ".join(STATUS_NAMES[value].replace("_", " ") for value in statuses)
        yield Trouble(
            "sensor_lost",
            str(subject),
            f"The sensor stopped answering {len(rows)} times, first at "
            f"{rows['time_s'].iloc[0]:.0f} s ({words}).",
            "Check its plug and its wires; vibration loosens both.",
            "none",
        )
    dropped = int(records.events.loc[records.events["code"] == "dropped", "value"].sum())
    if dropped and records.lost:  # else they were dropped on another link
        yield Trouble(
            "records_dropped",
            "link",
            f"The board dropped {dropped} records, the oldest first, because nobody read them.",
            "Keep the recorder running, and close other programs on the same port.",
            "none",
        )


def _clock_jump(run: "Run") -> float:
    """The largest change of the host's clock against the board's, beyond their drift."""
    records = run.records
    greatest = 0.0
    for _, rows in records.blocks[~records.blocks["late"]].groupby("boot"):
        host_s = rows["host_s"].to_numpy()
        # What nobody read for a while comes all at once, and late.
        in_turn = np.diff(host_s, append=np.inf) > 0.3e-6 * records.header.block_us
        late = (host_s - rows["time_s"].to_numpy())[in_turn]
        if len(late) > 3 * STEADY_BLOCKS:
            smooth = pd.Series(late).rolling(STEADY_BLOCKS).median().dropna().to_numpy()
            steps = np.abs(smooth[STEADY_BLOCKS:] - smooth[:-STEADY_BLOCKS])
            greatest = max(greatest, float(steps.max()))
    return greatest
