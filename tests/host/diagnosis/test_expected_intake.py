"""What a rig's facts promise of a healthy blower, against the invented grit unit's own law."""

from pathlib import Path

import pytest

from pullcurve.diagnosis.expected_intake import VACUUM_PA, Promise, blower_worth
from pullcurve.rig.loading import load_rig
from pullcurve.rig.machine import Machine

RIGS = Path(__file__).parents[3] / "hardware/rigs"
CFM = 4.719474e-4  # NIST SP 811:2008
# V_d 0.0160 m3, S1 115 rpm at 2750 rpm and 8 inHg: 1403.4 ft3/min and 266.3 rpm of slip; own
# calculation by the trade's form of the law of slip.
FLOW_CFM, SLIP_RPM = 1403.4, 266.3
FIGURE = {"basis": "inlet", "flow_unit": "cfm", "vacuum_unit": "inHg", "rows": [[2750, 8, 1405]]}


def machine(**blower: object) -> Machine:
    keys = {"rated_speed": "2750 rpm", "brochure_flow": "1500 cfm"}
    return Machine.model_validate({**keys, "blower": blower})


def promise(found: Machine) -> Promise:
    worth = blower_worth(found)
    assert worth is not None
    return worth.promise


def test_the_example_promises_what_its_law_gives() -> None:
    worth = blower_worth(load_rig(RIGS / "port.toml").machine)
    assert worth is not None
    assert pytest.approx(8 * 3386.389, rel=1e-6) == VACUUM_PA
    assert abs(worth.promise.flow_m3_s / CFM - FLOW_CFM) < worth.promise.flow_u95_m3_s / CFM + 0.5
    assert abs(worth.promise.slip_rpm - SLIP_RPM) < worth.promise.slip_u95_rpm
    assert worth.promise.flow_u95_m3_s < 3 * CFM
    assert not worth.better
    # 1500 ft3/min at 2750 rpm: X = (2750 - 2654.7) / 115, r = 1 + X^2 / 14.696, own calculation.
    assert worth.brochure_vacuum_pa == pytest.approx(1.336 * 3386.4, rel=0.04)


@pytest.mark.parametrize(
    "blower",
    [
        {"displacement": "0.565 ft3"},
        {"rating": FIGURE},
        {"displacement": "0.565 ft3", "rating": FIGURE},
    ],
)
def test_few_facts_promise_less_and_say_what_would_sharpen_it(blower: dict[str, object]) -> None:
    """Each interval holds the truth, and each fact that is offered narrows it."""
    worth = blower_worth(machine(**blower))
    assert worth is not None
    now = worth.promise
    assert abs(now.flow_m3_s / CFM - FLOW_CFM) < now.flow_u95_m3_s / CFM
    assert abs(now.slip_rpm - SLIP_RPM) < now.slip_u95_rpm
    assert worth.better
    for fact, then in worth.better:
        assert then.flow_u95_m3_s < now.flow_u95_m3_s, fact
    assert min(then.flow_u95_m3_s for _, then in worth.better) < 4 * CFM


def test_a_figure_more_never_widens_what_is_promised() -> None:
    rows = [[2750, 8, 1405], [2750, 12, 1350], [2750, 4, 1455], [1400, 8, 640], [1400, 0, 790]]
    widths = [
        promise(machine(rating=FIGURE | {"rows": rows[:count]}, displacement="0.565 ft3"))
        for count in (1, 3, 5)
    ]
    slips = [found.slip_u95_rpm for found in widths]
    assert slips == sorted(slips, reverse=True)


def test_of_an_unknown_blower_nothing_is_promised() -> None:
    assert blower_worth(machine()) is None


def test_a_brochure_beyond_the_sheet_belongs_to_no_vacuum() -> None:
    worth = blower_worth(machine(rating=FIGURE | {"rows": [[2750, 0, 1450], [2750, 8, 1300]]}))
    assert worth is not None
    assert worth.brochure_vacuum_pa is None
