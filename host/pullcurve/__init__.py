"""How much air a suction machine really moves.

import pullcurve
run = pullcurve.read_run("sample_logs/healthy_sweep.runlog")
run.points[["speed_rpm", "standard_flow_m3_s", "standard_flow_u95_m3_s"]]
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pullcurve.reduction.run import Run, read_run

__version__ = "0.1.0"
__all__ = ["Run", "__version__", "read_run"]


def __getattr__(name: str) -> Any:
    """Import the tables' machinery only when it is asked for: `--help` does without."""
    if name in ("Run", "read_run"):
        return getattr(import_module("pullcurve.reduction.run"), name)
    raise AttributeError(f"module 'pullcurve' has no attribute {name!r}")
