"""The table [machine]: what is read, what is refused, and facts that contradict each other."""

import re
from typing import Any, get_args

import pytest

from host.rig.good_rig import SHEET, changed
from pullcurve.errors import RigError
from pullcurve.physics.spoils import SPOILS
from pullcurve.rig.loading import parse_rig
from pullcurve.rig.machine import Machine, Spoil

WHOLE = changed(
    (
        "belt_ratio = 1.25\n",
        """\
belt_ratio = 1.25
governed_speed = "2200 rpm"
rated_speed = "2750 rpm"
brochure_flow = "1500 cfm"
port_bore = "5 in"
relief_vacuum = "12 inHg"
lobes = 2
spoil = "dry grit"
[machine.blower]
displacement = "0.565 ft3"
"""
        + SHEET
        + """\
[[machine.hose]]
length = "60 ft"
bore = "5 in"
[[machine.hose]]
length = "10 ft"
bore = "6 in"
wall = "corrugated"
bends = 1
elbows = 2
couplings = 3
[machine.filter]
clean_loss = "1.5 kPa"
at_flow = "1300 cfm"
""",
    )
)


HOSE = WHOLE[WHOLE.index("[[machine.hose]]") : WHOLE.index("[machine.filter]")]
HOSE_LIST = r"machine.hose: this must be a list of tables; wanted: tables \[\[machine.hose\]\]"


def machine(*changes: tuple[str, str]) -> Machine:
    return parse_rig(changed(*changes, text=WHOLE), "unit.toml").machine


def fault(*changes: tuple[str, str]) -> str:
    with pytest.raises(RigError) as refusal:
        machine(*changes)
    (line,) = str(refusal.value).split("\n")
    return line


def test_values_are_si() -> None:
    found = machine()
    assert (found.rated_speed_rpm, found.governed_speed_rpm) == (2750.0, 2200.0)
    # NIST SP 811:2008
    assert found.brochure_flow == pytest.approx(0.7079211, rel=1e-6)
    assert found.relief_vacuum == pytest.approx(12 * 3386.389, rel=1e-6)
    assert found.blower.displacement == pytest.approx(0.565 * 0.02831685, rel=1e-6)
    assert found.displaced_at_rated_speed == pytest.approx(0.7333, abs=1e-4)
    assert (found.lobes, found.spoil, found.port_bore) == (2, "dry grit", 0.127)
    first, second = found.hose
    assert (first.length, first.bore, first.wall) == (18.288, 0.127, "unknown")
    assert (first.bends, first.elbows, first.couplings) == (0, 0, 0)
    assert (second.bends, second.elbows, second.couplings) == (1, 2, 3)
    assert found.filter is not None
    assert found.filter.clean_loss == 1500.0


def test_all_may_be_left_out() -> None:
    found = parse_rig(changed(), "unit.toml").machine
    left = found.model_dump(exclude={"belt_ratio", "blower", "hose"})
    assert set(left.values()) == {None}
    assert found.hose == ()
    assert set(found.blower.model_dump().values()) == {None}
    assert found.displaced_at_rated_speed is None


@pytest.mark.parametrize(
    ("typed", "u95"),
    [
        ("0.565 ft3", 0.01),  # 0.09 % by its digits
        ("0.57 ft3", 0.01),
        ("0.6 ft3", 0.0833),
        ("16.0 L", 0.01),
        ("0.0160 m3", 0.01),
        ("0.016 m3", 0.03125),
        ("976 in3", 0.01),
        ("17 L", 0.0294),
    ],
)
def test_a_displacement_is_known_to_half_of_its_last_digit(typed: str, u95: float) -> None:
    found = machine(("0.565 ft3", typed)).blower
    assert found.displacement_uncertainty == pytest.approx(u95, abs=1e-4)
    stated = machine(("0.565 ft3", f'{typed}"\ndisplacement_uncertainty = "2 %'))
    assert stated.blower.displacement_uncertainty == 0.02


CUBIC_FOOT = 0.02831685  # m3; this and the inch of mercury and of water by NIST SP 811:2008
# key, the text of WHOLE that is replaced, what is still allowed and how it reads in SI (speeds in
# rpm), what is refused
GUARDS = {
    "governed_speed": (
        '"2200 rpm"',
        {'"1200 rpm"': 1200, '"2750 rpm"': 2750},
        ['"22 rpm"', "2200", '"2200"'],
    ),
    "rated_speed": (
        '"2750 rpm"',
        {'"2700 rev/min"': 2700, '"3400 rpm"': 3400},
        ['"0 rpm"', '"27500 rpm"'],
    ),
    "brochure_flow": (
        '"1500 cfm"',
        {'"650 L/s"': 0.65, '"900 cfm"': 900 * CUBIC_FOOT / 60},
        ['"1500 scfm"', '"-5 cfm"'],
    ),
    "port_bore": ('port_bore = "5 in"', {'port_bore = "8 in"': 0.2032}, ['port_bore = "5 m"']),
    "relief_vacuum": (
        '"12 inHg"',
        {'"27 inHg"': 27 * 3386.389, '"400 mbar"': 40e3},
        ['"300 kPa"', '"-12 inHg"'],
    ),
    "lobes": ("lobes = 2", {"lobes = 3": 3}, ["lobes = 4", 'lobes = "2"']),
    "spoil": ('"dry grit"', {'"gravel"': "gravel"}, ['"mud"', '""']),
    "blower.displacement": (
        '"0.565 ft3"',
        {'"16.0 L"': 0.016, '"0.0160 m3"': 0.016},
        ['"0.565 ft"', '"0 L"', '"3 m3"', "0.565", "inf", "[]"],
    ),
    "hose 2.length": ('"10 ft"', {'"3 m"': 3.0}, ['"0 ft"', '"2 km"', '"600 m"']),
    "hose 2.bore": ('"6 in"', {'"125 mm"': 0.125}, ['"6 mm"', '"6 m"']),
    "hose 2.wall": (
        '"corrugated"',
        {'"smooth"': "smooth", '"unknown"': "unknown"},
        ['"ribbed"'],
    ),
    "hose 2.bends": (
        "bends = 1",
        {"bends = 0": 0},
        ["bends = -1", "bends = 1.5", "bends = 51"],
    ),
    "filter.clean_loss": ('"1.5 kPa"', {'"6 inH2O"': 6 * 249.08891}, ['"0 Pa"', '"2 bar"']),
    "filter.at_flow": ('"1300 cfm"', {'"0.6 m3/s"': 0.6}, ['"1300"', '"1300 Nm3/h"']),
}


