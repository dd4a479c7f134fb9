"""The cut watch against the bench's machine: what it says, when, and that it is no prophet."""

import binascii
from collections.abc import Iterator
from datetime import timedelta
from typing import get_args

import pytest
from cut_bench import SAMPLE, WORK_S, clean_pipe_rig, heard, scenario, watched

from fed import Fed
from pullcurve.cut.alarm import CutAlarm, Kind
from pullcurve.cut.needs import Needs
from pullcurve.cut.shift import read_cut, shift_of
from pullcurve.cut.watch import Watch
from pullcurve.errors import RigError
from pullcurve.examine import rig_of
from pullcurve.rig.models import Rig
from pullcurve.run_log.reading import read_log
from pullcurve.stream.received import Received

LUMPS = ((84.0, 92.0), (145.0, 148.5), (168.0, 182.0))  # of the sample's scenario


def test_the_samples_lumps_and_its_filter_are_told_and_nothing_else() -> None:
    cut = read_cut(SAMPLE)
    clogs = [event for event in cut.events if event.kind == "clog"]
    (loading,) = [event for event in cut.events if event.kind != "clog"]
    assert loading.kind == "filter_loading"
    for event, (start_s, end_s) in zip(clogs, LUMPS, strict=True):
        assert start_s < event.spoken_s < start_s + 8
        assert abs(event.start_s - start_s) < 5
        assert event.end_s is not None
        assert end_s - 1 < event.end_s < end_s + 8
        assert event.sure > 0.99
    # At their worst, as means over two seconds, the plant's own flow is down by so much.
    assert [event.size for event in clogs] == pytest.approx([0.237, 0.132, 0.339], abs=0.05)
    (began_s,) = cut.watch.work_began_s
    assert began_s == pytest.approx(52, abs=2)
    assert cut.shift.clogs == 3
    assert cut.shift.running_s == pytest.approx(200, abs=5)
    assert 10 < cut.shift.short_s < 35
    assert 0 < len(cut.run.points) <= 5
    for point in cut.run.points.to_dict("records"):
        assert 20 <= point["end_s"] - point["start_s"] <= 60
        assert all(point["end_s"] < a - 1 or point["start_s"] > b for a, b in LUMPS)


def kinds_of_alarm() -> Iterator[tuple[list[Received], Rig, Needs | None]]:
    """Cuts that bring every kind of alarm between them."""
    log = read_log(SAMPLE)
    yield log.received, rig_of(log, None), None
    sags = ((120.0, 2050.0), (140.0, 1870.0), (190.0, 1870.0), (210.0, 2050.0))
    chosen = scenario(280, throttle=sags, hose_off=((240.0, 255.0),))
    load = chosen.events.clogs[0].model_copy(update={"to_s": 240.0})
    events = chosen.events.model_copy(update={"clogs": (load,)})
    needs = Needs(hose_bore_m=0.127, velocity_m_s=40.5)
    yield heard(chosen.model_copy(update={"events": events})), clean_pipe_rig(), needs
    loading = {"filter": {"linear_pa_s_m3": 3400.0, "loading_pa_s_m3_per_s": 6.0}}
    leak = {"place": "a", "from_s": 200.0, "to_s": 450.0, "area_m2": 1.6e-3}
    yield heard(scenario(450, machine=loading, leaks=(leak,)), tank=True), clean_pipe_rig(), None
    behind = leak | {"place": "c"}
    yield heard(scenario(450, leaks=(behind,))), clean_pipe_rig(), None


def test_an_alarm_uses_nothing_from_the_future() -> None:
    """What came until 1 s after an alarm brings the same alarms up to that one, of every kind,
    as does any cutting of the stream into pieces."""
    kinds = set()
    for received, rig, needs in kinds_of_alarm():
        spoken = live(watched(received, rig, needs)[1])
        began = received[0].host_time
        for count, event in enumerate(spoken, start=1):
            kinds.add((event.kind, event.places == ("C",)))
            heard_until = [
                each
                for each in received
                if (each.host_time - began).total_seconds() <= event.spoken_s + 1.0
            ]
            assert len(heard_until) < len(received)
            assert live(watched(heard_until, rig, needs)[1])[:count] == spoken[:count]
        pieces = [
            each._replace(data=each.data[i : i + 11])
            for each in received
            for i in range(0, len(each.data), 11)
        ]
        assert live(watched(pieces, rig, needs)[1]) == spoken
    assert kinds == {(kind, False) for kind in get_args(Kind)} | {("leak", True)}


def live(events: list[CutAlarm]) -> list[CutAlarm]:
    return [event for event in events if not event.seen_afterwards]


def test_records_that_come_late_or_twice_change_nothing() -> None:
    log = read_log(SAMPLE)
    rig = rig_of(log, None)
    _, spoken = watched(log.received, rig)
    again = []
    for place, each in enumerate(log.received):
        again.append(each)
        if place % 7 == 0:
            again.append(each)
        if place % 101 == 100:
            again.append(log.received[place - 30])
        if place > 1000:  # one behind the other, as after an outage
            again.append(log.received[place - 900])
    _, twice = watched(again, rig)
    assert twice == spoken
    assert len(again) > len(log.received) + 1000


@pytest.mark.parametrize("hours", [-1, 1, 720])
def test_a_step_of_the_hosts_clock_changes_nothing(hours: float) -> None:
    log = read_log(SAMPLE)
    rig = rig_of(log, None)
    stepped = [
        each._replace(host_time=each.host_time + timedelta(hours=hours)) if place > 2500 else each
        for place, each in enumerate(log.received)
    ]
    assert watched(stepped, rig)[1] == watched(log.received, rig)[1]


