"""The rotary-lobe blower's laws, against other formulas, other units and their own limits."""

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from fluids.compressible import isentropic_T_rise_compression, isothermal_work_compression
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.physics import air, blower

INCH_OF_MERCURY = 3386.389
FT3_MIN = 4.719474e-4
PSI, FOOT = 6894.757293168, 0.3048
SEA, ROOM = 101325.0, 293.15
# Invented: a unit that recovers spent blasting grit.
DISPLACEMENT, SLIP_AT_1_PSI, RATED = 0.0160, 115.0, 2750.0

pressures = st.floats(60e3, 105e3)
ratios = st.floats(1.0, 4.0)
kelvins = st.floats(250, 330)


def slip(inches: float, slip_at_1_psi: float = SLIP_AT_1_PSI) -> np.ndarray:
    return slip_at_1_psi * blower.slip_multiple(SEA - inches * INCH_OF_MERCURY, SEA)


def us_slip(inlet: np.ndarray | float, outlet: float, celsius: float = 20.0) -> np.ndarray:
    """Slip in rev/min by psi and degrees Rankine (the form is common practice, no source)."""
    difference, absolute = (outlet - np.asarray(inlet)) / PSI, np.asarray(inlet) / PSI
    rankine = (celsius + 273.15) * 1.8
    root = np.sqrt(difference * 14.69595 / absolute * rankine / 527.67)
    return np.asarray(SLIP_AT_1_PSI * root)


def test_equal_ratio() -> None:
    """8 inHg of vacuum where the air has 27.79: common practice, no source; figures by hand.

    27.79 / 19.79 = 1.4042 is the ratio, and 29.921 (1 - 1/1.4042) = 8.613 inHg the vacuum that
    has it at sea level.
    """
    here, inlet = 27.79 * INCH_OF_MERCURY, 19.79 * INCH_OF_MERCURY
    sea = 29.921 * INCH_OF_MERCURY
    assert here / inlet == pytest.approx(1.4042, abs=1e-4)
    vacuum = 8.613 * INCH_OF_MERCURY
    slips = blower.slip_multiple(np.array([inlet, sea - vacuum]), np.array([here, sea]))
    assert slips[0] == pytest.approx(slips[1], rel=1e-4)


def test_slip_in_other_units() -> None:
    inches = np.array([2, 4, 8, 10, 12, 15, 16])
    inlet = SEA - inches * INCH_OF_MERCURY
    np.testing.assert_allclose(slip(inches), us_slip(inlet, SEA), rtol=1e-6)
    hot = SLIP_AT_1_PSI * blower.slip_multiple(inlet, SEA, 313.15)
    np.testing.assert_allclose(hot, us_slip(inlet, SEA, 40.0), rtol=1e-6)
    light = SLIP_AT_1_PSI * blower.slip_multiple(inlet, SEA, mass_ratio=0.98)
    np.testing.assert_allclose(light, us_slip(inlet, SEA) / np.sqrt(0.98), rtol=1e-6)


@pytest.mark.parametrize("speed", [2750.0, 1400.0])
def test_inlet_flows_in_cubic_feet(speed: float) -> None:
    """0.565 ft³ a turn."""
    inches = np.array([0, 4, 8, 12, 15])
    flow = blower.inlet_flow(DISPLACEMENT, speed, slip(inches)) / FT3_MIN
    turns = speed - us_slip(SEA - inches * INCH_OF_MERCURY, SEA)
    expected = DISPLACEMENT / FOOT**3 * turns
    np.testing.assert_allclose(flow, expected, rtol=1e-6)


def test_power_and_heat() -> None:
    """At 8 and 12 inHg. A horsepower is 33 000 ft lbf/min; the heat warms air of CoolProp's
    equation of state, whose capacity is not quite 3.5 R; and it gives the mass flow back."""
    difference = np.array([8, 12]) * INCH_OF_MERCURY
    inlet = SEA - difference
    n_s = slip(np.array([8, 12]))
    power = blower.gas_power(DISPLACEMENT, RATED, difference)
    horsepower = difference / PSI * 144 * DISPLACEMENT / FOOT**3 * RATED / 33_000
    np.testing.assert_allclose(power, 745.69987 * horsepower, rtol=1e-6)
    mass = inlet / (287.05 * ROOM) * blower.inlet_flow(DISPLACEMENT, RATED, n_s)
    rise = blower.discharge_rise(DISPLACEMENT, RATED, difference, mass)
    for i in range(2):
        enthalpy = PropsSI("H", "P", inlet[i], "T", ROOM, "Air") + power[i] / mass[i]
        warmed = PropsSI("T", "P", SEA, "H", enthalpy, "Air") - ROOM
        assert rise[i] == pytest.approx(warmed, rel=0.01)
    cooled = blower.discharge_rise(DISPLACEMENT, RATED, difference, mass, heat_loss=0.1)
    np.testing.assert_allclose(cooled, 0.9 * rise, rtol=1e-12)