@pytest.mark.parametrize(
    ("key", "old", "new", "value"),
    [
        (key, old, new, value)
        for key, (old, allowed, _) in GUARDS.items()
        for new, value in allowed.items()
    ],
)
def test_what_can_be_is_read_as_it_was_written(
    key: str, old: str, new: str, value: float | str
) -> None:
    found: Any = machine((old, new)).model_dump(by_alias=True)
    for part in key.split("."):
        found = found["hose"][1] if part == "hose 2" else found[part]
    assert found == (value if isinstance(value, str) else pytest.approx(value, rel=1e-6))


@pytest.mark.parametrize(
    ("key", "old", "new"),
    [(key, old, new) for key, (old, _, refused) in GUARDS.items() for new in refused],
)
def test_what_cannot_be_is_refused_at_its_key_and_line(key: str, old: str, new: str) -> None:
    line = WHOLE[: WHOLE.index(old)].count("\n") + 1
    assert fault((old, new)).startswith(f"unit.toml line {line}: machine.{key}: ")


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        (
            [("belt_ratio = 1.25", "belt_ratio = 0.8")],
            r"line 21: machine.belt_ratio: 0.8 makes 1760 rpm of the engine's 2200, and the "
            r"rated speed is 2750: the ratio is upside down; write 1.25",
        ),
        (
            [("0.565 ft3", "10.0 L")],
            r"machine.blower.displacement: at 2750 rpm this displaces 971.2 cfm, and the data "
            r"sheet has 1555 at 0 inHg: no blower gives more than it displaces",
        ),
        ([("0.565 ft3", "56.5 L")], r"no blower gives so little of what it displaces"),
        (
            [('displacement = "0.565 ft3"', 'displacement_uncertainty = "1 %"')],
            r"displacement_uncertainty: there is no displacement",
        ),
        (
            [("1500 cfm", "2500 cfm")],
            r"machine.brochure_flow: this is 1.6 times what the blower displaces at its rated "
            r"speed, 1554 cfm",
        ),
        (
            [("[2750, 8, 1405]", "[2750, 8, 1575]")],
            r"line 35: machine.blower.rating.rows 2: 2750 rpm, 8 inHg: 1575 cfm, beside",
        ),
        ([(HOSE, "[machine.hose]\n" + HOSE.split("]]\n")[1].split("[[")[0])], HOSE_LIST),
        ([('length = "10 ft"', 'lenght = "10 ft"')], r"machine.hose 2.lenght: .*mean length\?"),
    ],
)
def test_facts_that_contradict_each_other_are_refused(
    changes: list[tuple[str, str]], says: str
) -> None:
    assert re.search(says, fault(*changes))


@pytest.mark.parametrize(
    ("changes", "speeds_rpm", "brochure_m3_s"),
    [
        # Governed to 2220 of 2750: a loss, no contradiction.
        ([("2200 rpm", "1776 rpm")], (1776, 1.25, 2750), 1500 * CUBIC_FOOT / 60),
        (
            [
                ("belt_ratio = 1.25", "belt_ratio = 0.8"),
                ("2750 rpm", "1760 rpm"),
                ("1500 cfm", "7 L/s"),
            ],
            (2200, 0.8, 1760),
            0.007,
        ),
        # More than can be, which brochures do say.
        ([("1500 cfm", "1800 cfm")], (2200, 1.25, 2750), 1800 * CUBIC_FOOT / 60),
    ],
)
def test_what_is_odd_yet_possible_is_read_as_it_was_written(
    changes: list[tuple[str, str]], speeds_rpm: tuple[float, float, float], brochure_m3_s: float
) -> None:
    found = machine(*changes)
    speeds = (found.governed_speed_rpm, found.belt_ratio, found.rated_speed_rpm)
    assert speeds == pytest.approx(speeds_rpm)
    assert found.brochure_flow == pytest.approx(brochure_m3_s, rel=1e-6)


def test_the_kinds_of_spoil_are_those_of_the_physics() -> None:
    assert get_args(Spoil) == tuple(SPOILS)
