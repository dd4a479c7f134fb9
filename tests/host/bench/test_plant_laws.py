"""The plant's single laws: air, tube, slip and leaks, each against an outside reference."""

import CoolProp.CoolProp
import fluids
import numpy as np
import pytest

from pullcurve.bench.elements import leak_flow, narrow_gap_slip, slip_ratio_per_square
from pullcurve.bench.instrument import Meter
from pullcurve.bench.moist_air import density, specific_gas_constant, vapour_fraction, viscosity
from pullcurve.bench.tube import (
    differential_pressure,
    discharge_coefficient,
    upstream_state,
)
from pullcurve.errors import ScenarioError

INCH_HG_PA = 3386.389
MASTER = Meter(
    position="port",
    pipe_bore_m=0.14460,
    throat_bore_m=0.09830,
    discharge_coefficient=1.0,
    inlet_loss=0.5,
    recovery_loss=0.0,
)


def slip_root(vacuum_inch_hg: float, temperature: float = 293.15) -> float:
    vacuum = vacuum_inch_hg * INCH_HG_PA
    rise = vacuum / (101325 - vacuum)
    return float(np.sqrt(rise / slip_ratio_per_square(np.array(temperature), np.array(1.0))))


@pytest.mark.parametrize("celsius", [0.5, 10, 20, 30, 40])
@pytest.mark.parametrize("pressure", [60e3, 94.1e3, 101325.0])
@pytest.mark.parametrize("humidity", [0.0, 0.5, 1.0])
def test_moist_air_density(celsius: float, pressure: float, humidity: float) -> None:
    """CoolProp, HAPropsSI (Herrmann, Kretzschmar, Gatley 2009), volume of the mixture."""
    kelvin = np.array(celsius + 273.15)
    fraction = vapour_fraction(np.array(pressure), kelvin, np.array(humidity))
    reference = 1 / CoolProp.CoolProp.HAPropsSI(
        "Vha", "T", float(kelvin), "P", pressure, "R", humidity
    )
    assert density(pressure, kelvin, fraction) == pytest.approx(reference, rel=1e-4)


def test_standard_density_and_viscosity() -> None:
    """CIPM-2007 (Picard et al., Metrologia 45 (2008) 149): 1.204557 kg/m3 at 101325 Pa, 20 C, dry.

    Viscosity at 15 C: ISO 2533:1975, 1.7894e-5 Pa s.
    """
    assert density(101325.0, 293.15, 0.0) == pytest.approx(1.204557, rel=5e-5)
    assert viscosity(np.array(288.15)) == pytest.approx(1.7894e-5, rel=1e-4)


@pytest.mark.parametrize("drop", [500.0, 1500.0, 3000.0, 10000.0])
def test_tube_inverts_the_venturi_of_iso_5167_4(drop: float) -> None:
    """fluids 1.3.1, differential_pressure_meter_solver. Its expansibility is the closed form of
    the same energy balance, so this checks the code, not the physics.
    """
    p1, t1 = 94_100.0, 293.15
    rho = p1 / (287.05287 * t1)
    flow = fluids.differential_pressure_meter_solver(
        D=MASTER.pipe_bore_m,
        D2=MASTER.throat_bore_m,
        P1=p1,
        P2=p1 - drop,
        rho=rho,
        mu=1.82e-5,
        k=1.4,
        meter_type="machined convergent venturi tube",
    )
    one = np.array(1.0)
    found = differential_pressure(flow * one, p1 * one, rho * one, 0.995 * one, MASTER)
    assert found == pytest.approx(drop, rel=1e-7)
    back = differential_pressure(-flow * one, p1 * one, rho * one, 0.995 * one, MASTER)
    assert back == pytest.approx(-found, rel=1e-12)


def test_tube_refuses_a_flow_that_its_throat_cannot_pass() -> None:
    flow, p1, rho, one = (np.array([value]) for value in (2.4, 94_100.0, 1.1182, 1.0))
    with pytest.raises(ScenarioError, match="throat_bore_m"):
        differential_pressure(flow, p1, rho, one, MASTER)


