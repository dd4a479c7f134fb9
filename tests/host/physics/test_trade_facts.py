"""What the trade says, held against physics. Common practice, no source.

The machine is the invented one of `test_path`; its numbers come from a separate script.
"""

import numpy as np
import pytest

from pullcurve.physics import blower
from pullcurve.physics.flow_equation import mass_flow
from pullcurve.physics.path import (
    Blower,
    Filter,
    Hose,
    Loss,
    OpenAir,
    OperatingPoint,
    Place,
    flow_at,
    operating_point,
)

INCH_OF_MERCURY, FT3_MIN = 3386.389, 4.719474e-4
SEA, ROOM, BORE = 101325.0, 293.15, 0.1016
LOADS = {"open": 0.0, "hose": 5.9, "plate": 22.0}


def run(
    load: str, speed: float = 3600.0, slips: float | np.ndarray = 1.0, pressure: float = SEA
) -> OperatingPoint:
    path = (
        Place("port"),
        Loss(0.25 + LOADS[load], BORE),
        Loss(2.5, BORE),
        Filter(3300.0),
        Place("blower"),
    )
    outside = OpenAir(pressure, ROOM, 287.05 * ROOM, 1.82e-5)
    return operating_point(path, Blower(0.0085, 150.0 * np.asarray(slips)), speed, outside)


def port_flow(point: OperatingPoint) -> np.ndarray:
    return point.stations["port"].volume_flow / FT3_MIN


def vacuum(point: OperatingPoint) -> np.ndarray:
    return point.stations["blower"].vacuum / INCH_OF_MERCURY


def test_half_the_differential_pressure_is_71_per_cent_of_the_flow() -> None:
    """In one gas of one density; the expansibility is left out."""
    bores = {"pipe_bore": BORE, "throat_bore": 0.0779}
    half, whole = mass_flow(
        np.array([500.0, 1000.0]), 1.2, coefficient=0.98, expansibility=1.0, **bores
    )
    assert half / whole == pytest.approx(0.71, abs=0.005)


@pytest.mark.parametrize(
    ("load", "slips", "inches", "blanked"),
    [("open", 33, 0.43, 1.05), ("hose", 26, 0.78, 1.6), ("plate", 22, 1.29, 2.31)],
)
def test_1000_promised_400_measured(load: str, slips: float, inches: float, blanked: float) -> None:
    """A new blower cures it: then the old one slipped 22 to 33 times as much, and hardly pulled.

    Blanked it would hold 1 to 2 inHg: a consequence to state, never a test to ask for. One
    that still pulled 10 inHg explains 963 to 729 by wear; the rest has other causes.
    """
    share = port_flow(run(load, slips=np.array([slips - 1, slips + 1]))) / port_flow(run(load))
    assert share[0] > 0.40 > share[1]
    worn = run(load, slips=slips)
    assert vacuum(worn) == pytest.approx(inches, abs=0.04)
    held = SEA - blower.blanked_inlet_pressure(3600.0, 150.0 * slips, SEA)
    assert held / INCH_OF_MERCURY == pytest.approx(blanked, abs=0.15)
    if load == "open":
        held = SEA - blower.blanked_inlet_pressure(3600.0, 8.89 * 150, SEA)
        assert held / INCH_OF_MERCURY == pytest.approx(10, abs=0.1)
        assert port_flow(run(load, slips=8.89)) == pytest.approx(729, abs=1)


@pytest.mark.parametrize("load", list(LOADS))
def test_altitude_does_not_make_400_of_1000(load: str) -> None:
    """3000 m on a fixed path: hardly any actual flow is lost; the mass is."""
    sea, high = run(load), run(load, pressure=70121.0)
    assert port_flow(high) / port_flow(sea) > 0.97
    assert high.intake / sea.intake == pytest.approx(70121 / SEA, rel=0.03)


@pytest.mark.parametrize(
    ("load", "at_3000", "at_2900"),
    [("open", 0.848, 0.822), ("hose", 0.869, 0.846), ("plate", 0.902, 0.884)],
)
def test_governed_to_2900_loses_its_share_before_anything_is_worn(
    load: str, at_3000: float, at_2900: float
) -> None:
    """A little less than the speeds' ratio says: less vacuum, denser air, less slip."""
    shares = [port_flow(run(load, speed)) / port_flow(run(load)) for speed in (3000, 2900)]
    assert shares == pytest.approx([at_3000, at_2900], abs=6e-4)
    assert shares[1] > 2900 / 3600


def test_a_vacuum_gauge_does_not_tell_flow() -> None:
    """Near 4.8 inHg: a worn one, a slow one and a healthy one, 528, 537 and 855 ft³/min."""
    points = [run("plate", slips=6), run("plate", 2400), run("hose")]
    assert [float(vacuum(p)) for p in points] == pytest.approx([4.9, 4.9, 4.54], abs=0.15)
    assert [float(port_flow(p)) for p in points] == pytest.approx([528, 537, 854.6], abs=1)


def test_2000_at_the_nozzle_is_about_6_inches_and_stones() -> None:
    """A 50 ft hose of 4 in cannot pass it at 10 inHg; one of 6 in can."""
    outside = OpenAir(SEA, ROOM, 287.05 * ROOM, 1.82e-5)
    bores = np.array([4, 6]) * 0.0254
    path = (Place("nozzle"), Hose(15.24, bores, np.array([0.03, 0.028]), loss=1.4))
    most = flow_at(path, SEA - 10 * INCH_OF_MERCURY, outside).stations["nozzle"].volume_flow
    assert most[0] < 2000 * FT3_MIN < most[1]
