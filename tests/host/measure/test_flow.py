"""Flow and its uncertainty at points that were worked apart from the code.

The tube is grit unit 5's: pipe 148.0 mm, throat 100.6 mm, C 0.991 to 1 % (95 %), bores to 0.2 mm.
The air is that of its site: 98.4 kPa, 21 C, 40 %. Densities by CoolProp (humid air), the
expansibility and the flow equation by the library fluids, everything else by hand.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from pullcurve.measure.air_state import Known, Place, Surroundings
from pullcurve.measure.flow import Flows, Pressure, solve, standard_flow
from pullcurve.physics.flow_equation import MeterState
from pullcurve.rig.loading import parse_rig
from pullcurve.rig.models import Rig
from pullcurve.rig.sensor_parts import SENSOR_PARTS

P0, T0, HUMIDITY = 98_400.0, 294.15, 0.40
SPAN_PA = 2 * 6894.757
RIG = """\
[meter]
kind = "venturi"
position = "{position}"
pipe_bore = "148.0 mm"
throat_bore = "100.6 mm"
discharge_coefficient = 0.991
discharge_coefficient_uncertainty = "1 %"
discharge_coefficient_source = "calibrated against a reference nozzle, report 118"
[site]
altitude = "240 m"
[pickups.blower_shaft]
marks_per_turn = 3
"""

# At 2000 Pa, K = 0.5 from the open air. By turns until nothing moves: V1 = m / (rho1 A),
# p1 = p0 - 1.5 rho1 V1^2 / 2, T1 = T0 - V1^2 / (2 cp), rho1, epsilon, m.
VELOCITY = 29.9428
TAP_PA = 97_624.04
EPSILON = 0.985077
TAP_DENSITY = 1.153971
OPEN_DENSITY = 1.161380
UNCORRECTED_KG_S = 0.594430
# The root of the mean is too high by E = 2 %.
MASS_KG_S = UNCORRECTED_KG_S / 1.02  # 0.582774
HEAD_PA = 497.22  # (m / A)^2 / (2 rho1), A = pi/4 0.148^2
STANDARD_DENSITY = 1.204603  # 101325 Pa, 20 C, dry
# CoolProp and CIPM-2007 differ by up to 2e-4 in the density, by its root in the flow.
AGREES = 2e-4


def a_rig(position: str = "port") -> Rig:
    return parse_rig(RIG.format(position=position), "unit 5")


def pressure(mean: float = 2000.0, **known: object) -> Pressure:
    """A mean without any doubt; `known` is what a test says of it."""
    accuracy = SENSOR_PARTS["HSC"].differential_pressure
    assert accuracy is not None
    one = np.ones(1)
    plain = Pressure(
        mean=mean * one,
        scatter=0.0 * one,
        scatter_freedom=9,
        pulsation=0.02 * one,
        pulsation_u=0.0 * one,
        aliasing_u=0.0 * one,
        zero_half_width=0.0,
        span=SPAN_PA,
        accuracy=accuracy,
    )
    return replace(plain, **known)  # type: ignore[arg-type]


def open_air(**places: Place) -> Surroundings:
    one = np.ones(1)
    known = [
        Known(value * one, half * one, "measured")
        for value, half in ((P0, 100.0), (T0, 1.0), (HUMIDITY, 0.05))
    ]
    return Surroundings(*known, places)


def place(pa: float, half_width: float = 60.0, *, compared: bool = True) -> Place:
    return Place(np.array([pa]), np.array([half_width]), compared, "measured")


def relative(flows: Flows, name: str) -> float:
    return float(abs(flows.mass.contribution(name)[0]) / flows.mass.value[0])


def test_a_point_worked_by_hand() -> None:
    flows = solve(pressure(), open_air(), a_rig())
    state: MeterState = flows.state
    assert state.pressure[0] == pytest.approx(TAP_PA, abs=1.0)
    assert state.temperature[0] == pytest.approx(T0 - VELOCITY**2 / (2 * 1006), abs=2e-3)
    assert state.density[0] == pytest.approx(TAP_DENSITY, rel=AGREES)
    assert state.expansibility[0] == pytest.approx(EPSILON, abs=2e-6)
    assert flows.mass.value[0] == pytest.approx(MASS_KG_S, rel=AGREES)
    assert flows.standard.value[0] == pytest.approx(MASS_KG_S / STANDARD_DENSITY, rel=AGREES)
    assert flows.tap.result.value[0] == pytest.approx(MASS_KG_S / TAP_DENSITY, rel=AGREES)
    # The port breathes the open air: 98400 Pa, 21 C.
    assert flows.port.result.value[0] == pytest.approx(MASS_KG_S / OPEN_DENSITY, rel=AGREES)
    assert flows.port.basis == "measured"
    # Inlet: 97624 - 0.125 * 2000 - 4.5 * 497.2 = 95136.5 Pa; 1.122849 kg/m3 there at 21 C.
    assert flows.inlet.pressure[0] == pytest.approx(95_136.5, abs=2.0)
    assert flows.inlet.result.value[0] == pytest.approx(MASS_KG_S / 1.122849, rel=AGREES)
    assert flows.inlet.basis == "modelled"
    assert flows.differential_pressure.value[0] == 2000.0


def test_each_uncertainty_of_a_point_worked_by_hand() -> None:
    """In the clean pipe, the tap measured: m goes as C eps d^2 / sqrt(1 - b^4) sqrt(dp p1 / T).

    b = 0.67973, b^4 = 0.21347; p1 = 97624 Pa. An increase of dp by 1 % lowers eps by 0.0151 %, so
    dp counts with 0.5 - 0.015, p1 with 0.5 + 0.015; T with 0.5, and by the vapour that air of 40 %
    holds: 6.15 % more of it a kelvin.
    """
    doubts = {
        "scatter": np.array([4.0]),
        "pulsation_u": np.array([0.004]),
        "aliasing_u": np.array([0.001]),
        "zero_half_width": 20.0,
        "offset": np.array([10.0]),
        "offset_u": np.array([6.0]),
        "straightness_u95": 0.02,
    }
    around = open_air(tap=place(TAP_PA))
    flows = solve(pressure(2010.0, **doubts), around, a_rig("clean_pipe"))
    b4 = (100.6 / 148.0) ** 4
    of_dp, of_p1, root3 = 0.5 - 0.0151, 0.5 + 0.0151, np.sqrt(3)
    by_hand = {
        "discharge coefficient": 0.010 / 2,
        "throat bore": 2 / (1 - b4) * 0.1 / 100.6,
        "differential pressure": of_dp * 4 / 2000,
        "sensor zero": of_dp * 20 / root3 / 2000,
        "water in a line": of_dp * 6 / 2000,
        "sensor gain": of_dp * 0.005 / root3,  # HSC: 2 (0.5 % - 0.25 %) of the reading
        "sensor linearity": of_dp * 0.0025 * SPAN_PA / root3 / 2000,
        "aliasing": of_dp * 0.001,
        "pulsation": 0.004 / 1.02,
        "swirl": 0.02 / 2,
        "station pressure": of_p1 * 100 / root3 / TAP_PA,
        "vacuum, tap": of_p1 * 60 / root3 / TAP_PA,
        "air temperature": 0.5 * (1 / T0 + 0.378 * 0.01016 * 0.0615) / root3,
        "warming": 0.5 * 3.0 / root3 / T0,  # 3 K either way, on the way through the machine
        "expansibility formula": (0.04 + b4**2) * 2000 / TAP_PA / 2,
    }
    for name, u in by_hand.items():
        assert relative(flows, name) == pytest.approx(u, rel=0.025), name
    small = {
        "pipe bore": 2 * b4 / (1 - b4) * 0.1 / 148.0,  # what b does to eps is left out
        # The vapour's share is 0.0254 at 100 %, and moves the density by 0.378 of it.
        "humidity": 0.5 * 0.378 * 0.0254 * 0.05 / root3,
    }
    for name, u in small.items():
        assert relative(flows, name) == pytest.approx(u, rel=0.05), name
    # Nearly all of it has endless degrees of freedom: coverage factor 1.96.
    total = 1.96 * np.linalg.norm([*by_hand.values(), *small.values()])
    for result in (flows.mass, flows.standard):
        u95 = result.expanded_uncertainty()[0] / result.value[0]
        assert u95 == pytest.approx(total, rel=0.01)


def test_pulsation_makes_the_root_of_the_mean_too_high_and_is_taken_off() -> None:
    """A flow that swings as a sine by 25 % of its mean: the mean of its square is higher by half
    of 0.25^2, so the root of the mean pressure by 1.55 %; the true mean flow comes out."""
    swing = 1 + 0.25 * np.sin(np.linspace(0, 2 * np.pi, 10_000, endpoint=False))
    mean_pa = float(np.mean(2000 * swing**2))
    too_high = np.sqrt(1 + 0.25**2 / 2) - 1
    around, rig = open_air(tap=place(TAP_PA)), a_rig("clean_pipe")
    steady = solve(pressure(pulsation=np.zeros(1)), around, rig)
    pulsating = solve(pressure(mean_pa, pulsation=np.array([too_high])), around, rig)
    # That the mean pressure is higher by 3 % lowers epsilon by 0.05 %.
    assert pulsating.mass.value[0] == pytest.approx(steady.mass.value[0], rel=6e-4)


@pytest.mark.parametrize(
    ("position", "at", "pa"),
    [
        # p1 - 0.125 dp - heads: a hose has a median of 6, a factor of 1.8 either way.
        ("hose_end", "port", TAP_PA - 250 - 7.1 * HEAD_PA),
        ("hose_end", "inlet", TAP_PA - 250 - 11.6 * HEAD_PA),
        ("port", "inlet", TAP_PA - 250 - 4.5 * HEAD_PA),
        ("port", "port", P0),
        ("clean_pipe", "inlet", TAP_PA - 250 - 0.75 * HEAD_PA),
        ("clean_pipe", "port", (TAP_PA + P0) / 2),  # anywhere between the open air and the tap
    ],
)
def test_pressure_where_no_sensor_is(position: str, at: str, pa: float) -> None:
    places = {"tap": place(TAP_PA)} if position == "clean_pipe" else {}
    volume = getattr(solve(pressure(), open_air(**places), a_rig(position)), at)
    assert volume.pressure[0] == pytest.approx(pa, abs=5.0)
    assert volume.basis == ("measured" if position == at else "modelled")


def test_heads_of_a_hose_are_those_of_the_lognormal_that_is_believed_of_it() -> None:
    """Median 6, one standard deviation a factor of 1.8: by scipy. The machine comes on top."""
    hose = stats.lognorm(np.log(1.8), scale=6.0)
    port = solve(pressure(), open_air(), a_rig("hose_end")).port
    by_heads = abs(port.result.contribution("losses, port")[0]) / port.result.value[0]
    assert by_heads == pytest.approx(hose.std() * HEAD_PA / port.pressure[0], rel=0.01)
    pressures = solve(pressure(), open_air(), a_rig("hose_end"))
    between = (pressures.port.pressure - pressures.inlet.pressure)[0] / HEAD_PA
    assert between == pytest.approx(4.5, rel=0.01)
    from_tap = (pressures.state.pressure - 250 - pressures.port.pressure)[0] / HEAD_PA
    assert from_tap == pytest.approx(hose.mean(), rel=0.01)


def test_the_inlet_s_flow_is_as_uncertain_as_its_warming_and_the_losses_ahead_of_it() -> None:
    """Air that warms by 3 K either way: 3 / sqrt(3) / 294.15 = 0.589 %. Losses of 4.5 +- 2 heads:
    2 * 497.2 Pa of 95136 Pa = 1.045 %. Neither touches the mass flow on a port."""
    flows = solve(pressure(), open_air(), a_rig())
    inlet = flows.inlet.result
    for name, u in (("warming", 0.00589), ("losses, inlet", 0.01045)):
        assert abs(inlet.contribution(name)[0]) / inlet.value[0] == pytest.approx(u, rel=0.01)
        assert relative(flows, name) == 0.0
    own = flows.mass.standard_uncertainty[0] / flows.mass.value[0]
    # More mass also means more loss ahead of the inlet, so the sum is a little larger.
    expected = 1.96 * np.linalg.norm([own, 0.00589, 0.01045])
    assert inlet.expanded_uncertainty()[0] / inlet.value[0] == pytest.approx(expected, rel=0.04)


@pytest.mark.parametrize("compared", [True, False])
def test_a_sensor_at_the_inlet_takes_the_place_of_the_modelled_losses(compared: bool) -> None:
    sensor = place(93_000.0, 60.0 if compared else 280.0, compared=compared)
    inlet = solve(pressure(), open_air(inlet=sensor), a_rig()).inlet
    assert inlet.basis == "measured"
    assert inlet.pressure[0] == pytest.approx(93_000.0)
    # 93000 Pa against 95136 Pa: so much thinner air.
    assert inlet.result.value[0] == pytest.approx(
        MASS_KG_S / 1.122849 * 95_136.5 / 93_000, rel=AGREES
    )
    name = f"{'vacuum' if compared else 'pressure'}, inlet"
    by_place = abs(inlet.result.contribution(name)[0]) / inlet.result.value[0]
    assert by_place == pytest.approx(sensor.half_width[0] / np.sqrt(3) / 93_000, rel=0.01)
    assert "losses, inlet" not in {entry.name for entry in inlet.result.inputs}


@pytest.mark.parametrize("offset", [40.0, -40.0])
def test_an_offset_of_water_in_a_line_is_taken_off(offset: float) -> None:
    shown = pressure(2000 + offset, offset=np.array([offset]))
    flows = solve(shown, open_air(), a_rig())
    assert flows.differential_pressure.value[0] == pytest.approx(2000.0)
    assert flows.mass.value[0] == pytest.approx(MASS_KG_S, rel=AGREES)


def test_the_fast_standard_flow_is_that_of_the_whole_solution() -> None:
    around, rig = open_air(), a_rig("hose_end")
    whole = solve(pressure(1234.0), around, rig).standard.value
    np.testing.assert_allclose(standard_flow(pressure(1234.0), around, rig), whole, rtol=1e-12)
