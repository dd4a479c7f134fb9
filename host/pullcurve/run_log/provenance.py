"""Where a result comes from: its log, rig, board and the versions that made it."""

import hashlib
import platform
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any, Final

import numpy as np
import pandas as pd
import scipy

from pullcurve.results import doc
from pullcurve.rig.models import Rig
from pullcurve.run_log.host_records import LOG_FORMAT
from pullcurve.run_log.reading import Log
from pullcurve.stream.records import RunRecords
from pullcurve.version import __version__

_LIBRARIES: Final[tuple[Any, ...]] = (np, pd, scipy)


@dataclass(frozen=True)
class Provenance:
    log_name: str
    log_sha256: str
    log_format: int
    rig_name: str
    rig_sha256: Annotated[str | None, doc("of the rig file's text, null where there is none")]
    board: str
    board_id: str
    firmware: str
    record_format: int
    pullcurve: str
    libraries: Annotated[dict[str, str], doc("versions of what the numbers depend on")]
    started: Annotated[datetime | None, doc("host time of the first block, with its zone")]


def provenance(log: Log, records: RunRecords, rig: Rig) -> Provenance:
    """Say where what is reckoned from these comes from."""
    header = records.header
    began_s = log.received[0].host_time.timestamp() + records.host_offset_s
    zone = log.received[0].host_time.tzinfo
    text = rig.text
    return Provenance(
        log_name=log.path.name,
        log_sha256=_sha256(log.path.read_bytes()),
        log_format=LOG_FORMAT,
        rig_name=rig.name,
        rig_sha256=_sha256(text.encode("utf-8")) if text else None,
        board=header.board,
        board_id=header.board_id,
        firmware=header.firmware,
        record_format=header.format,
        pullcurve=__version__,
        libraries={"Python": platform.python_version()}
        | {module.__name__: module.__version__ for module in _LIBRARIES},
        started=datetime.fromtimestamp(began_s, zone),
    )


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
