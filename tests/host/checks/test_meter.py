"""Every limit of use, crossed and kept, and what is said of it."""

import numpy as np
import pytest

from host.measure.meters import KINDS, a_meter, stated
from pullcurve.checks.catalogue import Finding, Limit
from pullcurve.checks.meter import limits_crossed
from pullcurve.measure.meter import formula_inputs
from pullcurve.physics.flow_equation import MeterState
from pullcurve.quantities import SI
from pullcurve.report.finding_words import evidence_words
from pullcurve.rig.meter import OPEN_INLETS, Meter

SITE = 94100.0


def a_state(reynolds: object = 3e5, ratio: object = 0.98, pressure: float = SITE) -> MeterState:
    """A state in which only what the limits look at means anything."""
    re, tau = np.broadcast_arrays(
        np.atleast_1d(np.asarray(reynolds, float)), np.atleast_1d(np.asarray(ratio, float))
    )
    ones = np.ones_like(re)
    return MeterState(
        ones, pressure * ones, 293.15 * ones, ones, ones, ones, tau, re, np.isfinite(re)
    )


def limit(finding: Finding) -> Limit:
    found = finding.values["limit"]
    assert isinstance(found, Limit)
    return found


def words(finding: Finding) -> str:
    return evidence_words(finding, SI)


def crossed(meter: Meter, state: MeterState | None = None) -> dict[str, str]:
    found = limits_crossed(meter, a_state() if state is None else state)
    return {limit(finding).quantity: finding.consequence for finding in found}


@pytest.mark.parametrize("kind", KINDS)
def test_a_meter_well_inside_crosses_nothing(kind: str) -> None:
    keys = {} if kind in OPEN_INLETS else {"straight_length": "7 m"}
    if kind == "venturi_welded":
        keys |= {"pipe_bore": "300 mm", "throat_bore": "180 mm"}
    elif kind not in OPEN_INLETS:
        keys |= {"throat_bore": "90 mm"}
    assert crossed(a_meter(kind, **keys)) == {}


@pytest.mark.parametrize(
    ("kind", "keys", "state", "expected"),
    [
        ("venturi_as_cast", {"pipe_bore": "99.9 mm", "throat_bore": "60 mm"}, {}, "pipe bore"),
        ("venturi_as_cast", {"throat_bore": "112.6 mm"}, {}, "diameter ratio"),
        ("venturi_as_cast", {}, {"reynolds": [3e5, 1.9e5]}, "Reynolds number"),
        ("venturi_as_cast", {}, {"ratio": [0.98, 0.749]}, "pressure ratio"),
        ("venturi_as_cast", {"straight_length": "2.09 m"}, {}, "straight length"),
        ("orifice", {"throat_bore": "30 mm", "pipe_bore": "49 mm"}, {}, "pipe bore"),
        ("orifice", {"throat_bore": "113 mm"}, {}, "diameter ratio"),
        ("nozzle_isa_1932", {"throat_bore": "44 mm"}, {}, "diameter ratio"),
        ("venturi_nozzle", {"pipe_bore": "70 mm", "throat_bore": "49 mm"}, {}, "throat bore"),
        ("bellmouth", {}, {"reynolds": 1.1e4}, "Reynolds number"),
        ("conical_inlet", {}, {"ratio": 1 - 2001 / SITE}, "differential pressure"),
        ("venturi", {}, {"reynolds": 1.9e5}, "Reynolds number"),
        ("venturi", {"pipe_bore": "140 mm", "throat_bore": "109 mm"}, {}, "diameter ratio"),
        ("venturi", {"pipe_bore": "49 mm", "throat_bore": "35 mm"}, {}, "pipe bore"),
    ],
)
def test_each_limit_is_named_once_where_it_is_crossed(
    kind: str, keys: dict[str, str], state: dict[str, object], expected: str
) -> None:
    (finding,) = limits_crossed(a_meter(kind, **keys), a_state(**state))
    quantity, value, least, greatest, source = limit(finding)
    assert quantity == expected
    assert not least <= value <= greatest
    assert source
    assert source in words(finding)
    assert words(finding).startswith(expected.capitalize())
    assert not any(odd in words(finding) for odd in ("inf", "nan", "e+", "  "))


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "venturi"])
def test_what_is_widened_is_wider(kind: str) -> None:
    """Whatever says so has an uncertainty of C above that of a meter that keeps its limits."""

    def u_of_c(state: MeterState) -> float:
        (c,) = (
            entry
            for entry in formula_inputs(a_meter(kind), state)
            if entry.name == "discharge coefficient"
        )
        return float(np.max(c.standard_uncertainty))

    inside = a_state(5e5)
    low = a_state(1.0)
    assert "Reynolds number" not in crossed(a_meter(kind), inside)
    assert crossed(a_meter(kind), low)["Reynolds number"] == "widened"
    if kind == "venturi_welded":  # its pipe is too small already
        assert u_of_c(low) == u_of_c(inside) == 0.02
    else:
        assert u_of_c(low) > u_of_c(inside)