@pytest.mark.parametrize("position", ["port", "hose_end"])
def test_spoil_never_goes_through_the_tube(position: str) -> None:
    with pytest.raises(RigError, match=r"clean pipe only.*spoil must never go through the tube"):
        Watch(clean_pipe_rig(position=f'position = "{position}"'))


@pytest.mark.parametrize(
    ("role", "sentence"), [(b"meter_air", "meter_air"), (b"ambient_air", "station_pressure")]
)
def test_a_board_without_the_pressures_is_refused(role: bytes, sentence: str) -> None:
    log = read_log(SAMPLE)
    text = b"".join(each.data for each in log.received[:400])
    with pytest.raises(RigError, match=sentence):
        Fed(Watch(clean_pipe_rig())).add(log.received[0]._replace(data=without(role, text)))


def without(role: bytes, text: bytes) -> bytes:
    """The header's sensor under another role, its CRC made anew."""
    lines = []
    for line in text.split(b"\n"):
        body, _, _ = line.rpartition(b" ")
        if b" " + role + b" " in line:
            body = body.replace(role, b"tank_air")
            lines.append(body + b" %08X" % binascii.crc32(body))
        else:
            lines.append(line)
    return b"\n".join(lines)


def test_a_hose_that_comes_off_is_told_and_a_pause_is_not() -> None:
    """The load stops for half a minute, as with the nozzle lifted; then the hose comes off, and
    the load with it."""
    chosen = scenario(240, hose_off=((200.0, 215.0),))
    load = chosen.events.clogs[0]
    parts = (
        load.model_copy(update={"to_s": 120.0}),
        load.model_copy(update={"from_s": 150.0, "to_s": 200.0}),
    )
    events = chosen.events.model_copy(update={"clogs": parts})
    _, spoken = watched(heard(chosen.model_copy(update={"events": events})))
    (event,) = spoken
    assert event.kind == "hose_off"
    assert 200 < event.spoken_s < 204
    assert event.size < -0.1


def test_throttle_moves_are_no_alarm_and_a_clog_at_another_speed_is() -> None:
    moves = ((110.0, 2050.0), (111.5, 1690.0), (160.0, 1690.0), (162.0, 2050.0))
    lump = {"from_s": 140.0, "to_s": 152.0, "extra_loss": 40.0, "rise_s": 0.6}
    _, spoken = watched(heard(scenario(230, throttle=moves, clogs=(lump,))))
    (event,) = spoken
    assert event.kind == "clog"
    assert 140 < event.spoken_s < 144


def test_a_speed_that_sags_is_told_and_when_it_is_back() -> None:
    sags = ((120.0, 2050.0), (160.0, 1905.0), (220.0, 1905.0), (250.0, 2050.0))
    watch, spoken = watched(heard(scenario(300, throttle=sags)))
    (event,) = spoken
    assert event.kind == "speed_sag"
    assert 130 < event.spoken_s < 165
    assert watch.events[0].end_s == pytest.approx(245, abs=15)


def test_air_too_slow_for_the_spoil_is_told_while_nothing_else_explains_it() -> None:
    chosen = scenario(200)
    said = heard(chosen)
    # In a hose of 5 in the air goes at 38 m/s or so.
    for wanted, told in ((30.0, []), (50.0, ["slow_nozzle"])):
        _, spoken = watched(said, needs=Needs(hose_bore_m=0.127, velocity_m_s=wanted))
        assert [event.kind for event in spoken] == told


def test_a_filter_that_loads_is_told_with_a_forecast_that_holds() -> None:
    """The loss doubles in 600 s; the forecast counts from the first two minutes of work."""
    linear = 3400.0
    loading = {"linear_pa_s_m3": linear, "loading_pa_s_m3_per_s": linear / 600}
    watch, spoken = watched(heard(scenario(360, machine={"filter": loading}), tank=True))
    (event,) = spoken
    assert (event.kind, event.measured_by) == ("filter_loading", "filter")
    assert event.spoken_s < 200
    assert 0.1 < event.size < 0.3
    trend = shift_of(watch).filter
    assert trend is not None
    assert trend.growth > trend.growth_u95 > 0
    forecast = trend.forecast
    assert forecast is not None
    assert forecast.limit == "doubled"
    assert forecast.earliest_s is not None
    assert forecast.latest_s is not None
    doubled_s = 600 + 2 * (WORK_S + 63)  # twice the loss in the middle of them
    assert forecast.earliest_s < doubled_s < forecast.latest_s
    assert forecast.latest_s - forecast.earliest_s < 300


@pytest.mark.parametrize(("place", "tank"), [("a", True), ("b", True), ("c", False)])
def test_a_leak_that_grows_is_told_with_its_place(place: str, tank: bool) -> None:
    leak = {"place": place, "from_s": 200.0, "to_s": 450.0, "area_m2": 1.6e-3}
    _, spoken = watched(heard(scenario(450, leaks=(leak,)), tank=tank))
    (event,) = spoken
    assert event.kind == "leak"
    assert 220 < event.spoken_s < 400
    assert event.size < 0.15
    assert event.places == (place.upper(),)


def test_what_is_not_there_is_not_told() -> None:
    """Uneven spoil, a wandering engine and nothing else."""
    wander = {"wander_rpm": 8.0, "slow_wander_rpm": 6.0}
    _, spoken = watched(heard(scenario(400, unevenness=0.3, machine={"engine": wander})))
    assert spoken == []
