"""The flow ledger: from the rated flow to the flow that is measured, a step per cause.

All of it at the fastest hold of the first sweep, in each sample of the machine; so the steps
add up exactly in every sample, and in the means. Volume flows are at the state of the air at
the blower's inlet; times its density there they are mass flows.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from pullcurve.diagnosis.causes import Posterior, at_top
from pullcurve.diagnosis.evidence import Evidence
from pullcurve.diagnosis.priors import priors
from pullcurve.diagnosis.result import FlowLedger, LedgerStep, RatedFlow
from pullcurve.diagnosis.verdict import interval
from pullcurve.physics import air
from pullcurve.physics.path import AirPath, operating_point
from pullcurve.results import Interval

Array = NDArray[np.float64]

SEPARATES: Final = "discharge_rise"  # the reading that tells wear from a leak at the blower


def ledger(evidence: Evidence, posterior: Posterior) -> FlowLedger:
    """The ledger of a run's machine."""
    state, top, facts = posterior.state, evidence.top, evidence.facts
    setting = evidence.setting
    rt = setting.gas_constant[top] * setting.temperature[top] * posterior.x["warming"][:, 0]
    density = state.inlet_pressure[:, top] / rt
    displacement = posterior.x["displacement"][:, 0]
    blower_rpm = state.speed_rpm[:, top]
    # As turns of a blower without belt slip; a belt ratio's doubt comes in with the low speed.
    engine_rpm = facts.rated_rpm * (1 - posterior.low_speed)

    def volume(mass_flow: Array) -> Array:
        return np.asarray(mass_flow[:, top] / density)

    rated = np.full(len(displacement), facts.rated_flow_m3_s)
    governor = displacement * (facts.rated_rpm - engine_rpm) / 60
    belt = displacement * (engine_rpm - blower_rpm) / 60
    healthy = displacement * (blower_rpm - _healthy_slip(evidence, posterior)) / 60
    wear = healthy - volume(state.blower_flow)
    leak_a, leak_b, leak_c = (volume(getattr(state, f"leak_{place}")) for place in "abc")
    in_pipe = bool(setting.in_pipe[top])
    behind = {"leak_c": leak_c} if in_pipe else {"leak_b": leak_b, "leak_c": leak_c}
    steps = {"governor": governor, "belt": belt, "slip": rated - governor - belt - healthy}
    if any(reading.quantity == SEPARATES for reading in evidence.readings):
        steps["wear"] = wear
        steps["leak_behind"] = sum(behind.values(), start=np.zeros_like(wear))
    else:
        steps["wear_and_leak_behind"] = sum(behind.values(), start=wear)
    if not in_pipe:
        steps["leak_ahead"] = leak_a
    metered = volume(state.metered_flow)
    ahead = leak_a + leak_b if in_pipe else np.zeros_like(leak_a)

    # A sound machine may leak a little or not at all, and its belt slip: of that the low end
    # knows nothing, unless both shafts are watched.
    trifles = {}
    for fault, loss in {
        "leak_a": leak_a,
        "leak_b": leak_b,
        "leak_c": leak_c,
        "slipping_belt": belt,
    }.items():
        faulty = np.array([fault in hypothesis.faults for hypothesis in posterior.hypotheses])
        trifles[fault] = np.where(faulty[posterior.sampled], 0.0, loss)
    behind_trifle = sum((trifles[place] for place in behind), start=np.zeros_like(wear))
    trifle_of = {
        "leak_ahead": trifles["leak_a"],
        "leak_behind": behind_trifle,
        "wear_and_leak_behind": behind_trifle,
    }
    if evidence.speeds.engine is None or evidence.speeds.blower is None:
        trifle_of["belt"] = trifles["slipping_belt"]

    def step(name: str, samples: Array) -> LedgerStep:
        trifle = trifle_of.get(name, np.zeros_like(samples))
        return LedgerStep.of(
            name,
            _reaching(interval(samples), samples - trifle),
            _reaching(interval(samples * density), (samples - trifle) * density),
        )

    return FlowLedger(
        point=evidence.number(top),
        speed_rpm=float(setting.shaft_rpm[top]),
        inlet_pressure_pa=float(np.mean(state.inlet_pressure[:, top])),
        inlet_temperature_k=float(np.mean(setting.temperature[top] * posterior.x["warming"][:, 0])),
        rated=step("rated", rated),
        steps=tuple(step(name, samples) for name, samples in steps.items()),
        healthy=step("healthy", healthy),
        metered=step("metered", metered),
        shortfall=step("shortfall", rated - metered),
        lost=step("lost", healthy - metered),
        ahead_of_meter=step("ahead_of_meter", ahead),
        relieved=tuple(
            LedgerStep.of(name, interval(mass / density), interval(mass))
            for name, mass in _relieved(evidence, posterior).items()
        ),
        rated_from=_rated(evidence),
    )


def _rated(evidence: Evidence) -> RatedFlow:
    """The rated flow as standard flow, in the sheet's air and in that of the site."""
    facts, top = evidence.facts, evidence.top
    here = float(evidence.setting.ambient_pressure[top])
    warmth = float(evidence.setting.temperature[top])
    standard = air.STANDARD_CONDITIONS.density()
    at_sheet = air.density(facts.rated_pressure_pa, facts.rated_temperature_k, 0.0)
    at_site = air.density(
        here * facts.rated_pressure_share,
        warmth,
        air.vapour_fraction(here, warmth, evidence.humidity),
    )
    return RatedFlow(
        source=facts.basis,
        speed_rpm=facts.rated_rpm,
        flow_m3_s=facts.rated_flow_m3_s,
        sheet_pressure_pa=facts.rated_pressure_pa,
        sheet_temperature_k=facts.rated_temperature_k,
        standard_flow_there_m3_s=facts.rated_flow_m3_s * (float(at_sheet) / standard),
        standard_flow_here_m3_s=facts.rated_flow_m3_s * (float(at_site) / standard),
    )


def _reaching(of: Interval, without: Array) -> Interval:
    """The interval, its low end as far down as that of the samples without trifles."""
    return Interval(of.value, min(of.low, interval(without).low), of.high)


def _healthy_slip(evidence: Evidence, posterior: Posterior) -> Array:
    """Slip in rpm at the top point of a blower in good order: of any that is built to this
    sheet, or of this very one where an earlier run shows it when it was."""
    own = posterior.state.healthy_slip_rpm[:, evidence.top]
    if not evidence.judged.all():
        return own
    z = np.random.default_rng(0).standard_normal(len(own))
    any_of_it = priors().scatter["slip"].value(z)
    return np.asarray(own * any_of_it / posterior.x["slip_scatter"][:, 0])


def _relieved(evidence: Evidence, posterior: Posterior) -> dict[str, Array]:
    """Metered mass flow at the top point with a filter in good order, and with an open port."""
    setting, x, start = at_top(evidence, posterior)
    found = {}
    cases = {
        "clean_filter": {name: x[f"healthy_{name}"] for name in ("filter_linear", "filter_square")},
        "clear_intake": {name: x[f"healthy_{name}"] for name in ("intake_term", "hose_loss")},
    }
    if setting.hose_on.any():
        cases["open_port"] = {
            "intake_term": x["healthy_intake_term"],
            "hose_loss": np.zeros((1, 1)),
        }
    for name, changed in cases.items():
        found[name] = operating_point(AirPath.of(x | changed), setting, start).metered_flow[:, 0]
    return found
