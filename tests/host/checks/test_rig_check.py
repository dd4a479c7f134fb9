"""What facts of a rig cost, held against the working formula of the standard.

ISO 5167-1:2003, 8.2.2, leaves out that expansibility and the pressure at the upstream tap hang
on the flow as well; at 2.5 kPa that takes up to 6 % off an effect.
"""

import re
from pathlib import Path

import numpy as np
import pytest

from host.rig import good_rig
from pullcurve.checks.rig import doubts, faults
from pullcurve.checks.rig_check import Costs, costs
from pullcurve.errors import RigError
from pullcurve.quantities import US
from pullcurve.report.finding_words import action_words, evidence_words
from pullcurve.rig.loading import load_rig, parse_rig
from pullcurve.rig.models import Rig

RIGS = Path(__file__).parents[3] / "hardware/rigs"
# Bores of no pipe table, a traversed coefficient, and the engine's shaft alone.
HERE = good_rig.changed(
    ('pipe_bore = "5.693 in"', 'pipe_bore = "144.6 mm"'),
    ('throat_bore = "3.870 in"', 'throat_bore = "98.3 mm"\nbore_uncertainty = "1.1 mm"'),
    ("= 0.984", "= 0.97"),
    ('"1.5 %"', '"3 %"'),
    ("inlet_loss = 0.05\n", ""),
    ('humidity = "55 %"\n', ""),
    ("[pickups.blower_shaft]\nmarks_per_turn = 2\n", ""),
)


def changed(*changes: tuple[str, str]) -> Rig:
    return parse_rig(good_rig.changed(*changes, text=HERE), "unit.toml")


@pytest.fixture(scope="module")
def good() -> Costs:
    return costs(changed())


def doubted(rig: Rig, known: Costs) -> str:
    found = doubts(rig, known.flows)
    return "\n".join(f"{evidence_words(each, US)} {action_words(each)}" for each in found)


