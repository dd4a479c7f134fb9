"""How much air a suction machine really moves.

import pullcurve
run = pullcurve.read_run("sample_logs/healthy_sweep.runlog")
run.points[["speed_rpm", "standard_flow_m3_s", "standard_flow_u95_m3_s"]]
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from pullcurve.version import __version__

if TYPE_CHECKING:
    from pullcurve.compare.comparison import compare_runs
    from pullcurve.compare.result import Pair
    from pullcurve.examine import Run, read_run

__all__ = ["Pair", "Run", "__version__", "compare_runs", "read_run"]

_HOMES = {
    "Pair": "pullcurve.compare.result",
    "compare_runs": "pullcurve.compare.comparison",
    "Run": "pullcurve.examine",
    "read_run": "pullcurve.examine",
}


def __getattr__(name: str) -> Any:
    """Import the tables' machinery only when it is asked for: `--help` does without."""
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'pullcurve' has no attribute {name!r}")
