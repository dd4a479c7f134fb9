"""The hose's loss and its leak, from two runs of machines that the bench's plant solves."""

from dataclasses import replace

import numpy as np
import pytest
from machines_of_the_bench import P0, Truth, solved
from runs_made_up import Day, Tube, made_up

from pullcurve.compare.comparison import compare_runs
from pullcurve.compare.result import HoseCost
from pullcurve.examine import Run

DICE = np.random.default_rng(11)


def run_of(truth: Truth, *, vacuum: bool = True, tube: Tube) -> Run:
    speed, _, state = solved(truth)
    at_blower = P0 - state.blower_pressure + DICE.uniform(-50, 50)
    return made_up(
        speed,
        state.port_flow,
        position=truth.position,
        tube=tube,
        day=Day(zero_pa=DICE.uniform(-8, 8)),
        dice=DICE,
        vacuum=at_blower if vacuum else None,
    )


def on_port(truth: Truth) -> Truth:
    return replace(truth, position="port", hose=False)


def with_hose(truth: Truth, leak: float) -> Truth:
    return replace(truth, position="hose_end", hose=True, leak_a=truth.leak_a + leak)


def cost_of(truth: Truth, hose_leak: float = 0.0, **vacuum: bool) -> HoseCost:
    """hose_leak: of the hose itself, over the port's area; not there with the hose off."""
    tube = Tube.drawn(DICE)
    port = run_of(on_port(truth), tube=tube)
    hose = run_of(with_hose(truth, hose_leak), tube=tube, **vacuum)
    found = compare_runs([port, hose])[0].hose
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("truth", "leak"),
    [
        (Truth(), 0.0),
        (Truth(), 0.02),
        (Truth(wear=4.0), 0.06),
        (Truth(leak_b=0.02, choke=6.0), 0.0),
        (Truth(wear=6.0, filter=2.0), 0.01),
    ],
)
def test_loss_and_leak_of_the_hose_are_true(truth: Truth, leak: float) -> None:
    state, port_state = solved(with_hose(truth, leak))[2], solved(on_port(truth))[2]
    true_cost = float(port_state.port_flow[-1] - state.port_flow[-1])
    true_leak = float(state.leak_a[-1] / state.blower_flow[-1])
    held = []
    for _ in range(5):
        found = cost_of(truth, leak)
        assert found.cost_kg_s.low <= true_cost <= found.cost_kg_s.high
        assert found.leak_kg_s is not None
        assert found.taken_kg_s is not None
        assert found.leak_share is not None
        assert found.taken_kg_s.value + found.leak_kg_s.value == pytest.approx(
            found.cost_kg_s.value, abs=0.002
        )
        assert found.leak_share.high - found.leak_share.low < 0.09
        held.append(found.leak_share.low <= true_leak <= found.leak_share.high)
        if leak > 0.05:
            assert found.leak_share.low > 0
    assert sum(held) >= 4


def test_of_a_leaking_tank_only_a_part_is_seen() -> None:
    """It leaks with the open port too, and passes for the blower's slip there."""
    truth = Truth(leak_a=0.06)
    found = cost_of(truth)
    assert found.leak_kg_s is not None
    assert found.leak_kg_s.low > 0
    assert found.leak_kg_s.high < solved(with_hose(truth, 0.0))[2].leak_a[-1]


def test_without_a_vacuum_the_two_are_not_told_apart() -> None:
    found = cost_of(Truth(leak_a=0.1), vacuum=False)
    assert found.missing == "vacuum_hose_run"
    assert found.leak_kg_s is None
    assert found.taken_kg_s is None
    assert found.cost_kg_s.low > 0


def test_two_runs_on_the_port_say_nothing_of_a_hose() -> None:
    tube = Tube()
    pair = compare_runs([run_of(Truth(), tube=tube), run_of(Truth(), tube=tube)])[0]
    assert pair.hose is None