@settings(max_examples=60, deadline=None)
@given(st.floats(1.01, 4.0), kelvins)
def test_the_rise_lies_above_a_machine_that_compresses_inside(ratio: float, kelvin: float) -> None:
    """The gas that streams back costs work: isentropic compression, from fluids, is less."""

    def rise_over_isentropic(r: float) -> tuple[float, float]:
        inlet = SEA / r
        mass = inlet / (287.05 * kelvin) * DISPLACEMENT * RATED / 60  # without slip
        rise = blower.discharge_rise(DISPLACEMENT, RATED, SEA - inlet, mass)
        isentropic = isentropic_T_rise_compression(T1=kelvin, P1=1e5, P2=r * 1e5, k=1.4) - kelvin
        return float(rise), float(isentropic)

    rise, isentropic = rise_over_isentropic(ratio)
    assert rise > isentropic
    assert rise * 1006.0 * 28.9655e-3 > isothermal_work_compression(P1=1, P2=ratio, T=kelvin)
    # Alike at hardly a difference, but for cp, which is not quite 3.5 R.
    rise, isentropic = rise_over_isentropic(1 + 1e-6)
    assert rise == pytest.approx(isentropic, rel=2e-3)


def test_at_altitude() -> None:
    """94.1 kPa, 30 °C, 10 inHg, 2300 rev/min. Equal vacuum in place of equal ratio is 6 % wrong."""
    outlet = 94_100.0
    inlet = outlet - 10 * INCH_OF_MERCURY
    vacuum = 10.768  # 94 100 Pa are 27.788 inHg: 29.921 * 10 / 27.788, by hand
    n_s = SLIP_AT_1_PSI * blower.slip_multiple(inlet, outlet, 303.15)
    assert n_s == pytest.approx(float(us_slip(inlet, outlet, 30.0)), rel=1e-6)
    looked_up = slip(vacuum) * np.sqrt(303.15 / 293.15)
    assert looked_up == pytest.approx(float(n_s), rel=5e-5)
    naive = slip(10.0) * np.sqrt(303.15 / 293.15)
    assert naive / n_s == pytest.approx(0.945, abs=1e-3)
    flow = blower.inlet_flow(DISPLACEMENT, 2300.0, n_s)
    expected = DISPLACEMENT / FOOT**3 * (2300 - us_slip(inlet, outlet, 30.0))
    assert flow / FT3_MIN == pytest.approx(float(expected), rel=1e-6)


def test_the_root_lies_near_an_isentropic_nozzle() -> None:
    """High by 0.3 % at 2 inHg, 1.8 % at 10, 3.2 % at 15, past choking.

    The textbook's nozzle from the outlet's pressure at the inlet's temperature, choked below
    0.5283, as a volume at the inlet's state; both alike where there is hardly a difference.
    """

    def over_nozzle(inches: np.ndarray) -> np.ndarray:
        inlet = SEA - inches * INCH_OF_MERCURY
        tau = np.maximum(inlet / SEA, 1.2**-3.5)
        volume = np.sqrt(7 * (tau ** (2 / 1.4) - tau ** (2.4 / 1.4))) * SEA / inlet
        return np.asarray(blower.slip_multiple(inlet, SEA) / volume)

    ratio = over_nozzle(np.array([1e-3, 2, 10, 15]))
    np.testing.assert_allclose(ratio / ratio[0], [1, 1.003, 1.018, 1.032], atol=1e-3)


@settings(max_examples=80, deadline=None)
@given(pressures, ratios, kelvins, st.floats(0, 0.5), st.floats(0.98, 1.0))
def test_slip_follows_the_ratio_and_rises_with_it(
    outlet: float, ratio: float, kelvin: float, share: float, mass_ratio: float
) -> None:
    args = (kelvin, mass_ratio)
    here = blower.slip_multiple(outlet / ratio, outlet, *args, share)
    more = blower.slip_multiple(outlet / ratio * 0.999, outlet, *args, share)
    assert more > here >= 0
    # Of orifices it is the ratio alone, whatever the altitude; narrow gaps feel the density.
    at_sea = blower.slip_multiple(SEA / ratio, SEA, *args)
    assert blower.slip_multiple(outlet / ratio, outlet, *args) == pytest.approx(float(at_sea))
    assert blower.slip_root(ratio, kelvin) == pytest.approx(
        float(blower.slip_root(ratio)) * np.sqrt(kelvin / 293.15)
    )
    thin = blower.laminar_slip(ratio, outlet / ratio)
    assert thin == pytest.approx(float(blower.laminar_slip(ratio, SEA / ratio)) * outlet / SEA)


