"""The blower's data sheet: its basis, its rounding, and whether it contradicts itself."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from pullcurve.rig.rating import Rating

# NIST SP 811:2008: cubic foot a minute; conventional inch of mercury; psi.
CFM, INHG, PSI = 4.719474e-4, 3386.389, 6894.757
# Of the invented grit unit, V_d 0.0160 m3 and S1 115 rpm: own calculation by the trade's form of
# the law of slip (engineering notes of the trade, several copies).
GRIT_CFM = {
    (2750, 0): 1553.9,
    (2750, 4): 1456.0,
    (2750, 8): 1403.4,
    (2750, 12): 1350.0,
    (2750, 15): 1304.1,
    (1400, 0): 791.1,
    (1400, 4): 693.2,
    (1400, 8): 640.6,
    (1400, 12): 587.2,
    (1400, 15): 541.3,
}


def sheet(rows: object, **keys: object) -> Rating:
    data = {"basis": "inlet", "flow_unit": "cfm", "vacuum_unit": "inHg", "rows": rows}
    return Rating.model_validate(data | keys)


def refused(rows: object, **keys: object) -> tuple[tuple[object, ...], str]:
    """Where the one fault is, counted from the table of the sheet, and its sentence."""
    with pytest.raises(ValidationError) as refusal:
        sheet(rows, **keys)
    (fault,) = refusal.value.errors(include_url=False)
    at = fault["ctx"].get("at", ())
    return (*fault["loc"], *at), str(fault["ctx"]["error"])


def test_values_are_si_in_the_sheets_own_basis() -> None:
    rating = sheet([[2750, 0, 1555], [2750, 12, 810]], basis="free_air")
    assert rating.speed_rpm.tolist() == [2750, 2750]
    assert rating.vacuum_pa == pytest.approx([0, 12 * INHG], rel=1e-6)
    assert rating.flow_m3_s == pytest.approx([1555 * CFM, 810 * CFM], rel=1e-6)
    assert (rating.reference_pressure, rating.reference_temperature_k) == (101325.0, 293.15)
    assert rating.back_pressure is None


def test_free_air_at_12_inches_of_mercury_is_the_inlets_flow_times_0_599() -> None:
    """1350.0 ft3/min at the inlet are 808.6 of free air: own calculation, ideal gas."""
    free = sheet([[2750, 12, 808.6]], basis="free_air")
    assert free.inlet_flow_m3_s / CFM == pytest.approx([1350.0], abs=0.1)
    inlet = sheet([[2750, 12, 1350.0]])
    assert inlet.inlet_flow_m3_s == pytest.approx(inlet.flow_m3_s)


@pytest.mark.parametrize(
    ("flows", "step"),
    [
        ([1555, 1455, 1405, 1350, 1305], 5),
        ([1554, 1456, 1403, 1351], 1),
        ([1553.8, 1456.0, 1403.4, 1349.8], 0.2),
        ([1575, 1475, 1425, 1375], 25),
        ([1555, 1455, 1405, 1350, 1304], 5),  # one slip of a digit makes the others no finer
        ([1500], 30),  # 2 % at most, where so few figures tell nothing
        ([1175], 23.5),
    ],
)
def test_the_rounding_is_read_off_the_digits(flows: list[float], step: float) -> None:
    rows = [[2750, 4 * place, flow] for place, flow in enumerate(flows)]
    assert sheet(rows, back_pressure="0 Pa").rounding_m3_s / CFM == pytest.approx(step, rel=1e-6)


def test_the_grit_units_own_figures_are_taken_however_they_are_rounded() -> None:
    for digits in (1, 0, -1):
        rows = [[speed, vacuum, round(flow, digits)] for (speed, vacuum), flow in GRIT_CFM.items()]
        assert len(sheet(rows).rows) == 10


@st.composite
def law_made(draw: st.DrawFn) -> tuple[list[list[float]], dict[str, object], int]:
    """A sheet by the law of displacement and slip, rounded; slip through narrow gaps as a share.

    Source: the trade's form, slip ~ sqrt(dp p0 / p1), and laminar flow through a narrow gap,
    slip ~ dp (1 + r); both equal at 1 psi.
    """
    displacement = draw(st.floats(0.004, 0.06))
    fastest = draw(st.integers(150, 400)) * 10
    slip_at_1_psi = draw(st.floats(0.01, 0.05)) * fastest
    share = draw(st.sampled_from([0.0, 0.1, 0.3]))
    back_pa = draw(st.sampled_from([0.0, 3000.0]))
    free_air = draw(st.booleans())
    step = draw(st.sampled_from([1, 5]))
    vacua = draw(st.sampled_from([[0, 4, 8, 12], [0, 2, 4, 6, 8, 10, 12, 15]]))
    speeds = np.round(np.linspace(0.5, 1.0, draw(st.integers(3, 5))) * fastest, -1)
    p0 = 101325.0
    rows = []
    for speed in speeds:
        for vacuum in vacua:
            p1 = p0 - vacuum * INHG
            ratio = (p0 + back_pa) / p1
            wide = np.sqrt((p0 + back_pa - p1) / PSI * p0 / p1)
            unit = PSI * (1 + p0 / (p0 - PSI))
            narrow = (p0 + back_pa - p1) * (1 + ratio) / unit
            slip = slip_at_1_psi * ((1 - share) * wide + share * narrow)
            if slip < 0.5 * speed:
                flow = displacement * (speed - slip) / 60 / CFM * (p1 / p0 if free_air else 1)
                rows.append([float(speed), float(vacuum), float(step * round(flow / step))])
    keys: dict[str, object] = {"basis": "free_air" if free_air else "inlet"}
    if draw(st.booleans()):
        keys["back_pressure"] = f"{back_pa} Pa"
    return rows, keys, step


@settings(max_examples=120, deadline=None)
@given(law_made(), st.data())
def test_a_sheet_by_the_law_is_taken_and_one_wrong_figure_in_it_is_named(
    made: tuple[list[list[float]], dict[str, object], int], data: st.DataObject
) -> None:
    """Wrong by 6 % of the greatest flow or more, and by four steps of rounding."""
    rows, keys, step = made
    assert len(sheet(rows, **keys).rows) == len(rows)
    number = data.draw(st.integers(0, len(rows) - 1))
    least = max(0.06 * max(flow for _, _, flow in rows), 4 * step)
    wrong = least * data.draw(st.floats(1, 4)) * data.draw(st.sampled_from([-1, 1]))
    spoilt = [list(row) for row in rows]
    spoilt[number][2] = step * round((rows[number][2] + wrong) / step)
    if spoilt[number][2] > 0:
        assert refused(spoilt, **keys)[0] == ("rows", number)


@pytest.mark.parametrize("power", [0.4, 0.5, 0.7, 1.0])
@pytest.mark.parametrize("step", [1, 5])
def test_a_smooth_sheet_of_another_law_of_slip_is_taken(power: float, step: int) -> None:
    """Slip by a power of the difference in psi (0.4912 of an inHg), as a maker may draw it."""
    rows = [
        [speed, vacuum, step * round((speed - 100 * (0.4912 * vacuum) ** power) * 0.565 / step)]
        for speed in (1400, 1850, 2300, 2750)
        for vacuum in (0, 2, 4, 6, 8, 10, 12, 15)
    ]
    assert len(sheet(rows).rows) == 32


@pytest.mark.parametrize(
    ("rows", "number", "sentence"),
    [
        (
            [[2750, 8, 1405], [2750, 8, 1400]],
            1,
            "2750 rpm, 8 inHg: 1400 cfm, and 1405 cfm in an earlier row",
        ),
        ([[2750, 8, 1405], [2750, 8, 1405]], None, ""),
        (
            [[2750, 8, 1405], [2750, 12, 1406]],
            1,
            "2750 rpm, 12 inHg: 1406 cfm, beside 2750 rpm, 8 inHg: 1405 cfm: at one speed flow "
            "falls",
        ),
        ([[2750, 8, 1405], [1400, 8, 1410]], 1, "at one vacuum flow rises with speed"),
        (
            [[2750, 0, 1555], [2750, 4, 1455], [2750, 8, 1045], [2750, 12, 1350]],
            2,
            "2750 rpm, 8 inHg: 1045 cfm, beside 2750 rpm, 12 inHg: 1350 cfm: at one speed flow "
            "falls",
        ),
        ([[2750, 8, 1405], [2650, 8, 1405]], None, ""),  # alike within 5 cfm of rounding
    ],
)
def test_two_rows_can_contradict_each_other(
    rows: list[list[float]], number: int | None, sentence: str
) -> None:
    if number is None:
        sheet(rows)
        return
    place, said = refused(rows)
    assert place == ("rows", number)
    assert sentence in said


def test_a_wrong_figure_is_told_with_what_the_others_make_it() -> None:
    rows = [[speed, vacuum, round(flow / 5) * 5] for (speed, vacuum), flow in GRIT_CFM.items()]
    rows[2][2] = 1045  # for 1405: two digits changed places
    place, said = refused(rows)
    assert place == ("rows", 2)
    assert said.startswith("2750 rpm, 8 inHg: 1045 cfm, and no displacement with slip")
    assert "about 1403 cfm" in said or "about 1404 cfm" in said


@pytest.mark.parametrize(
    ("rows", "place", "sentence"),
    [
        ([], ("rows",), "wanted rows of speed, vacuum and flow"),
        ("2750 0 1555", ("rows",), "wanted rows"),
        ([[2750, 0, 1555]] * 1001, ("rows",), "more than any data sheet has"),
        ([[2750, 0, 1555], [2750, 8]], ("rows", 1), "wanted three numbers"),
        ([2750, 0, 1555], ("rows", 0), "wanted three numbers"),
        ([[2750, 0, "1080"]], ("rows", 0), "no quotes"),
        ([[2750, 0, True]], ("rows", 0), "wanted plain numbers"),
        ([[2750, 0, float("nan")]], ("rows", 0), "more than zero"),
        ([[float("nan"), 0, 1400]], ("rows", 0), "no plausible speed"),
        ([[2750, float("nan"), 1400]], ("rows", 0), "without a sign"),
        ([[2750, 0, float("inf")]], ("rows", 0), "more than zero"),
        ([[27, 0, 1555]], ("rows", 0), "no plausible speed"),
        ([[2750, -8, 1405]], ("rows", 0), "without a sign"),
        ([[2750, 0, 0]], ("rows", 0), "leave out what the sheet leaves empty"),
        ([[2750, 0, 1555], [2750, 30, 1300]], ("rows", 1), "is the sheet's unit another one"),
    ],
)
def test_what_is_no_row_is_refused(rows: object, place: tuple[object, ...], sentence: str) -> None:
    found, said = refused(rows)
    assert found == place
    assert sentence in said


@pytest.mark.parametrize(
    ("key", "value", "sentence"),
    [
        ("flow_unit", "icfm", "write ft3/min"),
        ("flow_unit", "CFM", "capitals count: write cfm"),
        ("vacuum_unit", "inches", "no unit known here"),
        ("reference_pressure", "14.7 psia", "write psi"),
        ("reference_pressure", "30 kPa", "no plausible absolute pressure"),
        ("reference_temperature", "528 R", "no unit known here"),
        ("back_pressure", "-1 psi", "no plausible back-pressure"),
    ],
)
def test_units_and_reference_are_checked(key: str, value: str, sentence: str) -> None:
    place, said = refused([[2750, 0, 1555]], **{key: value})
    assert place == (key,)
    assert sentence in said
