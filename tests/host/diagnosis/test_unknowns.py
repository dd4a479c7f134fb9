"""From standard normal variables to machines: medians, faults in their place, bends with speed."""

import math
from dataclasses import replace

import numpy as np
import pytest
from machines_of_the_bench import AREA, CLEAN_M3_S, CLEAN_PA, S1, TURN_M3, Truth, evidence, facts
from numpy.typing import NDArray

from pullcurve.diagnosis.evidence import Evidence
from pullcurve.diagnosis.priors import priors
from pullcurve.diagnosis.unknowns import Unknowns

Array = NDArray[np.float64]
SETS = ((), ("worn_clearances",), ("leak_a", "slipping_belt"), ("restriction_filter",))


def unknown(of: Evidence, sets: tuple[tuple[str, ...], ...] = SETS) -> Unknowns:
    return Unknowns(of, priors(), sets)


def machines(
    of: Evidence, fault: int = 0, size_z: tuple[float, float] = (0.0, 0.0)
) -> dict[str, Array]:
    """The machine at the median of every scatter, with a set of faults."""
    from_normal = unknown(of)
    z = np.zeros((1, from_normal.size))
    z[:, list(from_normal.size_columns)] = size_z
    return from_normal.machines(z, np.array([fault]))


def log_middle(low: float, high: float) -> float:
    """The median of a loguniform law."""
    return math.sqrt(low * high)


def test_at_all_zeros_every_machine_is_the_median_one() -> None:
    """Medians and middles of priors.toml, on what the rig of the grit unit says."""
    x = machines(evidence(Truth()))
    top = -1  # fastest hold: there no law bends anything
    assert x["displacement"].item() == pytest.approx(TURN_M3)
    assert x["slip_speed"].item() == pytest.approx(S1)
    assert x["wear"].item() == 1.0
    assert x["belt"].item() == 0.0  # the blower's own shaft is watched
    behind_belt = machines(evidence(Truth(tachs="engine")))
    assert behind_belt["belt"].item() == pytest.approx(0.006)  # uniform, 0 to 1.2 %
    assert behind_belt["belt_with_load"].item() == pytest.approx(log_middle(0.03, 0.8))
    for place in ("leak_a", "leak_b", "leak_c"):
        assert x[place].item() == pytest.approx(0.0015 * AREA)
    # Half of the filter's loss goes with the flow, half with its square; 1.06 of the clean one.
    at_clean = x["filter_linear"] * CLEAN_M3_S + x["filter_square"] * CLEAN_M3_S**2
    assert at_clean[0, top] == pytest.approx(1.06 * CLEAN_PA)
    assert x["filter_linear"].item() * CLEAN_M3_S == pytest.approx(0.53 * CLEAN_PA)
    assert x["intake_term"][0, top] == pytest.approx(0.5 / AREA**2)
    assert x["pipe_term"][0, top] == pytest.approx(1.8 / AREA**2)


def test_losses_change_with_each_halving_of_the_speed_and_linear_ones_do_not() -> None:
    """By 3 % on the way in, by 2 % in the machine (medians); holds at 1, 0.9, 0.78, ..."""
    of = evidence(Truth())
    x = machines(of)
    halvings = np.log2(of.setting.shaft_rpm.max() / of.setting.shaft_rpm)
    np.testing.assert_allclose(x["intake_term"][0], 0.5 / AREA**2 * 1.03**halvings)
    np.testing.assert_allclose(x["pipe_term"][0], 1.8 / AREA**2 * 1.02**halvings)
    assert x["filter_linear"].size == 1


@pytest.mark.parametrize(
    ("fault", "name", "value"),
    [
        (1, "wear", log_middle(1.6, 30)),
        (2, "leak_a", log_middle(0.006, 0.35) * AREA),
        (2, "belt", log_middle(0.02, 0.45)),
        (3, "filter_linear", log_middle(1.8, 25) * 0.53 * CLEAN_PA / CLEAN_M3_S),
    ],
)
def test_a_fault_of_median_size_stands_where_it_belongs_and_nowhere_else(
    fault: int, name: str, value: float
) -> None:
    of = evidence(Truth())
    x, sound = machines(of, fault), machines(of)
    np.testing.assert_allclose(x[name], value)
    faulty = {1: {"wear"}, 2: {"leak_a", "belt"}, 3: {"filter_linear", "filter_square"}}[fault]
    for other in sound.keys() - faulty:
        np.testing.assert_array_equal(x[other], sound[other])
    assert sum(name.startswith("healthy_") for name in sound) == 5


def test_each_of_two_faults_has_a_size_of_its_own() -> None:
    """A standard normal z of 1 is the 84.1 % point: low (high / low)^0.8413."""
    x = machines(evidence(Truth()), 2, (1.0, -1.0))
    share = 0.841345
    np.testing.assert_allclose(x["leak_a"], 0.006 * (0.35 / 0.006) ** share * AREA, rtol=1e-5)
    np.testing.assert_allclose(x["belt"], 0.02 * (0.45 / 0.02) ** (1 - share), rtol=1e-5)


