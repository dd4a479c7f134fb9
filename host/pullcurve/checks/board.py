"""What board, link, log and notes show. Thresholds are judgements."""

from collections.abc import Iterator
from typing import Final

import numpy as np
import pandas as pd

from pullcurve.checks.catalogue import Finding, Kind, found
from pullcurve.measure.measurement import Measurement
from record_format import STATUS_NAMES

WARMED_K: Final = 8.0
LOST_SHARE: Final = 0.01
CLOCK_JUMP_S: Final = 1.0
STEADY_BLOCKS: Final = 120


def warmed(run: Measurement) -> Iterator[Finding]:
    """A sensor that changed its temperature."""
    table = run.channels.table
    if "sensor_temperature_k" in table:
        known = table["sensor_temperature_k"].dropna()
        change = float(known.max() - known.min()) if len(known) else 0.0
        if change > WARMED_K:
            yield found(Kind.BOARD_WARMED, warmed=change)


def board_and_link(run: Measurement) -> Iterator[Finding]:
    """What went missing between sensor and log."""
    records = run.records
    every = records.lost + records.received
    if records.lost > LOST_SHARE * every:
        yield found(Kind.RECORDS_LOST, lost=records.lost, all=every)
    jumped = _clock_jump(run)
    if jumped > CLOCK_JUMP_S:
        yield found(Kind.CLOCK_JUMP, jumped=jumped)
    boots = records.blocks["boot"].nunique()
    if boots > 1:
        yield found(Kind.BOARD_RESET, boots=boots)
    for subject, rows in records.events[records.events["code"] == "sensor_lost"].groupby("subject"):
        statuses = sorted({v for v in rows["value"] if 0 <= v < len(STATUS_NAMES)})
        yield found(
            Kind.SENSOR_LOST,
            str(subject),
            times=len(rows),
            first=float(rows["time_s"].iloc[0]),
            statuses=" and ".join(STATUS_NAMES[value].replace("_", " ") for value in statuses),
        )
    dropped = int(records.events.loc[records.events["code"] == "dropped", "value"].sum())
    if dropped and records.lost:  # else they were dropped on another link
        yield found(Kind.RECORDS_DROPPED, dropped=dropped)


def _clock_jump(run: Measurement) -> float:
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


def log(run: Measurement) -> Iterator[Finding]:
    """A log that breaks off, and a run without a settled point."""
    if run.log.breaks_off:
        yield found(Kind.LOG_CUT_OFF)
    if run.points.empty:
        yield found(Kind.NO_SETTLED_POINT)


def notes(run: Measurement) -> Iterator[Finding]:
    """Notes at places that the run does not have."""
    for at in run.notes.loc[run.notes["time_s"].isna(), "at"].unique():
        yield found(Kind.NOTE_MISPLACED, at=str(at))


def events(run: Measurement) -> Iterator[Finding]:
    """What the board said of itself, and what was lost of it."""
    happened = run.records.events
    for text in happened.loc[happened["code"] == "config", "text"].unique():
        yield found(Kind.BOARD_SAYS, text=str(text))
    slots = int(happened.loc[happened["code"] == "late", "value"].sum())
    if slots:
        yield found(Kind.BOARD_LATE, slots=slots)
    times = int((happened["code"] == "pickup_dead").sum())
    if times:
        yield found(Kind.PICKUP_RESTARTED, times=times)
    damaged = sum(run.records.damaged.values()) + sum(run.log.damaged.values())
    lost = run.records.lost
    if lost or damaged:
        case = "both" if lost and damaged else "lost" if lost else "damaged"
        yield found(Kind.RECORDS_MISSING, case=case, lost=lost, damaged=damaged)
