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
CFM_M3_S = 4.719474e-4
MASTER = Meter(
    position="port",
    pipe_bore_m=0.1022604,
    throat_bore_m=0.0779272,
    discharge_coefficient=1.0,
    inlet_loss=0.5,
    recovery_loss=0.0,
)


def slip_root(vacuum_inch_hg: float, temperature: float = 293.15) -> float:
    vacuum = vacuum_inch_hg * INCH_HG_PA
    rise = vacuum / (101325 - vacuum)
    return float(np.sqrt(rise / slip_ratio_per_square(np.array(temperature), np.array(1.0))))


@pytest.mark.parametrize("celsius", [0.5, 10, 20, 30, 40])
@pytest.mark.parametrize("pressure", [60e3, 84.3e3, 101325.0])
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


@pytest.mark.parametrize("drop", [500.0, 1245.4445, 2490.889, 10000.0])
def test_tube_inverts_the_venturi_of_iso_5167_4(drop: float) -> None:
    """fluids 1.3.1, differential_pressure_meter_solver. Its expansibility is the closed form of
    the same energy balance, so this checks the code, not the physics.
    """
    p1, t1 = 84300.0, 293.15
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
    flow, p1, rho, one = (np.array([value]) for value in (1.4, 84300.0, 1.0018, 1.0))
    with pytest.raises(ScenarioError, match="throat_bore_m"):
        differential_pressure(flow, p1, rho, one, MASTER)


@pytest.mark.parametrize(
    ("flow", "loss", "below_ambient", "celsius"),
    [(0.28136, 0.5, 889, 19.41), (0.39215, 0.05, 1211, 18.84), (0.38943, 1.0, 2305, 18.83)],
)
def test_state_at_the_upstream_tap(
    flow: float, loss: float, below_ambient: float, celsius: float
) -> None:
    """A table made for this project from p1 = p0 - (1 + K) rho1 V1^2 / 2. Speeding up happens
    here ahead of the loss, in air up to 1.4 % denser than at the tap: 0.6 % of the drop."""
    meter = MASTER.model_copy(update={"inlet_loss": loss})
    p0, t0 = np.array(84300.0), np.array(293.15)
    gas = specific_gas_constant(p0, t0, np.array(0.0))
    p1, t1 = upstream_state(np.array(flow), p0, t0, gas, meter)
    assert p0 - p1 == pytest.approx(below_ambient, rel=6e-3)
    assert t1 - 273.15 == pytest.approx(celsius, abs=0.01)


@pytest.mark.parametrize(
    ("vacuum", "root"), [(2, 1.0260), (4, 1.5059), (8, 2.3159), (12, 3.1369), (16, 4.1098)]
)
def test_slip_root(vacuum: float, root: float) -> None:
    """The trade form of slip, figured elsewhere in the project to 1e-4."""
    assert slip_root(vacuum) == pytest.approx(root, abs=1.5e-4)


def test_laminar_slip_at_twelve_inches_of_mercury() -> None:
    """Y = 7.59 where X = 3.14, figured elsewhere in the project; 1 at 1 psi by definition."""
    p1 = 101325 - 12 * INCH_HG_PA
    assert narrow_gap_slip(np.array(p1), np.array(101325 / p1)) == pytest.approx(7.59, abs=0.006)
    unit = 101325 - 6894.757
    assert narrow_gap_slip(np.array(unit), np.array(101325 / unit)) == pytest.approx(1)


@pytest.mark.parametrize(("vacuum", "cfm"), [(2, 21.65), (5, 32.20), (10, 40.28), (20, 42.09)])
def test_leak_of_one_square_centimetre(vacuum: float, cfm: float) -> None:
    """Standard flow of an isentropic nozzle, figured elsewhere; choked at the last."""
    ambient = np.array(101325.0)
    rt = np.array(287.05 * 293.15)
    flow = leak_flow(1e-4, ambient, ambient - vacuum * INCH_HG_PA, rt)
    assert flow / (101325 / rt) / CFM_M3_S == pytest.approx(cfm, rel=3e-4)
    outward = leak_flow(1e-4, ambient - vacuum * INCH_HG_PA, ambient, rt)
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
