"""How long commands take, as ratios measured in one run: python tests/bench/command_times.py

Whole processes, in turn, so that a machine whose speed drifts slows both of a pair alike. Prints
the median CPU time of each and the median of the pairs' ratios or differences.
"""

import os
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from pullcurve.bench.plant import simulate
from pullcurve.bench.scenario import load_scenario, shipped_scenarios
from pullcurve.bench.world import World
from pullcurve.recording import record
from pullcurve.rig.loading import load_rig
from pullcurve.run_log.writing import LogWriter
from pullcurve.sources.bench import BenchLink

RUNS = 9
RIG = Path(__file__).parents[2] / "hardware/rigs/port.toml"
LIBRARIES = (
    "import click, jinja2, pandas, scipy.optimize, scipy.special, tomllib, matplotlib.figure, "
    "matplotlib.backends.backend_agg, matplotlib.backends.backend_svg; "
    "from pydantic import BaseModel"  # which pydantic imports only when it is asked for
)


def cpu_s(*command: str) -> float:
    before = os.times()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    after = os.times()
    return (after.children_user - before.children_user) + (
        after.children_system - before.children_system
    )


def pairs(first: tuple[str, ...], second: tuple[str, ...]) -> list[tuple[float, float]]:
    cpu_s(*first)
    cpu_s(*second)
    return [(cpu_s(*first), cpu_s(*second)) for _ in range(RUNS)]


def ten_minutes(path: Path) -> None:
    """A bench log of ten minutes: the healthy sweep with its last speed held on."""
    scenario = load_scenario(shipped_scenarios()["healthy_sweep"])
    engine = scenario.machine.engine
    throttle = tuple(point for point in engine.throttle if point[1] > 0 or point[0] < 100)
    held = ((600.0, throttle[-1][1]),) if throttle[-1][0] < 600 else ()
    scenario = scenario.model_copy(
        update={
            "duration_s": 600.0,
            "machine": scenario.machine.model_copy(
                update={"engine": engine.model_copy(update={"throttle": throttle + held})}
            ),
        }
    )
    with (
        BenchLink(scenario, World(scenario, simulate(scenario))) as link,
        LogWriter(path, now=scenario.start) as writer,
    ):
        writer.rig(scenario.start, load_rig(RIG).text)
        record(link, writer)


def main() -> None:
    python = sys.executable
    pullcurve = str(Path(python).with_name("pullcurve"))
    help_times = pairs((pullcurve, "--help"), (python, "-c", "pass"))
    more = [ours - bare for ours, bare in help_times]
    print(f"--help: {statistics.median(more):.3f} s more than bare Python (aim: under 0.3)")
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "ten_minutes.runlog"
        ten_minutes(log)
        report_times = pairs((pullcurve, "report", str(log)), (python, "-c", LIBRARIES))
        read = "from pullcurve import read_run; from pullcurve.diagnosis.diagnose import diagnose; "
        read += f"run = read_run({str(log)!r})"
        verdict_times = pairs((python, "-c", f"{read}; diagnose(run)"), (python, "-c", read))
    verdicts = [ours - bare for ours, bare in verdict_times]
    print(f"verdict: {statistics.median(verdicts):.2f} s beyond reading the run (aim: under 2)")
    ratios = [ours / bare for ours, bare in report_times]
    print(
        f"report of ten minutes: {statistics.median(ratios):.2f} times the import of the "
        f"libraries it needs (aim: at most 1.5); "
        f"{statistics.median(ours for ours, _ in report_times):.2f} s against "
        f"{statistics.median(bare for _, bare in report_times):.2f} s"
    )


if __name__ == "__main__":
    main()
