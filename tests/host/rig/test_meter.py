"""The table [meter]: which keys each kind of meter has, and what they may be."""

from math import inf

import pytest

from pullcurve.errors import RigError
from pullcurve.rig.loading import parse_rig
from pullcurve.rig.meter import Meter

REST = """
[site]
altitude = "620 m"
station_pressure = "94.1 kPa"
[pickups.blower_shaft]
marks_per_turn = 2
"""
IN_PIPE = [
    "venturi",
    "venturi_as_cast",
    "venturi_machined",
    "venturi_welded",
    "nozzle_isa_1932",
    "nozzle_long_radius",
    "venturi_nozzle",
]
STATED = """
discharge_coefficient = 0.975
discharge_coefficient_uncertainty = "1.5 %"
discharge_coefficient_source = "traverse on site, 3 May"
"""


def text(kind: str, *lines: str, position: str = "port", rest: str = REST) -> str:
    head = [f'kind = "{kind}"', f'position = "{position}"', 'throat_bore = "70 mm"']
    return "\n".join(["[meter]", *head, *lines]) + rest


def meter(kind: str, *lines: str, position: str = "port") -> Meter:
    return parse_rig(text(kind, *lines, position=position), "unit.toml").meter


def faults(kind: str, *lines: str, position: str = "port", rest: str = REST) -> list[str]:
    with pytest.raises(RigError) as refusal:
        parse_rig(text(kind, *lines, position=position, rest=rest), "unit.toml")
    return str(refusal.value).split("\n")


PIPE = 'pipe_bore = "100 mm"'


@pytest.mark.parametrize("kind", IN_PIPE)
def test_kinds_in_a_pipe(kind: str) -> None:
    plain = meter(kind, PIPE, 'straight_length = "1.5 m"', "inlet_loss = 0.05")
    assert (plain.pipe_bore, plain.throat_bore, plain.straight_length) == (0.1, 0.07, 1.5)
    assert meter(kind, PIPE, position="clean_pipe").straight_length is None
    assert faults(kind) == [
        "unit.toml line 1: meter.pipe_bore: this is missing; wanted: the measured bore at the "
        'upstream tap, such as "5.693 in"'
    ]
    (fault,) = faults(kind, PIPE, 'taps = "corner"')
    assert fault == (
        "unit.toml line 6: meter.taps: of all kinds only an orifice plate has a choice of taps: "
        "take this key out"
    )


@pytest.mark.parametrize("taps", ["corner", "flange", "d_and_half_d"])
def test_an_orifice_plate_needs_its_taps(taps: str) -> None:
    assert meter("orifice", PIPE, f'taps = "{taps}"').taps == taps
    (fault,) = faults("orifice", PIPE)
    assert fault.startswith("unit.toml line 1: meter.taps: this is missing; wanted: where the ")
    (fault,) = faults("orifice", PIPE, 'taps = "vena contracta"')
    assert fault.startswith("unit.toml line 6: meter.taps: this is not known; wanted: ")


@pytest.mark.parametrize("kind", ["bellmouth", "conical_inlet"])
def test_inlets_that_draw_from_the_open(kind: str) -> None:
    inlet = meter(kind)
    assert (inlet.pipe_bore, inlet.beta) == (inf, 0.0)
    for line in (PIPE, 'straight_length = "1 m"'):
        (fault,) = faults(kind, line)
        key = line.partition(" ")[0]
        assert fault.startswith(f"unit.toml line 5: meter.{key}: this kind draws from the open ")
    (fault,) = faults(kind, "inlet_loss = 0.05")
    assert fault.startswith("unit.toml line 5: meter.inlet_loss: ")
    (fault,) = faults(kind, position="clean_pipe")
    assert fault.startswith("unit.toml line 3: meter.position: ")
    sensor = REST + '[sensors.meter_air]\npart = "BMP280"\n'
    (fault,) = faults(kind, rest=sensor)
    assert fault.startswith("unit.toml line 10: sensors: ")
    assert "ambient_air" in fault


def test_the_throat_of_an_inlet_is_plausible() -> None:
    for bore, fits in (("20 mm", True), ("600 mm", True), ("19 mm", False), ("700 mm", False)):
        changed = text("bellmouth").replace('"70 mm"', f'"{bore}"')
        if fits:
            parse_rig(changed, "unit.toml")
            continue
        with pytest.raises(RigError, match=r"meter\.throat_bore: no plausible bore of an inlet"):
            parse_rig(changed, "unit.toml")


def lines_for(kind: str) -> list[str]:
    return {"orifice": [PIPE, 'taps = "corner"'], "bellmouth": [], "conical_inlet": []}.get(
        kind, [PIPE]
    )


@pytest.mark.parametrize("kind", [*IN_PIPE[1:], "orifice", "bellmouth", "conical_inlet"])
def test_without_a_coefficient_the_kind_s_own_formula_is_meant(kind: str) -> None:
    plain = meter(kind, *lines_for(kind))
    assert plain.discharge_coefficient is None
    assert plain.discharge_coefficient_uncertainty is None
    assert plain.discharge_coefficient_source is None


@pytest.mark.parametrize("kind", [*IN_PIPE, "bellmouth", "conical_inlet"])
def test_a_coefficient_comes_with_uncertainty_and_source(kind: str) -> None:
    stated = meter(kind, *lines_for(kind), *STATED.splitlines())
    assert stated.discharge_coefficient == 0.975
    assert stated.discharge_coefficient_uncertainty == 0.015
    found = faults(kind, *lines_for(kind), "discharge_coefficient = 0.975")
    assert [fault.split(": ")[1:3] for fault in found] == [
        ["meter.discharge_coefficient_source", "this is missing; wanted"],
        ["meter.discharge_coefficient_uncertainty", "this is missing; wanted"],
    ]


@pytest.mark.parametrize(
    ("value", "fits"), [(0.55, True), (0.85, True), (0.54, False), (0.97, False)]
)
def test_an_orifice_plate_has_a_coefficient_of_its_own_size(value: float, fits: bool) -> None:
    lines = STATED.replace("0.975", str(value)).splitlines()
    if fits:
        assert meter("orifice", *lines_for("orifice"), *lines).discharge_coefficient == value
    else:
        (fault,) = faults("orifice", *lines_for("orifice"), *lines)
        assert "meter.discharge_coefficient: no plausible discharge coefficient: 0.55" in fault


@pytest.mark.parametrize(
    "line", ['straight_length = "-1 m"', 'straight_length = "51 m"', "pipe_bore = inf"]
)
def test_what_cannot_be_is_refused(line: str) -> None:
    lines = [line] if line.startswith("pipe") else [PIPE, line]
    (fault,) = faults("venturi", *lines)
    assert f": meter.{line.partition(' ')[0]}: " in fault


def test_an_unknown_kind_is_answered_with_all_kinds() -> None:
    (fault,) = faults("pitot", PIPE)
    assert fault.startswith("unit.toml line 2: meter.kind: this is not known; wanted: ")
    for kind in (*IN_PIPE, "orifice", "bellmouth", "conical_inlet"):
        assert f'"{kind}"' in fault
