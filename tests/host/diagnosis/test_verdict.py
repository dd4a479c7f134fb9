"""Verdict, ledger and deciding reading on the bench's plant, whose truth is known."""

from functools import cache

import numpy as np
import pytest
from machines_of_the_bench import SPEEDS, TURN_M3, Truth, evidence, solved, with_readings_of

from pullcurve.diagnosis.causes import Posterior, posterior
from pullcurve.diagnosis.evidence import Evidence
from pullcurve.diagnosis.ledger import ledger
from pullcurve.diagnosis.priors import priors
from pullcurve.diagnosis.readings import deciding_reading
from pullcurve.diagnosis.result import DecidingReading, FlowLedger
from pullcurve.diagnosis.verdict import Verdict, verdict

TOP = len(SPEEDS) - 1
SENSORS = ("inlet_vacuum", "tank_vacuum")


@cache
def believed(truth: Truth) -> tuple[Evidence, Posterior]:
    seen = evidence(truth)
    return seen, posterior(seen, priors())


def judged(truth: Truth, *troubles: str) -> Verdict:
    return verdict(*believed(truth), frozenset(troubles))


def decided_by(truth: Truth) -> DecidingReading | None:
    seen, found = believed(truth)
    answers = [frozenset(causes) for causes in judged(truth).candidates]
    best = deciding_reading(seen, found, answers)
    return best and best[0]


def test_a_healthy_machine_is_called_healthy() -> None:
    found = judged(Truth(seen=SENSORS, tachs="both"))
    assert found.decided
    assert found.label == ()


ALL_OF_IT = {"plate": True, "seen": (*SENSORS, "discharge_rise"), "tachs": "both"}
SINGLE = [
    (Truth(wear=5.0, **ALL_OF_IT), "worn_clearances"),
    (Truth(leak_a=0.06, **ALL_OF_IT), "leak"),
    (Truth(filter=6.0, **ALL_OF_IT), "restriction"),
    (Truth(choke=12.0, **ALL_OF_IT), "restriction"),
    (Truth(engine=0.85, **ALL_OF_IT), "low_speed"),
    (Truth(belt=0.12, **ALL_OF_IT), "slipping_belt"),
]


@pytest.mark.parametrize(("truth", "cause"), SINGLE, ids=lambda value: str(value)[:30])
def test_a_cause_that_the_readings_tell_is_named_with_its_size(truth: Truth, cause: str) -> None:
    found = judged(truth)
    assert found.decided
    assert found.label == (cause,)
    size = next(one for one in found.causes if one.name == cause)
    assert size.low is not None
    assert size.low <= true_size(truth, cause) <= size.high


def true_size(truth: Truth, cause: str) -> float:
    speed, _, state = solved(truth)
    if cause == "worn_clearances":
        return float(state.slip_rpm[TOP] * (1 - 1 / truth.wear) / speed[TOP])
    if cause == "leak":
        leaks = state.leak_a + state.leak_b + state.leak_c
        return float(leaks[TOP] / state.blower_flow[TOP])
    if cause == "restriction":
        mended = Truth(**(truth.__dict__ | {"choke": 0.0, "filter": 1.0}))
        return float(solved(mended)[2].blower_flow[TOP] / state.blower_flow[TOP] - 1)
    return 1 - truth.engine if cause == "low_speed" else truth.belt


def test_two_causes_at_once_are_both_named() -> None:
    found = judged(Truth(wear=5.0, filter=6.0, **ALL_OF_IT))
    assert found.label == ("worn_clearances", "restriction")


# One sweep with the meter on the open end: slip beyond healthy, or air that comes in behind the
# filter: both only add to what the blower loses, and no flow, speed or vacuum tells them apart.
TWINS = [Truth(wear=5.0, seen=("inlet_vacuum",)), Truth(leak_c=0.10, seen=("inlet_vacuum",))]


@pytest.mark.parametrize("truth", TWINS, ids=["worn", "leaking"])
def test_twins_are_left_open_and_the_reading_that_decides_is_named(truth: Truth) -> None:
    found = judged(truth)
    assert not found.decided
    assert {("worn_clearances",), ("leak",)} <= set(found.candidates)
    assert found.label == ()
    reading = decided_by(truth)
    assert reading is not None
    assert reading.decides
    assert reading.name in {"discharge_temperature", "seal_blower", "seal_filter"}


