"""Filter, leak and spoil told apart by clean running in between: the nozzle out of the spoil."""

from typing import Any

from cut_bench import WORK_S, heard, scenario, watched

from pullcurve.cut.alarm import CutAlarm

SECONDS = 460.0
LIFTS = ((150.0, 170.0), (250.0, 270.0), (335.0, 355.0), (425.0, 445.0))


def between(load: dict[str, Any], away: tuple[tuple[float, float], ...]) -> list[dict[str, Any]]:
    bounds = [load["from_s"], *(at for pair in away for at in pair), load["to_s"]]
    return [load | {"from_s": a, "to_s": b} for a, b in zip(bounds[::2], bounds[1::2], strict=True)]


def told(
    *, lifts: bool, loading: float = 0.0, lighter: float = 0.0, leak_m2: float = 0.0
) -> list[CutAlarm]:
    """lighter: of the hose's loss coefficient, that goes from the middle on."""
    spoil = {"from_s": WORK_S, "to_s": SECONDS, "extra_loss": 5.0, "rise_s": 2.0}
    spoil |= {"unevenness": 0.25, "uneven_time_s": 1.2}
    clogs = between(spoil, LIFTS if lifts else ())
    for end_s in (SECONDS - 20 * step for step in range(11)) if lighter else ():
        part = spoil | {"to_s": end_s, "extra_loss": lighter / 11}
        clogs += between(part, tuple(pair for pair in LIFTS if lifts and pair[1] < end_s))
    leaks = ()
    if leak_m2:
        leaks = ({"place": "a", "from_s": 200.0, "to_s": SECONDS, "area_m2": leak_m2},)
    filter_ = {"linear_pa_s_m3": 5200.0, "loading_pa_s_m3_per_s": loading}
    chosen = scenario(
        SECONDS, machine={"filter": filter_}, unevenness=0.0, clogs=clogs, leaks=leaks
    )
    return watched(heard(chosen))[1]


def test_a_filter_is_told_without_a_sensor_in_the_tank() -> None:
    (event,) = told(lifts=True, loading=5200 / 500)
    assert (event.kind, event.measured_by) == ("filter_loading", "path")
    assert event.spoken_s < 300
    assert event.size_u95 < event.size


def test_lighter_spoil_is_no_leak_where_clean_running_says_so() -> None:
    assert "leak" in {event.kind for event in told(lifts=False, lighter=4.0)}
    assert told(lifts=True, lighter=4.0) == []
    (event,) = told(lifts=True, leak_m2=9e-4)
    assert event.kind == "leak"