@pytest.mark.parametrize(("flow", "loss"), [(0.55, 0.5), (0.77, 0.05), (0.766, 1.0)])
def test_state_at_the_upstream_tap(flow: float, loss: float) -> None:
    """p1 = p0 - (1 + K) rho1 V1^2 / 2 and T1 = T0 - V1^2 / 2 cp, repeated with the density of dry
    air as an ideal gas. Speeding up happens here ahead of the loss, in air denser than at the tap:
    0.6 % of the drop."""
    meter = MASTER.model_copy(update={"inlet_loss": loss})
    p0, t0 = np.array(94_100.0), np.array(293.15)
    gas = specific_gas_constant(p0, t0, np.array(0.0))
    p1, t1 = upstream_state(np.array(flow), p0, t0, gas, meter)
    pressure, kelvin = float(p0), float(t0)
    for _ in range(40):
        density = pressure / (287.05 * kelvin)
        velocity = flow / (density * np.pi / 4 * MASTER.pipe_bore_m**2)
        pressure = float(p0) - (1 + loss) * density * velocity**2 / 2
        kelvin = float(t0) - velocity**2 / 2 / 1006
    assert p0 - p1 == pytest.approx(float(p0) - pressure, rel=8e-3)
    assert t1 == pytest.approx(kelvin, abs=0.01)


@pytest.mark.parametrize("vacuum", [2, 4, 8, 12, 16])
def test_slip_root(vacuum: float) -> None:
    """By psi and degrees Rankine; the form is common practice, no source."""
    inlet = (101325 - vacuum * INCH_HG_PA) / 6894.757
    expected = np.sqrt((14.69595 - inlet) * 14.69595 / inlet)
    assert slip_root(vacuum) == pytest.approx(expected, rel=1e-6)
    warm = expected * np.sqrt(550 / 527.67)
    assert slip_root(vacuum, 550 / 1.8) == pytest.approx(warm, rel=1e-6)


@pytest.mark.parametrize("vacuum", [2, 12])
def test_laminar_slip_against_poiseuille_step_by_step(vacuum: float) -> None:
    """Mass flow between plates goes with the integral of p dp; 1 at 1 psi by definition."""

    def passed(inlet: float) -> float:
        pressures = np.linspace(inlet, 101325, 2001)
        return float(np.trapezoid(pressures, pressures)) / inlet

    p1, unit = 101325 - vacuum * INCH_HG_PA, 101325 - 6894.757
    expected = passed(p1) / passed(unit)
    assert narrow_gap_slip(np.array(p1), np.array(101325 / p1)) == pytest.approx(expected, rel=1e-9)
    assert narrow_gap_slip(np.array(unit), np.array(101325 / unit)) == pytest.approx(1)


@pytest.mark.parametrize("vacuum", [7e3, 17e3, 34e3, 68e3])
def test_leak_of_one_square_centimetre(vacuum: float) -> None:
    """Energy and entropy with CoolProp's equation of state for air; choked at the last, where the
    flow is the greatest of all pressures in the throat."""
    start, kelvin = 101325.0, 293.15
    properties = CoolProp.CoolProp.PropsSI
    entropy = properties("S", "P", start, "T", kelvin, "Air")
    h0, rho0 = (properties(x, "P", start, "T", kelvin, "Air") for x in ("H", "D"))

    def flux(pressure: float) -> float:
        rho, h = (properties(x, "P", pressure, "S", entropy, "Air") for x in ("D", "H"))
        return float(rho * np.sqrt(2 * (h0 - h)))

    throats = np.linspace(max(start - vacuum, 0.5 * start), 0.999 * start, 400)
    expected = 1e-4 * (flux(start - vacuum) if vacuum < 4e4 else max(map(flux, throats)))
    rt = np.array(start / rho0)
    ambient = np.array(start)
    flow = leak_flow(1e-4, ambient, ambient - vacuum, rt)
    assert flow == pytest.approx(expected, rel=1e-3)
    outward = leak_flow(1e-4, ambient - vacuum, ambient, rt)
    assert outward == pytest.approx(-flow, rel=1e-12)


@pytest.mark.parametrize(
    ("reynolds", "expected"), [(2e5, 0.97), (4e5, 0.97 * 1.004), (5e4, 0.97 * (1 - 0.024 - 0.008))]
)
def test_coefficient_falls_and_slopes_with_the_reynolds_number(
    reynolds: float, expected: float
) -> None:
    """0.4 % a doubling on both sides of 2e5, and 1.2 % a halving more below it."""
    tube = MASTER.model_copy(
        update={
            "discharge_coefficient": 0.97,
            "coefficient_fall": 0.012,
            "coefficient_slope": 0.004,
        }
    )
    kelvin = np.array(288.15)  # where ISO 2533:1975 has 1.7894e-5 Pa s
    flow = np.array(reynolds * np.pi / 4 * tube.pipe_bore_m * 1.7894e-5)
    assert discharge_coefficient(flow, kelvin, tube) == pytest.approx(expected, rel=1e-5)