def test_machines_of_several_sets_of_faults_are_made_at_once() -> None:
    from_normal = unknown(evidence(Truth()))
    x = from_normal.machines(np.zeros((4, from_normal.size)), np.array([0, 1, 2, 3]))
    wear = np.broadcast_to(x["wear"], (4, 5))[:, 0]
    np.testing.assert_allclose(wear, [1, log_middle(1.6, 30), 1, 1])
    leak = np.broadcast_to(x["leak_a"], (4, 5))[:, 0] / AREA
    np.testing.assert_allclose(leak, [0.0015, 0.0015, log_middle(0.006, 0.35), 0.0015])


def test_a_fault_is_in_the_judged_run_and_not_in_the_healthy_one_before() -> None:
    of = evidence(Truth())
    judged = np.array([True, True, False, True, False])
    of = replace(of, judged=judged)
    wear = machines(of, 1)["wear"][0]
    np.testing.assert_allclose(wear, np.where(judged, log_middle(1.6, 30), 1.0))
    assert unknown(of).size == unknown(evidence(Truth())).size + 1  # the filter was another then


def test_a_hose_that_is_choked_is_so_where_the_hose_is_on() -> None:
    """Velocity heads on the port's bore, which is the hose's here."""
    sets = ((), ("restriction_intake",))
    more = log_middle(1.5, 50)
    for truth, name, per_head in (
        (Truth(position="hose_end", hose=True), "hose_loss", 1.0),
        (Truth(), "intake_term", 1 / AREA**2),
    ):
        from_normal = unknown(evidence(truth), sets)
        z = np.zeros((2, from_normal.size))
        x = from_normal.machines(z, np.array([0, 1]))
        sound, choked = np.broadcast_to(x[name], (2, 5))[:, -1]
        assert choked - sound == pytest.approx(more * per_head)
        np.testing.assert_array_equal(x[f"healthy_{name}"][0], x[f"healthy_{name}"][-1])


def test_a_hose_loses_what_its_length_says_times_the_scatter_of_its_wall() -> None:
    """(L / D 0.03 + 1.4) / 1.15, smooth: a median of 1.15."""
    x = machines(evidence(Truth(position="hose_end", hose=True)))
    assert x["hose_loss"][0, -1] == pytest.approx(21.34 / 0.127 * 0.03 + 1.4)


@pytest.mark.parametrize(("z", "share"), [(-1.0, 0.158655), (1.0, 0.841345)])
def test_of_a_filter_s_loss_any_share_may_go_with_the_flow(z: float, share: float) -> None:
    """Uniform from 0 to 1: at one standard deviation the normal's 15.9 % and 84.1 %."""
    from_normal = unknown(evidence(Truth()))
    every = from_normal.machines(np.eye(from_normal.size) * z, np.zeros(from_normal.size, np.int64))
    by_flow = every["filter_linear"][:, 0] * CLEAN_M3_S
    by_square = every["filter_square"][:, -1] * CLEAN_M3_S**2
    (moved,) = np.flatnonzero(np.isclose(by_flow, share * 1.06 * CLEAN_PA, rtol=1e-5))
    assert by_square[moved] == pytest.approx((1 - share) * 1.06 * CLEAN_PA, rel=1e-5)


def test_without_a_stated_filter_1500_pascals_at_the_rated_flow_are_believed() -> None:
    of = replace(evidence(Truth()), facts=replace(facts(), filter_loss=None))
    x = machines(of)
    flow = facts().rated_flow_m3_s
    loss = x["filter_linear"] * flow + x["filter_square"] * flow**2
    assert loss[0, -1] == pytest.approx(1500.0)


def test_a_plate_is_on_at_its_own_points_with_its_own_loss() -> None:
    x = machines(evidence(Truth(plate=True)))
    bare, plated = x["intake_term"][0, 4], x["intake_term"][0, 9]
    assert plated - bare == pytest.approx(25.0 / AREA**2)


def test_what_the_data_sheet_leaves_open_moves_displacement_slip_and_its_laminar_part() -> None:
    """One standard deviation each: 0.2 %, 2 %, and 0.02 of the share (its spread's diagonal)."""
    from_normal = unknown(evidence(Truth()))
    z = np.eye(from_normal.size)
    x = from_normal.machines(z, np.zeros(from_normal.size, dtype=np.int64))
    from_sheet = {
        "displacement": math.exp(0.002) * TURN_M3,
        "slip_speed": math.exp(0.02) * S1,
        "laminar_share": 0.02,
    }
    for name, value in from_sheet.items():
        moved = x[name][:, 0]
        assert np.isclose(moved, value, rtol=1e-9).sum() == 1
