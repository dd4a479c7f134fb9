"""How well a run's data came: records, samples, and how much of the time each channel covers."""

from dataclasses import dataclass
from typing import Annotated, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullcurve.measure.channels import SLOW_COLUMNS
from pullcurve.results import NotNegative, Share, doc
from pullcurve.run_log.reading import Log
from pullcurve.stream.records import RunRecords
from record_format import OK, STALE

_LEAST_GAP: Final = 0.5  # of a block: below this, blocks only begin a little late

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ChannelQuality:
    """How much of the run one channel covers."""

    channel: Annotated[str, doc("its column in the glossary")]
    covered: Annotated[Share, doc("of the run's time")]
    gaps: int
    longest_gap_s: NotNegative
    longest_gap_start_s: float | None
    stale: Annotated[
        Share | None,
        doc("share of the readings that were not yet renewed, null for a shaft's speed"),
    ]
    faulty: Annotated[
        Share | None, doc("share of the readings that failed, null for a shaft's speed")
    ]


@dataclass(frozen=True)
class DataQuality:
    records: int
    lost: Annotated[int, doc("records whose numbers are missing")]
    duplicated: int
    late: int
    damaged: Annotated[dict[str, int], doc("lines that are no record, by reason")]
    board_starts: int
    samples: Annotated[int, doc("of the differential pressure that were used")]
    stale_samples: int
    faulty_samples: int
    clipped_samples: int
    channels: tuple[ChannelQuality, ...]


def data_quality(
    log: Log, records: RunRecords, table: pd.DataFrame, duration_s: float
) -> DataQuality:
    """Count what came and what is missing.

    Parameters
    ----------
    log
        For the lines that are no record.
    records
        The board's, for those that were lost, came twice or came late.
    table
        The channels, a row a block.
    duration_s
        Of the run.
    """
    damaged = records.damaged | {
        f"log line: {reason}": count for reason, count in log.damaged.items()
    }
    return DataQuality(
        records=records.received,
        lost=records.lost,
        duplicated=records.duplicated,
        late=records.late,
        damaged=damaged,
        board_starts=records.blocks["boot"].nunique(),
        samples=int(table["samples"].sum()),
        stale_samples=int(table["stale"].sum()),
        faulty_samples=int(table["faulty"].sum()),
        clipped_samples=int(table["clipped"].sum()),
        channels=_channels(records, table, duration_s),
    )


def _channels(
    records: RunRecords, table: pd.DataFrame, duration_s: float
) -> tuple[ChannelQuality, ...]:
    """Each channel that the board has, one that never gave a reading included."""
    table = table.rename(columns={"sensor_dp_pa": "differential_pressure_pa"})
    readings = float(table[["samples", "stale", "faulty"]].to_numpy().sum())
    shares: dict[str, tuple[float | None, float | None]] = {
        "differential_pressure_pa": (
            float(table["stale"].sum()) / max(readings, 1),
            float(table["faulty"].sum()) / max(readings, 1),
        ),
        "speed_rpm": (None, None),
    }
    if "engine_speed_rpm" in table:
        shares["engine_speed_rpm"] = (None, None)
    slows = records.slows
    for sensor in records.header.sensors:
        status = slows.loc[slows["sensor"] == sensor.index, "status"].to_numpy()
        stale = float(np.mean(status == STALE)) if len(status) else None
        faulty = float(np.mean((status != OK) & (status != STALE))) if len(status) else None
        for channel in sensor.channels:
            column = SLOW_COLUMNS.get((sensor.role, channel.quantity))
            if column is not None:
                shares.setdefault(column, (stale, faulty))
    return tuple(_channel(table, column, duration_s, *shares[column]) for column in shares)


def _channel(
    table: pd.DataFrame, column: str, duration_s: float, stale: float | None, faulty: float | None
) -> ChannelQuality:
    middle, length = table["time_s"].to_numpy(), table["length_s"].to_numpy()
    if column in table:
        known = np.isfinite(table[column].to_numpy())
    else:
        known = np.zeros(len(table), dtype=bool)
    begins = np.append((middle - length / 2)[known], duration_s)
    ends = np.insert((middle + length / 2)[known], 0, 0.0)
    gaps = begins - ends
    wide = gaps > _LEAST_GAP * float(np.median(length))
    longest = int(np.argmax(gaps))
    return ChannelQuality(
        channel=column,
        covered=float(np.clip(1 - gaps[wide].sum() / max(duration_s, 1e-9), 0, 1)),
        gaps=int(wide.sum()),
        longest_gap_s=float(gaps[longest]) if wide.any() else 0.0,
        longest_gap_start_s=float(ends[longest]) if wide.any() else None,
        stale=stale,
        faulty=faulty,
    )