@pytest.mark.parametrize("kind", KINDS)
def test_for_a_stated_coefficient_limits_are_for_information(kind: str) -> None:
    meter = stated(kind, 0.62 if kind == "orifice" else 0.975)
    found = crossed(meter, a_state(1.0, 0.7))
    falls = kind.startswith("venturi") and kind != "venturi_nozzle"
    assert found["Reynolds number"] == ("widened" if falls else "none")
    assert found["pressure ratio"] == "none"
    assert {entry.name for entry in formula_inputs(meter, a_state(1.0))} == {
        "expansibility formula"
    }


def test_a_stated_coefficient_of_a_plain_tube_misses_its_straight_pipe() -> None:
    assert crossed(stated("venturi", straight_length="2.0 m")) == {"straight length": "widened"}
    assert crossed(stated("venturi", straight_length="2.1 m")) == {}
    assert crossed(a_meter("venturi", straight_length="0.1 m")) == {}


def test_the_sentence_is_for_a_person() -> None:
    state = a_state([3e5, 123_456.0])
    (finding,) = limits_crossed(a_meter("venturi_as_cast"), state)
    assert words(finding) == (
        "Reynolds number 123 000: wanted 200 000 to 2 000 000 (ISO 5167-4:2003, 5.5.2). The "
        "uncertainty that its source states is not claimed: a wider one is."
    )
    (finding,) = limits_crossed(a_meter("conical_inlet"), a_state(ratio=1 - 2500 / SITE))
    assert words(finding).startswith("Differential pressure 2500 Pa: wanted at most 2000 Pa (")
    (finding,) = limits_crossed(stated("venturi", straight_length="1.5 m"), a_state())
    assert words(finding) == (
        "Straight length 10 bores of the pipe: wanted at least 14 bores of the pipe (ISO "
        "5167-4:2003, table 1). 0.5 % is added to the stated coefficient's "
        "uncertainty."
    )


@pytest.mark.parametrize("reynolds", [199_999.0, 199_949.0, 199_500.0, 2_000_400.0])
def test_a_value_next_to_its_limit_is_told_from_it(reynolds: float) -> None:
    (finding,) = limits_crossed(a_meter("venturi_as_cast"), a_state(reynolds))
    told = words(finding).partition(":")[0]
    assert told not in {"Reynolds number 200 000", "Reynolds number 2 000 000"}


def test_points_without_a_solution_or_flow_are_passed_over() -> None:
    state = a_state([np.nan, 0.0, 3e5], [np.nan, 1.0, 0.98])
    assert crossed(a_meter("venturi_as_cast"), state) == {}
    for entry in formula_inputs(a_meter("venturi_as_cast"), state):
        assert np.isfinite(entry.standard_uncertainty).all()
