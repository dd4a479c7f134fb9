"""'What would I have with that hose?'"""

from pathlib import Path

import pytest
from click.testing import CliRunner

from host.physics.with_the_air import R_AIR, ROOM, Machine, solve
from pullcurve.cli import main
from pullcurve.diagnosis.other_hose import OtherHose, with_other_hose
from pullcurve.physics.hose import FRICTION
from pullcurve.rig.loading import load_rig, parse_rig

RIGS = Path(__file__).parents[3] / "hardware" / "rigs"


def answer(length: float, bore: float, wall: str = "smooth") -> OtherHose:
    found = with_other_hose(load_rig(RIGS / "hose_end.toml"), length, bore, wall)
    assert isinstance(found, OtherHose)
    return found


def test_holds_what_the_grit_unit_draws_through_its_own_hose() -> None:
    """By another way of solving the same equations, with a friction factor of 0.03 and fittings
    of 1.4 velocity heads."""
    found = answer(21.336, 0.127, "unknown")
    hose = 0.03 * 21.336 / 0.127 + 1.4
    other = solve(Machine(speed=2750.0, hose=hose, pressure=94_100.0))
    flow = other.nozzle * R_AIR * ROOM / 94_100.0
    assert found.flow_hose_m3_s[1] <= flow <= found.flow_hose_m3_s[2] * 1.02
    vacuum = 94_100.0 - other.blower
    assert found.vacuum_inlet_pa[1] * 0.95 <= vacuum <= found.vacuum_inlet_pa[2]


def test_longer_and_narrower_hoses_leave_less() -> None:
    flows = [answer(length, 0.1).flow_hose_m3_s[0] for length in (5, 15, 40, 120)]
    assert flows == sorted(flows, reverse=True)
    bores = [answer(20, bore).flow_hose_m3_s[0] for bore in (0.05, 0.08, 0.1, 0.15)]
    assert bores == sorted(bores)


def test_the_walls_band_is_wider_where_the_wall_is_not_known() -> None:
    def spread(wall: str) -> float:
        middle, low, high = answer(40, 0.1, wall).flow_hose_m3_s
        return (high - low) / middle

    assert set(FRICTION) == {"smooth", "corrugated", "unknown"}
    assert spread("smooth") < spread("corrugated") < spread("unknown")


def test_a_hose_that_is_far_too_narrow_is_warned_of() -> None:
    found = answer(300, 0.025)
    assert found.choked
    assert found.too_deep


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["30", "m"], "is no hose"),
        (["30", "m", "of", "100"], "is no hose"),
        (["9000", "m", "of", "100", "mm"], "no plausible hose"),
    ],
)
def test_a_slip_of_the_pen_is_told(words: list[str], sentence: str) -> None:
    result = CliRunner().invoke(main, ["rig", "hose", str(RIGS / "port.toml"), *words])
    assert result.exit_code == 1
    assert sentence in result.output
    assert "Traceback" not in result.output


def test_a_rig_without_a_blower_says_what_to_add() -> None:
    text = (RIGS / "port.toml").read_text("utf-8")
    bare = text[: text.index("[machine]")] + "[machine]\nbelt_ratio = 1.25\n"
    found = with_other_hose(parse_rig(bare, "bare"), 10.0, 0.1, "smooth")
    assert isinstance(found, str)
    assert "[machine.blower]" in found