def test_both_kinds_of_slip_are_1_at_1_psi() -> None:
    one = SEA - blower.SLIP_DIFFERENCE
    assert blower.laminar_slip(SEA / one, one) == pytest.approx(1.0, rel=1e-12)
    assert blower.slip_root(SEA / one) == pytest.approx(np.sqrt(SEA / one), rel=1e-12)
    assert blower.slip_root(1 + blower.SLIP_DIFFERENCE / SEA) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.parametrize("inches", [2.0, 12.0])
def test_laminar_slip_against_poiseuille_step_by_step(inches: float) -> None:
    """Mass flow between plates goes with the integral of p dp; over the density at the inlet."""

    def passed(inlet: float) -> float:
        pressures = np.linspace(inlet, SEA, 2001)
        return float(np.trapezoid(pressures, pressures)) / inlet

    inlet = SEA - inches * INCH_OF_MERCURY
    expected = passed(inlet) / passed(SEA - PSI)
    assert blower.laminar_slip(SEA / inlet, inlet) == pytest.approx(expected, rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(st.floats(300, 4000), st.floats(40, 4000), pressures, kelvins, st.floats(0, 0.9))
def test_a_blanked_blower_turns_for_its_slip_alone(
    speed: float, slip_at_1_psi: float, outlet: float, kelvin: float, share: float
) -> None:
    inlet = blower.blanked_inlet_pressure(
        speed, slip_at_1_psi, outlet, temperature=kelvin, laminar_share=share
    )
    assert 0 < inlet < outlet
    n_s = slip_at_1_psi * blower.slip_multiple(inlet, outlet, kelvin, 1.0, share)
    assert n_s == pytest.approx(speed, rel=1e-6)
    if share == 0:
        closed_form = 1 + (speed / slip_at_1_psi) ** 2 / 14.69595 * 293.15 / kelvin
        assert outlet / inlet == pytest.approx(closed_form, rel=1e-6)


def test_limits_are_named() -> None:
    """15 inHg at sea level is the end of dry service, and 120 °C no harm to the casing yet: common
    practice, no source."""
    inlet = SEA - np.array([15.0, 16.0, 25.0]) * INCH_OF_MERCURY
    beyond = blower.beyond_limits(inlet, SEA, np.array([393.0, 400.0, 520.0]))
    np.testing.assert_array_equal(beyond.heat, [False, False, True])
    np.testing.assert_array_equal(beyond.ratio, [False, True, True])
    np.testing.assert_array_equal(beyond.difference, [False, False, True])


def test_no_air_no_sense() -> None:
    """A blower that only slips warms without end: in figures, until 1 mg/s."""
    rise = blower.discharge_rise(DISPLACEMENT, RATED, 1e4, np.array([0.5, 1e-6, 0.0, -0.2]))
    assert rise[1] == rise[2] == rise[3] > 1e6 * rise[0] / 2.1
    assert blower.slip_root(0.99) == -blower.slip_root(1.01)


def test_altitude_alone_takes_no_flow_at_an_equal_ratio() -> None:
    """Common practice, no source: 1800 m cost an open port nothing in volume."""
    high = float(air.standard_pressure(1800.0))
    vacuum = 2 * INCH_OF_MERCURY
    inlets = np.array([high * (1 - vacuum / SEA), SEA - vacuum])
    assert high - inlets[0] < 0.85 * vacuum
    slips = SLIP_AT_1_PSI * blower.slip_multiple(inlets, np.array([high, SEA]))
    flows = blower.inlet_flow(DISPLACEMENT, RATED, slips)
    assert flows[0] / flows[1] == pytest.approx(1, abs=1e-12)


def test_at_one_vacuum_a_slower_blower_loses_more_than_its_share() -> None:
    """Common practice, no source. Nine tenths of the speed; the slip stays: 2208.7 / 2483.7."""
    flow = blower.inlet_flow(DISPLACEMENT, np.array([0.9 * RATED, RATED]), slip(8.0))
    assert flow[0] / flow[1] == pytest.approx(2208.7 / 2483.7, rel=1e-4)
    assert flow[0] / flow[1] < 0.9
