"""The whole path and its operating point, on an invented machine and by its balances.

The machine is a "grit unit". Values marked "separate script" were computed on the same
equations by other code, with another solver.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.physics import air, hose
from pullcurve.physics.path import (
    Blower,
    Filter,
    Hose,
    Leak,
    Loss,
    OpenAir,
    OperatingPoint,
    Path,
    Place,
    Relief,
    flow_at,
    operating_point,
)

INCH_OF_MERCURY, FT3_MIN = 3386.389, 4.719474e-4
SEA, ROOM, BORE = 101325.0, 293.15, 0.1016
HEALTHY = Blower(0.0085, 150.0)
LOADS = {"open": 0.0, "hose": 5.9, "plate": 22.0}


def outside(pressure: float = SEA) -> OpenAir:
    return OpenAir(pressure, ROOM, 287.05 * ROOM, 1.82e-5)


def machine(
    load: float, *, a: float = 0.0, c: float = 0.0, choke: float = 0.0, filter_: float = 0.0
) -> Path:
    """Meter, hose or plate as a plain K, tank, leak A, choke, filter, leak C. Areas in mm²."""
    return (
        Place("nozzle", BORE),
        Loss(0.25 + load, BORE),
        Place("tank", BORE),
        Leak(a * 1e-6),
        Loss(2.5 + choke, BORE),
        Filter(3300.0 + filter_),
        Leak(c * 1e-6),
        Place("blower", BORE),
    )


def inches(point: OperatingPoint, place: str) -> float:
    return float(point.stations[place].vacuum) / INCH_OF_MERCURY


def port_flow(point: OperatingPoint) -> float:
    return float(point.stations["nozzle"].volume_flow) / FT3_MIN


SEA_LEVEL = (
    (0.4160, 0.00748, 0.42347),  # kg/s: hose, leak, blower
    (94362, 89973),  # Pa: tank, blower
    (732.0, 786.0, 839.2),  # ft³/min: hose's end, hose at the tank, blower
    (42.6, 45.8),  # m/s: hose's end, hose at the tank
    (204.3, 31.3),  # slip in rev/min, discharge in °C
)
HIGH_UP = (
    (0.34616, 0.00622, 0.35238),
    (78780, 74921),
    (729.9, 783.5, 838.6),
    (42.5, 45.6),
    (206.2, 31.6),
)


@pytest.mark.parametrize(("pressure", "expected"), [(SEA, SEA_LEVEL), (84556.0, HIGH_UP)])
def test_one_machine_at_two_altitudes(
    pressure: float, expected: tuple[tuple[float, ...], ...]
) -> None:
    """3000 rev/min, hose, 60 mm² at the tank; separate script, 0.1 %.

    Altitude costs hardly any actual flow, and 17 % of the mass.
    """
    point = operating_point(machine(5.9, a=60), HEALTHY, 3000.0, outside(pressure))
    nozzle, tank = point.stations["nozzle"], point.stations["tank"]
    assert point.solved
    assert not point.choked
    leak = point.intake - nozzle.mass_flow
    masses, pressures, flows, velocities, slip_and_discharge = expected
    found = [float(mass) for mass in (nozzle.mass_flow, leak, point.intake)]
    assert found == pytest.approx(masses, rel=1e-3)
    assert (float(tank.pressure), float(point.inlet_pressure)) == pytest.approx(pressures, abs=1)
    stations = (nozzle, tank, point.stations["blower"])
    found = [float(station.volume_flow) / FT3_MIN for station in stations]
    assert found == pytest.approx(flows, abs=0.1)
    assert [float(s.velocity) for s in stations[:2]] == pytest.approx(velocities, abs=0.06)
    assert point.slip_rpm == pytest.approx(slip_and_discharge[0], abs=0.06)
    discharge = ROOM + point.temperature_rise - 273.15
    assert discharge == pytest.approx(slip_and_discharge[1], abs=0.06)


@pytest.mark.parametrize(
    ("load", "flow", "blower_inches", "tank_inches"),
    [("hose", 854.6, 4.54, 2.84), ("open", 963.0, 2.05, 0.14), ("plate", 689.6, 8.66, 7.25)],
)
def test_the_healthy_machine(
    load: str, flow: float, blower_inches: float, tank_inches: float
) -> None:
    """Full throttle, 3600 rev/min; separate script."""
    point = operating_point(machine(LOADS[load]), HEALTHY, 3600.0, outside())
    assert port_flow(point) == pytest.approx(flow, abs=0.06)
    assert inches(point, "blower") == pytest.approx(blower_inches, abs=0.006)
    assert inches(point, "tank") == pytest.approx(tank_inches, abs=0.006)
    if load == "plate":
        assert point.temperature_rise == pytest.approx(38.0, abs=0.1)


@pytest.mark.parametrize(
    ("cause", "size", "open_flow", "open_vacuum", "plate_flow", "plate_vacuum", "plate_heat"),
    [
        ("slip", (3.17, 8.89), (-8, -24), (-0.3, -0.8), (-11, -34), (-2.0, -5.1), (-5, -15)),
        ("c", (433, 1570), (-8, -24), (-0.3, -0.8), (-11, -34), (-2.0, -5.1), (-12, -26)),
        ("a", (467, 1744), (-3, -10), (0, 0), (-12, -37), (-1.8, -4.3), (-10, -23)),
        ("belt", (0.129, 0.357), (-12, -33), (-0.4, -1.1), (-7, -24), (-1.4, -4.0), (-8, -21)),
        ("load", (6.9, 31.9), (0, 0), (0, 0), (0, 0), (0, 0), (0, 0)),
        ("choke", (6.9, 31.9), (-13, -35), (2.8, 8.2), (-7, -22), (1.2, 4.1), (8, 34)),
        ("filter_", (2.3e4, 8.2e4), (-12, -34), (2.6, 7.9), (-8, -25), (1.4, 4.5), (10, 38)),
    ],
)  # fmt: skip
def test_what_each_cause_does(
    cause: str,
    size: tuple[float, float],
    open_flow: tuple[float, float],
    open_vacuum: tuple[float, float],
    plate_flow: tuple[float, float],
    plate_vacuum: tuple[float, float],
    plate_heat: tuple[float, float],
) -> None:
    """Sized to take 10 % and 30 % of the flow with the hose on; separate script, whole per cent."""

    def change(load: str, amount: float) -> tuple[float, float, float]:
        before = operating_point(machine(LOADS[load]), HEALTHY, 3600.0, outside())
        path = machine(LOADS[load])
        blower, speed = HEALTHY, 3600.0
        if cause == "slip":
            blower = Blower(0.0085, 150.0 * amount)
        elif cause == "belt":
            speed *= 1 - amount
        elif cause == "load":
            path = machine(LOADS[load] + amount * (load == "hose"))
        else:
            path = machine(LOADS[load], **{cause: amount})
        after = operating_point(path, blower, speed, outside())
        return (
            100 * (port_flow(after) / port_flow(before) - 1),
            inches(after, "blower") - inches(before, "blower"),
            float(after.temperature_rise - before.temperature_rise),
        )

    for i, amount in enumerate(size):
        assert change("hose", amount)[0] == pytest.approx((-10, -30)[i], abs=0.5)
        opened = (open_flow[i], open_vacuum[i])
        assert change("open", amount)[:2] == pytest.approx(opened, abs=0.6)
        assert change("open", amount)[1] == pytest.approx(opened[1], abs=0.06)
        flow, vacuum, heat = change("plate", amount)
        assert flow == pytest.approx(plate_flow[i], abs=0.6)
        assert vacuum == pytest.approx(plate_vacuum[i], abs=0.06)
        assert heat == pytest.approx(plate_heat[i], abs=0.6)


@pytest.mark.parametrize(
    ("bore", "friction", "flows"),
    [
        (3, 0.035, (524, 689)),
        (4, 0.03, (1102, 1435)),
        (5, 0.03, (1860, 2409)),
        (6, 0.028, (2904, 3736)),
    ],
)
def test_what_50_ft_of_hose_pass(bore: int, friction: float, flows: tuple[float, float]) -> None:
    """Free air at 5 and 10 inHg, K = 1.4 besides friction; separate script."""
    path = (Place("nozzle"), Hose(15.24, bore * 0.0254, friction, loss=1.4))
    answer = flow_at(path, SEA - np.array([5, 10]) * INCH_OF_MERCURY, outside())
    assert answer.solved.all()
    found = answer.stations["nozzle"].volume_flow / FT3_MIN
    np.testing.assert_allclose(found, flows, atol=0.6)


def test_a_choked_hose_says_so_and_passes_no_more() -> None:
    """30 mm on a blower for 100 mm; the flow no longer follows the speed."""
    path = (Place("nozzle", 0.03), Hose(0.5, 0.03, 0.02, loss=0.2), Place("tank"))
    point = operating_point(path, HEALTHY, np.array([100.0, 3000.0, 3600.0]), outside())
    assert point.solved.all()
    np.testing.assert_array_equal(point.choked, [False, True, True])
    flow = point.stations["nozzle"].mass_flow
    assert flow[2] == pytest.approx(flow[1], rel=1e-9)
    assert point.stations["tank"].pressure[2] < point.stations["tank"].pressure[1]
    # A frictionless nozzle of this bore passes more.
    assert flow[2] < hose.leak_flow(hose.area(0.03), SEA, 0.0, 287.05 * ROOM)
    assert flow_at(path, 1000.0, outside()).stations["nozzle"].mass_flow == pytest.approx(flow[2])


def test_a_speed_of_nothing_moves_nothing_and_a_nan_spares_its_neighbours() -> None:
    speeds = np.array([0.0, 1.0, np.nan, 3600.0])
    point = operating_point(machine(5.9, a=60), HEALTHY, speeds, outside())
    np.testing.assert_array_equal(point.solved, [True, True, False, True])
    assert point.intake[0] == pytest.approx(0, abs=1e-9)
    assert 0 < point.intake[1] < 1e-3
    assert np.isnan(point.intake[2])
    alone = operating_point(machine(5.9, a=60), HEALTHY, 3600.0, outside())
    assert point.intake[3] == pytest.approx(float(alone.intake), rel=1e-9)


def test_a_silencer_costs_slip() -> None:
    """The outlet's pressure is the open air's and what the flow loses there."""
    quiet = Blower(0.0085, 150.0, outlet_loss=12e3)
    point = operating_point(machine(5.9), quiet, 3600.0, outside())
    assert point.outlet_pressure - SEA == pytest.approx(12e3 * float(point.intake) ** 2, rel=1e-6)
    loud = operating_point(machine(5.9), HEALTHY, 3600.0, outside())
    assert point.slip_rpm > loud.slip_rpm
    assert point.intake < loud.intake


def test_a_relief_valve_caps_the_vacuum() -> None:
    path = (*machine(60.0)[:-1], Relief(30e3, 1e-4), Place("blower"))
    vacua = (
        operating_point(path, HEALTHY, np.array([1800.0, 2400.0, 3000.0, 3600.0]), outside())
        .stations["blower"]
        .vacuum
    )
    assert vacua[0] < 30e3
    assert (np.diff(vacua) > 0).all()
    assert vacua[-1] - vacua[-2] < 3e3


lengths, wide = st.floats(1, 60), st.floats(0.05, 0.15)
areas = st.floats(0, 2e-3)


def wholly(length: float, bore: float, a: float, c: float, resistance: float) -> Path:
    half = Hose(length / 2, bore, 0.03, loss=0.7)
    return (
        Place("nozzle", bore),
        half,
        Leak(a / 2),
        Place("hose", bore),
        half,
        Place("tank"),
        Leak(a / 2),
        Filter(resistance),
        Leak(c),
        Place("blower", bore),
    )


@settings(max_examples=50, deadline=None)
@given(lengths, wide, areas, areas, st.floats(100, 4000), st.floats(40, 2000))
def test_mass_is_conserved_and_pressure_falls(
    length: float, bore: float, a: float, c: float, speed: float, slip: float
) -> None:
    """At every place: what is in the hose is what came in so far."""
    path = wholly(length, bore, a, c, 3300.0)
    blower = Blower(0.0085, slip)
    point = operating_point(path, blower, speed, outside())
    assert point.solved
    stations = [point.stations[name] for name in ("nozzle", "hose", "tank", "blower")]
    rt = 287.05 * ROOM
    came = [
        float(hose.leak_flow(size, SEA, station.pressure, rt))
        for size, station in zip((a / 2, a / 2, c), stations[1:], strict=True)
    ]
    flows = [float(station.mass_flow) for station in stations]
    assert np.diff(flows) == pytest.approx([came[0], 0, came[1] + came[2]], abs=1e-9)
    assert flows[-1] == pytest.approx(float(point.intake), rel=1e-9)
    pressures = [float(station.pressure) for station in stations]
    assert pytest.approx(pressures[0], rel=1e-9) == SEA
    assert all(np.diff(pressures) < 1e-6)
    # The blower's own equation at its end.
    density = float(point.inlet_pressure) / rt
    assert point.intake == pytest.approx(
        density * 0.0085 * (speed - float(point.slip_rpm)) / 60, rel=1e-9, abs=1e-12
    )
    # The same path drawn upon by anything with that pressure.
    again = flow_at(path, point.inlet_pressure, outside())
    assert again.intake == pytest.approx(float(point.intake), rel=1e-6)


@settings(max_examples=40, deadline=None)
@given(lengths, wide, areas, areas, st.floats(300, 4000))
def test_a_worse_machine_moves_less(
    length: float, bore: float, a: float, c: float, speed: float
) -> None:
    """Longer, narrower, slower, more worn, leaking more: less at the nozzle."""
    path = wholly(length, bore, a, c, 3300.0)
    point = operating_point(path, HEALTHY, speed, outside())
    here = point.stations["nozzle"].mass_flow

    def nozzle(other: Path, blower: Blower = HEALTHY, turns: float = speed) -> float:
        found = operating_point(other, blower, turns, outside())
        return float(found.stations["nozzle"].mass_flow)

    assert nozzle(wholly(length * 1.1, bore, a, c, 3300.0)) < here
    assert nozzle(wholly(length, bore * 0.97, a, c, 3300.0)) < here
    assert nozzle(wholly(length, bore, a, c, 4000.0)) < here
    assert nozzle(path, turns=0.98 * speed) < here
    assert nozzle(path, Blower(0.0085, 180.0)) < here
    assert nozzle(wholly(length, bore, a, c + 1e-5, 3300.0)) < here
    assert nozzle(wholly(length, bore, a + 1e-5, c, 3300.0)) < here


@settings(max_examples=40, deadline=None)
@given(lengths, wide, areas, areas, st.floats(0.5, 1.2), st.floats(0.5, 2.0))
def test_likeness(
    length: float, bore: float, a: float, c: float, thinner: float, larger: float
) -> None:
    """Units do not matter: at scaled pressure and size the answer is the scaled answer.

    Pressures by p, lengths by s, displacement by s²: flows by p s², vacua by p.
    """
    point = operating_point(wholly(length, bore, a, c, 3300.0), HEALTHY, 3000.0, outside())
    s, p = larger, thinner
    like = operating_point(
        wholly(s * length, s * bore, s**2 * a, s**2 * c, 3300.0 * p / s**2),
        Blower(s**2 * 0.0085, 150.0),
        3000.0,
        outside(p * SEA),
    )
    assert like.intake == pytest.approx(p * s**2 * float(point.intake), rel=1e-8)
    for name, station in point.stations.items():
        assert like.stations[name].vacuum == pytest.approx(p * station.vacuum, rel=1e-8, abs=1e-4)
        assert like.stations[name].mass_flow == pytest.approx(
            p * s**2 * station.mass_flow, rel=1e-8, abs=1e-9
        )
    assert like.slip_rpm == pytest.approx(float(point.slip_rpm), rel=1e-8)


def test_a_thousand_machines_at_once_are_a_thousand_alone() -> None:
    rng = np.random.default_rng(5)
    draws = {
        "length": rng.uniform(2, 40, 1000),
        "bore": rng.uniform(0.06, 0.15, 1000),
        "a": rng.uniform(0, 1e-3, 1000),
        "c": rng.uniform(0, 1e-3, 1000),
        "resistance": rng.uniform(1e3, 3e4, 1000),
    }
    slips = rng.uniform(60, 1500, 1000)
    together = operating_point(wholly(**draws), Blower(0.0085, slips), 3000.0, outside())
    assert together.solved.all()
    for i in range(0, 1000, 100):
        one = {name: float(values[i]) for name, values in draws.items()}
        alone = operating_point(wholly(**one), Blower(0.0085, slips[i]), 3000.0, outside())
        assert together.intake[i] == pytest.approx(float(alone.intake), rel=1e-9)


def test_smooth_hose_finds_its_own_friction() -> None:
    """The factor at the Reynolds number that the answer has; a wetter air is lighter."""
    path = (Place("nozzle", BORE), Hose(15.24, BORE, loss=1.4), Place("tank"))
    damp = OpenAir.moist(SEA, 303.15, air.vapour_fraction(SEA, 303.15, 0.9))
    point = operating_point(path, HEALTHY, 3600.0, damp)
    reynolds = 4 * point.intake / (np.pi * BORE * damp.viscosity)
    friction = hose.friction_factor(reynolds, hose.SMOOTH_ROUGHNESS / BORE)
    assert 0.015 < friction < 0.02
    given_it = (Place("nozzle", BORE), Hose(15.24, BORE, friction, loss=1.4), Place("tank"))
    again = operating_point(given_it, HEALTHY, 3600.0, damp)
    assert again.intake == pytest.approx(float(point.intake), rel=1e-9)
    assert 0.98 < damp.mass_ratio < 0.99
    dry = operating_point(path, HEALTHY, 3600.0, OpenAir.moist(SEA, 303.15))
    assert dry.intake > point.intake
