"""What the project computes of its sample logs is what the golden file holds.

Tolerances, and what they stand on:

- RELATIVE of every figure without dice, and of an alarm's size.
- ALARM_S of the times of an alarm, of its forecast, and of a shift's sums: one sample.
- PROBABILITY, absolute. The dice do not touch a probability: it is the evidence at the best
  machine, found by steps until they gain nothing more. Another step of the difference quotients
  (a third, ten times) moves the samples' probabilities by up to 0.0003. A search that goes on for
  longer would move them by up to 0.006, and where no machine fits the log (`high_cut`) 0.011.
- SAMPLED standard deviations of what stands on random samples; the file holds that of each figure
  over 16 sets of dice. Typically, and at most: of a step of the ledger 0.02 and 0.3 % of the
  metered flow, of its interval's ends 0.07 and 0.4 %; of the metered flow itself 0.04 and 0.08 %,
  its ends 0.2 and 0.3 %; of the healthy band 0.1 and 0.3 %; of a cause's size 7 and 11 %, of its
  upper end 25 % and, where hardly a sample has the cause, as much as the size. With three sets of
  other dice the 2214 figures lay 4.8 standard deviations off at most.
"""

from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any, Final

import pytest

from golden_figures import (
    COMPARED,
    CUTS,
    DECIDING,
    SAMPLES,
    Figures,
    compare_figures,
    cut_figures,
    figures_of,
    read_golden,
)
from sample_runs import sample_run

RELATIVE: Final = 1e-6
ALARM_S: Final = 0.5
PROBABILITY: Final = 0.001
SAMPLED: Final = 6.0

GOLDEN: Final = read_golden()
NAMES: Final = tuple(GOLDEN["logs"])
SECTIONS: Final = [(name, section) for name, log in GOLDEN["logs"].items() for section in log]


@cache
def figures(name: str) -> Figures:
    found = figures_of(sample_run(name))
    return found | cut_figures(name) if name in CUTS else found


@cache
def compared() -> Figures:
    return compare_figures([sample_run(name) for name in COMPARED])


def test_every_sample_and_all_that_is_said_of_it_is_pinned() -> None:
    assert sorted(NAMES) == sorted(path.stem for path in SAMPLES.glob("*.runlog"))
    assert {name: sorted(figures(name)) for name in NAMES} == {
        name: sorted(log) for name, log in GOLDEN["logs"].items()
    }
    assert sorted(compared()) == sorted(GOLDEN["compare"])


@pytest.mark.parametrize(("name", "section"), SECTIONS, ids=lambda each: each.replace(" ", "_"))
def test_a_sample_gives_what_it_gave(name: str, section: str) -> None:
    assert list(moved(section, GOLDEN["logs"][name][section], figures(name)[section])) == []


@pytest.mark.parametrize("section", GOLDEN["compare"])
def test_a_comparison_gives_what_it_gave(section: str) -> None:
    assert list(moved(section, GOLDEN["compare"][section], compared()[section])) == []


def test_a_diagnosis_throws_the_same_dice_every_time() -> None:
    again = figures_of(sample_run("worn_sweep"))
    assert again["sampled"] == figures("worn_sweep")["sampled"]


@pytest.mark.parametrize(
    ("section", "was", "same", "other"),
    [
        ("points", {"speed_rpm": [1400.0, None]}, [1400.001, None], [1400.002, None]),
        ("points", {"withheld": [None]}, [None], ["the sensor stood at the end of its range"]),
        ("alarms", {"start_s": 74.5}, 75.0, 75.1),
        ("alarms", {"size": 0.2}, 0.2000001, 0.2000003),
        ("alarms", {"end_s": None}, None, 90.0),
        ("work_began_s", {"work_began_s": [52.5]}, [53.0], [53.5]),
        ("probabilities", {"leak": 0.125}, 0.1259, 0.1261),
    ],
)
def test_what_is_off_by_more_than_its_tolerance_is_told(
    section: str, was: Figures, same: Any, other: Any
) -> None:
    (name,) = was
    assert list(moved(section, was, was)) == []
    assert list(moved(section, was, {name: same})) == []
    assert len(list(moved(section, was, {name: other}))) == 1
    assert list(moved(section, was, {}))


def test_a_sampled_figure_may_be_off_by_its_spread_alone() -> None:
    was = {"size, leak": {"value": [0.17, 0.01]}}
    assert list(moved("sampled", was, {"size, leak": {"value": 0.229}})) == []
    for size in (0.231, None):
        assert len(list(moved("sampled", was, {"size, leak": {"value": size}}))) == 1
    assert list(moved("sampled", was, {})) == ["size, leak: is not there"]


def moved(section: str, golden: Any, now: Any) -> Iterator[str]:
    """A line for everything that is not what it was."""
    if section == "sampled":
        yield from _sampled(golden, now)
    elif section == "verdict":
        if now not in golden:
            yield f"verdict: was one of {golden}, is {now}"
    elif section == "probabilities":
        yield from _differing(golden, now, section, absolute=PROBABILITY, relative=0.0)
    elif section in {"alarms", "work_began_s", "shift"}:
        yield from _differing(golden, now, section, seconds=ALARM_S)
    else:
        yield from _differing(golden, now, section)


def _sampled(golden: Figures, now: Figures) -> Iterator[str]:
    for name, parts in golden.items():
        if name not in now:
            if not name.startswith(DECIDING):  # with other dice another one may be
                yield f"{name}: is not there"
            continue
        for part, (mean, sd) in parts.items():
            value = now[name][part]
            allowed = SAMPLED * sd + 1e-5 * abs(mean) + 1e-12  # the file holds six digits
            if value is None or not abs(value - mean) <= allowed:
                yield f"{name}, {part}: was {mean} within {allowed:.2g}, is {value}"


def _differing(
    golden: Any,
    now: Any,
    where: str,
    *,
    absolute: float = 1e-12,
    relative: float = RELATIVE,
    seconds: float | None = None,
) -> Iterator[str]:
    """seconds: what a figure whose name ends in _s may be off."""
    bounds: dict[str, Any] = {"absolute": absolute, "relative": relative, "seconds": seconds}
    if isinstance(golden, Mapping) and isinstance(now, Mapping) and golden.keys() == now.keys():
        for name in golden:
            yield from _differing(golden[name], now[name], f"{where}, {name}", **bounds)
    elif isinstance(golden, list) and isinstance(now, list) and len(golden) == len(now):
        for number, (was, is_now) in enumerate(zip(golden, now, strict=True), 1):
            yield from _differing(was, is_now, f"{where} {number}", **bounds)
    elif isinstance(golden, float) and isinstance(now, float):
        in_seconds = seconds is not None and where.rstrip(" 0123456789").endswith("_s")
        allowed = (seconds or 0.0) + 1e-9 if in_seconds else absolute + relative * abs(golden)
        if not abs(now - golden) <= allowed:
            yield f"{where}: was {golden!r}, is {now!r}"
    elif golden != now:
        yield f"{where}: was {golden!r}, is {now!r}"