def test_with_that_reading_the_twin_is_told() -> None:
    found = judged(Truth(wear=5.0, seen=("inlet_vacuum", "discharge_rise"), plate=True))
    assert found.label == ("worn_clearances",)


def test_a_slow_blower_whose_engine_nobody_timed_asks_for_the_engine() -> None:
    truth = Truth(engine=0.85, seen=SENSORS)
    assert {("low_speed",), ("slipping_belt",)} <= set(judged(truth).candidates)
    reading = decided_by(truth)
    assert reading is not None
    assert reading.name == "engine_speed"
    assert reading.decides


def test_a_slipping_belt_seen_from_the_engine_asks_for_the_blower() -> None:
    truth = Truth(belt=0.15, tachs="engine")
    assert ("slipping_belt",) in judged(truth).candidates
    reading = decided_by(truth)
    assert reading is not None
    assert reading.name == "blower_speed"


@pytest.mark.parametrize("trouble", ["tubes_reversed", "water_in_line", "wrong_marks"])
def test_a_trouble_of_the_meter_vetoes_any_verdict(trouble: str) -> None:
    found = judged(SINGLE[0][0], trouble)
    assert not found.decided
    assert found.label == ()
    assert found.vetoed_by == (trouble,)


def test_what_no_machine_explains_is_no_verdict() -> None:
    truth = Truth(seen=SENSORS)
    seen, _ = believed(truth)
    seen.readings[1].value[:] += 30e3
    found = verdict(seen, posterior(seen, priors()), frozenset())
    believed.cache_clear()
    assert not found.decided
    assert found.vetoed_by == ("no_fit",)


POSITIONS = [
    Truth(seen=SENSORS),
    Truth(position="hose_end", hose=True, wear=3.0),
    Truth(position="clean_pipe", hose=True, leak_b=0.04, seen=("discharge_rise",)),
]


@pytest.mark.parametrize("truth", POSITIONS, ids=lambda truth: truth.position)
def test_the_ledgers_steps_add_up_and_hold_the_truth(truth: Truth) -> None:
    book: FlowLedger = ledger(*believed(truth))
    for money in ("volume", "mass"):
        rated = getattr(book.rated, money).value
        taken = sum(getattr(step, money).value for step in book.steps)
        assert rated - taken == pytest.approx(getattr(book.metered, money).value, abs=1e-12)
        assert getattr(book.shortfall, money).value == pytest.approx(taken, abs=1e-12)
    speed, _, state = solved(truth)
    in_pipe = truth.position == "clean_pipe"
    metered = (state.pipe_flow if in_pipe else state.port_flow)[TOP]
    assert book.metered.mass.low <= metered <= book.metered.mass.high
    slip = state.slip_rpm[TOP] / truth.wear
    healthy = TURN_M3 * (speed[TOP] - slip) / 60
    assert book.healthy.volume.low <= healthy <= book.healthy.volume.high


def test_wear_and_a_leak_at_the_blower_are_one_step_unless_the_heat_tells() -> None:
    plain = {step.name for step in ledger(*believed(Truth(seen=SENSORS))).steps}
    heated = {step.name for step in ledger(*believed(POSITIONS[2])).steps}
    assert "wear_and_leak_behind" in plain
    assert {"wear", "leak_behind"} <= heated


def test_an_earlier_run_of_the_machine_sharpens_it() -> None:
    """Its meter and its healthy slip are those of now, and cancel."""
    truth = Truth(wear=2.5, seen=SENSORS, tachs="both")
    later, alone = believed(truth)
    before, _ = believed(Truth(seen=SENSORS, tachs="both"))
    both = with_readings_of(before, later)
    joint = posterior(both, priors())

    def width(seen: Evidence, found: Posterior) -> float:
        lost = ledger(seen, found).lost.volume
        return lost.high - lost.low

    assert width(both, joint) < 0.9 * width(later, alone)
    assert joint.of_causes()[frozenset()] < alone.of_causes()[frozenset()]


def test_the_same_run_gives_the_same_verdict_twice() -> None:
    seen = evidence(TWINS[0])
    first, second = (posterior(seen, priors()) for _ in range(2))
    assert np.array_equal(first.probability, second.probability)
    assert np.array_equal(first.state.metered_flow, second.state.metered_flow)