def lost(before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """What left the budget, as a relative U with k = 2."""
    return np.sqrt(before**2 - after**2) * 2 / 1.96


def row(found: Costs, fact: str, how: str = "") -> np.ndarray:
    (one,) = (each for each in found.sharpenings if each.fact == fact and how in each.how)
    return one.u95


def test_bores_cost_what_the_standard_says(good: Costs) -> None:
    # ISO 5167-1:2003, 8.2.2: (2 / (1 - beta^4) dd/d)^2 + (2 beta^4 / (1 - beta^4) dD/D)^2
    beta4 = (98.3 / 144.6) ** 4
    throat, pipe = 2 / (1 - beta4) / 98.3, 2 * beta4 / (1 - beta4) / 144.6
    wanted = np.hypot(throat, pipe) * np.sqrt(1.1**2 - 0.05**2)
    assert lost(good.u95, row(good, "bores")) == pytest.approx([wanted] * 3, rel=0.05)


def test_a_coefficient_costs_its_own_uncertainty(good: Costs) -> None:
    # ISO 5167-1:2003, 8.2.2: one for one
    for how, left in (("laboratory", 0.01), ("traverse", 0.0225)):
        wanted = np.sqrt(0.03**2 - left**2)
        found = lost(good.u95, row(good, "discharge coefficient", how))
        assert found == pytest.approx([wanted] * 3, rel=0.015)


def test_a_missing_zero_costs_half_of_its_share_of_the_differential_pressure(good: Costs) -> None:
    # ISO 5167-1:2003, 8.2.2: half of ddp/dp. HSC: the error band of 1 % of span and 0.25 % of
    # drift (sensor_parts.toml); rectangular, GUM 4.3.7.
    assert good.differential_pressure_pa == pytest.approx([750, 1500, 2500])
    wanted = 0.5 * 0.0125 * 5000 / np.sqrt(3) * 2 / good.differential_pressure_pa
    assert lost(good.no_zero_u95, good.u95) == pytest.approx(wanted, rel=0.065)
    # Without the second zero: 0.05 % of span (`zeros`, judgement), of which two leave half.
    wanted = 0.5 * np.sqrt(0.75) * 0.0005 * 5000 / np.sqrt(3) * 2 / good.differential_pressure_pa
    assert lost(good.one_zero_u95, good.u95) == pytest.approx(wanted, rel=0.065)


def test_rows_stand_by_gain_and_add_up_to_no_more_than_all(good: Costs) -> None:
    gains = [each.gain for each in good.sharpenings]
    assert gains == sorted(gains, reverse=True)
    assert gains[-1] >= 0.0005
    assert {each.fact for each in good.sharpenings}.isdisjoint(good.slight)
    for each in good.sharpenings:
        if each.fact != "differential-pressure range":
            assert np.all(good.together_u95 <= each.u95)


def test_what_is_known_best_is_not_sold_again() -> None:
    found = costs(
        changed(
            ('uncertainty = "1.1 mm"', 'uncertainty = "0.05 mm"\nstraightener = true'),
            ('uncertainty = "3 %"', 'uncertainty = "1 %"'),
            ("[sensors.meter_dp]", '[sensors.ambient_air]\npart = "BME280"\n[sensors.meter_dp]'),
        )
    )
    facts = {each.fact for each in found.sharpenings} | set(found.slight)
    assert facts == {"pressure at the tap", "differential-pressure range"}


def test_a_typed_pressure_that_cannot_be_costs_the_weather() -> None:
    typed = costs(changed(("94.1 kPa", "101.3 kPa")))
    assert np.all(typed.u95 > costs(changed()).u95)
    (pressure,) = (each for each in typed.sharpenings if each.fact == "station pressure")
    assert pressure.now == "typed, cannot be"


def test_half_the_range_clips_the_upper_points(good: Costs) -> None:
    halved = row(good, "differential-pressure range")
    assert np.isnan(halved).tolist() == [False, True, True]
    assert halved[0] < good.u95[0]


def test_a_sensor_at_the_blower_sharpens_the_flow_there(good: Costs) -> None:
    now, then = good.inlet_u95
    assert np.all(then < now)
    full = costs(load_rig(RIGS / "hose_end.toml"))
    assert np.array_equal(*full.inlet_u95)


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ('"94.1 kPa"', '"30.1 inHg"', r"unit.toml line 13: site.station_pressure: .*sea-level"),
        (
            '["-2.5 kPa", "2.5 kPa"]',
            '["-2.5 kPa", "0 kPa"]',
            r"line 21: sensors.meter_dp.range: it ends at or below zero",
        ),
        (
            "belt_ratio = 1.25",
            'belt_ratio = 1.25\nrelief_vacuum = "28 inHg"',
            r"line 19: machine.relief_vacuum: 95 kPa below the open air, which has 94 kPa at this",
        ),
    ],
)
def test_what_cannot_be_is_a_fault_with_its_line(old: str, new: str, sentence: str) -> None:
    rig = changed((old, new))
    (fault,) = faults(rig)
    assert re.search(sentence, fault)
    assert np.all(np.isfinite(costs(rig).u95)), "the rest is still explained"


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ("belt_ratio = 1.25", "belt_ratio = 0.8", "upside down: write 1.25"),
        ('"144.6 mm"', '"5.047 in"', "pipe_bore 5.047 in .*Measured?"),
        ('"98.3 mm"', '"10 cm"', "throat_bore 3.937 in .100 mm.*Measured?"),
        ('"3 %"', '"0.2 %"', "0.2 % is better than most"),
        ('"98.3 mm"', '"117.5 mm"', "Diameter ratio 0.81"),
        ('station_pressure = "94.1 kPa"\n', "", "Nothing here tells the station pressure"),
        ('temperature = "12 C"\n', "", "Nothing here tells the air's temperature"),
        ('"port"', '"clean_pipe"', "needs a sensor at its upstream tap"),
        *(
            ("belt_ratio = 1.25\n", f"belt_ratio = 1.25\n{machine}", sentence)
            for machine, sentence in (
                (
                    'relief_vacuum = "20 inHg"\n',
                    "relief_vacuum 20 inHg .* deeper than a dry",
                ),
                (
                    'brochure_flow = "1700 cfm"\nrated_speed = "2750 rpm"\n'
                    '[machine.blower]\ndisplacement = "0.565 ft3"\n',
                    "brochure_flow 1700 cfm .* more than the blower displaces .* 1554 cfm",
                ),
                (
                    'rated_speed = "3100 rpm"\n' + good_rig.SHEET,
                    "rated_speed 3100 rpm is beyond the data sheet, which ends at 2750 rpm",
                ),
                (
                    'port_bore = "5 in"\n[[machine.hose]]\nlength = "70 ft"\nbore = "6 in"\n',
                    "last piece, 6 in .* meets a port of 5 in",
                ),
            )
        ),
    ],
)
def test_what_is_often_a_slip_is_asked_about(
    good: Costs, old: str, new: str, sentence: str
) -> None:
    assert not re.search(sentence, doubted(changed(), good))
    rig = changed((old, new))
    assert re.search(sentence, doubted(rig, costs(rig)))
    assert not faults(rig)


def test_a_range_that_no_flow_reaches_is_refused() -> None:
    rig = changed(
        ('"-2.5 kPa", "2.5 kPa"', '"-30 kPa", "30 kPa"'),
        ('position = "port"', 'position = "port"\ninlet_loss = 5.0'),
        ('"98.3 mm"', '"121 mm"'),
    )
    with pytest.raises(RigError, match="no flow through this meter"):
        costs(rig)


def test_a_flow_that_may_swirl_costs_what_is_allowed_for_it() -> None:
    """Half a per cent where nobody says how straight it comes (ISO 5167, for short pipe), 2 %
    where the rig says that there is no straightener and no long pipe (judgement)."""

    def with_key(*keys: str) -> np.ndarray:
        return costs(changed(("position =", "\n".join((*keys, "position ="))))).u95

    there = with_key("straightener = true")
    assert lost(with_key(), there) == pytest.approx(0.005, rel=0.02)
    assert lost(with_key("straightener = false"), there) == pytest.approx(0.02, rel=0.02)
    assert with_key("straightener = false", 'straight_length = "5 m"') == pytest.approx(there)
