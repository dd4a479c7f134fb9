"""What the same machine would do in good order, here and now; and what wear alone would take.

Each sample of the posterior is put in order: no fault, what it breathes through as it was. So
the doubt about sheet, filter and hose stays in the answer, and the meter's does not come in.
"""

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import elementwise

from pullcurve.diagnosis.causes import Posterior
from pullcurve.diagnosis.evidence import Evidence
from pullcurve.diagnosis.priors import priors
from pullcurve.diagnosis.result import WearAlone
from pullcurve.diagnosis.verdict import interval
from pullcurve.physics.blower import blanked_inlet_pressure
from pullcurve.physics.path import AirPath, State, operating_point
from pullcurve.results import Interval

Array = NDArray[np.float64]

MAX_WEAR: Final = 200.0  # times the healthy slip
WEAR_TOLERANCE: Final = 1e-8  # of its logarithm
_ENOUGH: Final = 300  # samples for a figure that is told to two digits


def healthy_band(evidence: Evidence, posterior: Posterior) -> list[Interval]:
    """Mass flow at the meter's place, kg/s, of the machine in good order at each judged point:
    at the speed that was measured, through the hose or plate that was on."""
    judged = evidence.judged
    state = _solved(evidence, _in_order(posterior), judged, posterior)
    return [interval(state.metered_flow[:, i]) for i in range(int(judged.sum()))]


def hose_end_flow(evidence: Evidence, posterior: Posterior) -> tuple[Interval, bool] | None:
    """Mass flow in kg/s that enters at the hose's far end at the fastest hold, as the machine is
    now; and whether the hose was on. With the hose off, that of the hose in the rig, without
    the meter; None where there is no hose."""
    top, setting = evidence.top, evidence.setting
    if setting.hose_on[top]:
        return interval(posterior.state.intake_flow[:, top]), True
    loss = evidence.facts.hose_loss
    if loss is None:
        return None
    z = np.random.default_rng(0).standard_normal((len(posterior.sampled), 1))
    law = priors().scatter[f"hose_{evidence.facts.hose_wall}"]
    x = dict(posterior.x) | {"hose_loss": loss * law.value(z)}
    if not setting.in_pipe[top]:
        x["meter_term"] = np.zeros((1, 1))
    state = _solved(evidence, x, _only(evidence, top), posterior, hose_on=True)
    return interval(state.intake_flow[:, 0]), False


def wear_alone(evidence: Evidence, posterior: Posterior) -> WearAlone:
    """At the fastest hold, sought in the logarithm of the slip's multiple."""
    top = evidence.top
    rows = np.arange(0, len(posterior.sampled), max(1, len(posterior.sampled) // _ENOUGH))
    x = {name: value[rows] for name, value in _in_order(posterior).items()}
    wanted = posterior.state.metered_flow[rows, top]

    def excess(logarithm: Array, some: NDArray[np.int64]) -> Array:
        worn = {name: value[some] for name, value in x.items()}
        worn["wear"] = np.exp(logarithm)[:, None]
        state = _solved(evidence, worn, _only(evidence, top), posterior, rows[some])
        return np.asarray(state.metered_flow[:, 0] - wanted[some])

    ends = (0.0, np.log(MAX_WEAR))
    found = elementwise.find_root(
        excess, ends, args=(np.arange(len(rows)),), tolerances={"xatol": WEAR_TOLERANCE}
    )
    # Where even the end of the range moves more, or less, that end is the answer.
    nearest = np.where(found.f_bracket[0] < 0, *ends)
    ratio = np.exp(np.where(found.success, found.x, nearest))
    setting = evidence.setting
    blanked = blanked_inlet_pressure(
        setting.shaft_rpm[top] * (1 - x["belt"][:, 0] * float(setting.belt_between[top])),
        x["slip_speed"][:, 0] * ratio,
        setting.ambient_pressure[top],
        temperature=setting.temperature[top] * x["warming"][:, 0],
        mass_ratio=setting.mass_ratio[top],
        laminar_share=x["laminar_share"][:, 0],
    )
    return WearAlone(interval(ratio), interval(setting.ambient_pressure[top] - blanked))


def _in_order(posterior: Posterior) -> dict[str, Array]:
    x = {
        name: posterior.x.get(f"healthy_{name}", value)
        for name, value in posterior.x.items()
        if not name.startswith("healthy_")
    }
    number = len(posterior.sampled)
    usual_belt = priors().scatter["belt"].value(np.zeros((number, 1)))
    x |= {"wear": np.ones((number, 1)), "belt": usual_belt}
    for place in ("leak_a", "leak_b", "leak_c"):
        leaky = np.array([place in hypothesis.faults for hypothesis in posterior.hypotheses])
        x[place] = np.where(leaky[posterior.sampled][:, None], 0.0, x[place])
    return x


def _only(evidence: Evidence, point: int) -> NDArray[np.bool_]:
    return np.asarray(np.arange(evidence.judged.size) == point)


def _solved(
    evidence: Evidence,
    x: dict[str, Array],
    points: NDArray[np.bool_],
    posterior: Posterior,
    rows: NDArray[np.int64] | None = None,
    *,
    hose_on: bool | None = None,
) -> State:
    setting = evidence.setting.chosen(points)
    if hose_on is not None:
        setting = replace(setting, hose_on=np.full_like(setting.hose_on, hose_on))
    start = posterior.state.inlet_pressure / evidence.setting.ambient_pressure
    start = start[:, points] if rows is None else start[np.ix_(rows, np.flatnonzero(points))]
    at_points = {
        name: value[:, points] if value.shape[1] == points.size else value
        for name, value in x.items()
    }
    return operating_point(AirPath.of(at_points), setting, start)
