"""The dialogue that writes a rig file: good and bad answers, ends and ways back."""

import re
from collections.abc import Iterable
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from pullcurve.errors import RigError
from pullcurve.physics.air import standard_pressure
from pullcurve.rig.asking import MOST_TRIES, ask_rig
from pullcurve.rig.loading import check_station_pressure, parse_rig
from pullcurve.rig.machine import HoseSegment
from pullcurve.rig.meter import Meter
from pullcurve.rig.models import Rig, Role
from pullcurve.rig.questions import CAUTION, QUESTIONS

# The machine of hardware/rigs/hose_end.toml, with every question answered.
ALL = {
    "name": "grit unit 3, hose end, 145 mm tube",
    "meter.kind": "venturi",
    "meter.position": "hose_end",
    "meter.pipe_bore": "5.693 in",
    "meter.throat_bore": "98.30 mm",
    "meter.bore_uncertainty": "0.1 mm",
    "meter.straight_length": "4 ft",
    "calibrated": "yes",
    "meter.discharge_coefficient": "0.975",
    "meter.discharge_coefficient_uncertainty": "2 %",
    "meter.discharge_coefficient_source": 'traverse, 3 May, "log-Tchebycheff"',
    "meter.inlet_loss": "0.05",
    "meter.inlet_loss_uncertainty": "0.1",
    "shafts": "both",
    "pickups.blower_shaft.marks_per_turn": "2",
    "pickups.engine_shaft.marks_per_turn": "1",
    "machine.belt_ratio": "1.25",
    "machine.governed_speed": "2200 rpm",
    "machine.rated_speed": "2750 rpm",
    "machine.brochure_flow": "1500 cfm",
    "machine.port_bore": "5 in",
    "machine.relief_vacuum": "12 inHg",
    "machine.lobes": "2",
    "machine.spoil": "dry grit",
    "machine.hose": "60 ft of 5 in smooth, 2 bends, 1 elbow; "
    "10 ft of 5 1/8 in corrugated, 1 coupling",
    "machine.blower.displacement": "16.00 L",
    "sheet": "yes",
    "machine.blower.rating.basis": "inlet",
    "machine.blower.rating.flow_unit": "cfm",
    "machine.blower.rating.vacuum_unit": "inHg",
    "machine.blower.rating.rows": "2750 0 1555; 2750 8 1405",
    "machine.filter.clean_loss": "1.5 kPa",
    "machine.filter.at_flow": "1300 cfm",
    "sensors.meter_dp.part": "HSC",
    "sensors.meter_dp.range": "-1 psi to 1 psi",
    "sensors.ambient_air.part": "BME280",
    "sensors.meter_air.part": "BMP280",
    "sensors.blower_air.part": "BMP280",
    "sensors.tank_air.part": "LPS22HB",
    "sensors.discharge_temperature.part": "MCP9600",
    "site.altitude": "620 m",
    "site.station_pressure": "94.1 kPa",
    "site.temperature": "12 C",
    "site.humidity": "55 %",
}
# As little as can be said: Enter alone wherever that is enough.
LEAST = {
    "meter.position": "port",
    "meter.pipe_bore": "5.693 in",
    "meter.throat_bore": "3.870 in",
    "pickups.blower_shaft.marks_per_turn": "2",
    "site.altitude": "2030 ft",
    "site.station_pressure": "27.79 inHg",
    "site.temperature": "54 F",
}


class Person:
    """Answers by the question that was asked; `first` are said before the right answer."""

    def __init__(self, answers: dict[str, str], first: dict[str, list[str]] | None = None) -> None:
        self.answers = answers
        self.first = {key: list(said) for key, said in (first or {}).items()}
        self.heard: list[str] = []
        self.asked: list[str] = []

    def say(self, text: str) -> None:
        self.heard.append(text)
        for question in QUESTIONS:
            if question.words in text:
                self.asked.append(question.key)

    def listen(self) -> str:
        key = self.asked[-1]
        if self.first.get(key):
            return self.first[key].pop(0)
        return self.answers.get(key, "")


def talk(person: Person) -> str:
    return ask_rig(person.listen, person.say, standard_pressure)


def lines(said: Iterable[str]) -> str:
    """The text from typed lines, as from a pipe."""
    typed = iter(said)

    def listen() -> str:
        try:
            return next(typed)
        except StopIteration:
            raise EOFError from None

    return ask_rig(listen, lambda _: None, standard_pressure)


def test_every_key_of_a_rig_is_asked_for_and_no_other():
    def keys(model: type[BaseModel], path: str = "") -> Iterable[str]:
        for name, field in model.model_fields.items():
            choices = get_args(field.annotation) or (field.annotation,)
            tables = [c for c in choices if isinstance(c, type) and issubclass(c, BaseModel)]
            if field.annotation == tuple[HoseSegment, ...]:
                tables = []  # one question for the whole hose
            key = f"{path}{field.alias or name}"
            yield from keys(tables[0], f"{key}.") if tables else [key]

    without_range = {f"sensors.{role}.range" for role in get_args(Role) if role != "meter_dp"}
    seldom = {
        "machine.blower.displacement_uncertainty",
        "machine.blower.rating.back_pressure",
        "machine.blower.rating.reference_pressure",
        "machine.blower.rating.reference_temperature",
    }
    steering = {"calibrated", "shafts", "slower", "sheet"}
    asked = {question.key for question in QUESTIONS} - steering
    assert asked == set(keys(Rig)) - without_range - seldom


@pytest.mark.parametrize("key", ["kind", "taps", "position"])
def test_every_choice_of_the_model_is_offered(key):
    (question,) = (q for q in QUESTIONS if q.key == f"meter.{key}")
    annotation = Meter.model_fields[key].annotation
    literals = get_args(annotation)
    nested = [choice for choice in literals if get_args(choice)]
    assert set(question.choices) == set(get_args(nested[0]) if nested else literals)


def test_all_answers_become_the_rig():
    person = Person(ALL)
    rig = parse_rig(talk(person), "x")
    assert rig.name == ALL["name"]
    assert (rig.meter.kind, rig.meter.position) == ("venturi", "hose_end")
    assert (rig.meter.pipe_bore, rig.meter.throat_bore) == (0.1446022, 0.0983)
    assert (rig.meter.bore_uncertainty, rig.meter.straight_length) == (0.0001, 1.2192)
    assert rig.meter.discharge_coefficient == 0.975
    assert rig.meter.discharge_coefficient_uncertainty == 0.02
    assert rig.meter.discharge_coefficient_source == 'traverse, 3 May, "log-Tchebycheff"'
    assert (rig.meter.inlet_loss, rig.meter.inlet_loss_uncertainty) == (0.05, 0.1)
    assert rig.pickups.blower_shaft.marks_per_turn == 2
    assert rig.pickups.engine_shaft.marks_per_turn == 1

    def fittings(bends: int, elbows: int, couplings: int) -> dict[str, int]:
        return {"bends": bends, "elbows": elbows, "couplings": couplings}

    machine = rig.machine
    assert (machine.belt_ratio, machine.lobes, machine.spoil) == (1.25, 2, "dry grit")
    assert (machine.governed_speed_rpm, machine.rated_speed_rpm) == (2200.0, 2750.0)
    assert (machine.port_bore, machine.brochure_flow) == (0.127, pytest.approx(0.70792, abs=1e-5))
    assert machine.relief_vacuum == pytest.approx(40637, abs=1)
    assert [piece.model_dump() for piece in machine.hose] == [
        {"length": 18.288, "bore": 0.127, "wall": "smooth"} | fittings(2, 1, 0),
        {"length": 3.048, "bore": 0.130175, "wall": "corrugated"} | fittings(0, 0, 1),
    ]
    assert machine.blower.displacement == 0.016
    assert machine.blower.rating.rows == ((2750, 0, 1555), (2750, 8, 1405))
    assert (machine.filter.clean_loss, machine.filter.at_flow) == (
        1500,
        pytest.approx(1300 * 0.3048**3 / 60),
    )
    assert rig.sensors.meter_dp.range == pytest.approx((-6894.757, 6894.757))
    parts = rig.sensors.model_dump(exclude_none=True)
    assert {role: sensor["part"] for role, sensor in parts.items()} == {
        role: ALL[f"sensors.{role}.part"] for role in get_args(Role)
    }
    assert (rig.site.altitude, rig.site.station_pressure) == (620.0, 94100.0)
    assert (rig.site.temperature_k, rig.site.humidity) == (285.15, 0.55)
    assert person.asked == list(dict.fromkeys(person.asked)), "nothing twice"


@pytest.mark.parametrize("kind", ["venturi", "bellmouth"])
def test_the_caution_comes_once_and_before_anything_is_measured_at_the_machine(kind):
    person = Person(ALL | {"meter.kind": kind})
    talk(person)
    (cautioned,) = (i for i, said in enumerate(person.heard) if CAUTION in said)
    measured = ("Inside diameter", "marks pass", "diameter of the engine's pulley")
    assert cautioned < min(
        i for i, said in enumerate(person.heard) if any(words in said for words in measured)
    )
    assert "lock it out" in CAUTION


def test_enter_alone_is_enough_for_most_and_the_file_says_what_was_left_out():
    text = talk(Person(LEAST))
    rig = parse_rig(text, "x")
    assert (rig.meter.discharge_coefficient, rig.meter.bore_uncertainty) == (0.97, 0.0002)
    assert rig.machine.belt_ratio is None
    for key in ("belt_ratio", "humidity", "name", "straight_length"):
        assert re.search(rf"^# {key} = ", text, re.MULTILINE), key


@pytest.mark.parametrize("answers", [LEAST, LEAST | {"meter.kind": "bellmouth"}])
def test_what_is_commented_out_loads_once_the_mark_is_taken_away(answers):
    text = talk(Person(answers))
    whole = re.sub(r"^# (?=\[|\w+ = )", "", text, flags=re.MULTILINE)
    assert whole != text
    rig = parse_rig(whole, "x")
    check_station_pressure(rig, standard_pressure)
    assert rig.machine.belt_ratio is not None
    assert rig.sensors.tank_air is not None


@pytest.mark.parametrize(
    ("kind", "answers", "never_asked"),
    [
        ("orifice", {"meter.taps": "flange"}, []),
        ("nozzle_isa_1932", {}, ["meter.taps"]),
        ("bellmouth", {}, ["meter.pipe_bore", "meter.inlet_loss", "sensors.meter_air.part"]),
    ],
)
def test_each_kind_is_asked_for_what_it_has(kind, answers, never_asked):
    person = Person(LEAST | {"meter.kind": kind} | answers)
    assert parse_rig(talk(person), "x").meter.kind == kind
    assert not set(never_asked) & set(person.asked)
    assert set(answers) <= set(person.asked)


@pytest.mark.parametrize(
    ("key", "bad", "sentence"),
    [
        ("meter.position", "roof", "'roof' is none of port, hose_end, clean_pipe"),
        ("meter.pipe_bore", "5,693 in", "cannot be read as a length"),
        ("meter.pipe_bore", "5.693", "wanted a number and one of the units"),
        ("meter.pipe_bore", "", "cannot be left out"),
        ("meter.pipe_bore", "5693 in", "no plausible bore of a suction pipe"),
        ("meter.throat_bore", "7 in", "must be smaller than the pipe"),
        ("meter.throat_bore", "0.387 in", "0.2 to 0.85"),
        ("meter.bore_uncertainty", "20 mm", "no plausible uncertainty of a bore"),
        ("meter.discharge_coefficient", "97 %", "no plain number"),
        ("meter.discharge_coefficient", "9.7", "no plausible discharge coefficient"),
        ("meter.discharge_coefficient_uncertainty", "0.02", "cannot be read as a ratio"),
        ("meter.discharge_coefficient_source", "a\x1b[31mb", "cannot be printed"),
        ("meter.inlet_loss", "50", "no plausible loss coefficient"),
        ("pickups.blower_shaft.marks_per_turn", "0", "no plausible number of marks"),
        ("pickups.blower_shaft.marks_per_turn", "2.5", "no whole number"),
        ("machine.belt_ratio", "12", "no plausible belt ratio"),
        ("machine.belt_ratio", "nan", "no plain number"),
        ("machine.governed_speed", "2200", "cannot be read as a speed"),
        ("machine.rated_speed", "1760 rpm", "the ratio is upside down; write 0.8"),
        ("machine.brochure_flow", "1500 scfm", "standard or actual is no part of a unit"),
        ("machine.lobes", "4", "none of 2, 3"),
        ("machine.hose", "70 ft of 5 in", "wanted length, bore and wall"),
        ("machine.hose", "70 ft of 5 in smooth; 4 ft of 6 mm smooth", "no plausible bore"),
        ("machine.hose", "70 ft of 5 in smooth, 2 kinks", "wanted a count of bends"),
        ("machine.blower.displacement", "0.565 cfr", "'cfr' is no unit known here"),
        ("machine.blower.rating.flow_unit", "icfm", "write ft3/min"),
        ("machine.blower.rating.rows", "2750 1405", "wanted three numbers"),
        ("machine.blower.rating.rows", "2750 0 1555; 2750 8 1580", "flow falls with vacuum"),
        ("machine.blower.rating.rows", "2750 0 2600", "no blower gives more than it displaces"),
        ("machine.filter.clean_loss", "2 MPa", "no unit known here"),
        ("sensors.meter_dp.part", "BMP280", "none of HSC"),
        ("sensors.meter_dp.range", "1 psi", "both ends"),
        ("sensors.meter_dp.range", "1 psi to -1 psi", "low end of the range must come first"),
        ("sensors.meter_air.part", "SHT4x", "none of BME280"),
        ("site.altitude", "620", "cannot be read as a length"),
        ("site.station_pressure", "101.3 kPa", "looks like a sea-level pressure"),
        ("site.station_pressure", "70 kPa", "is the altitude right"),
        ("site.temperature", "180 C", "no plausible air temperature"),
        ("site.humidity", "140 %", "humidity is 0 % to 100 %"),
    ],
)
def test_a_bad_answer_is_refused_with_its_reason_and_asked_again(key, bad, sentence):
    person = Person(ALL, {key: [bad]})
    text = talk(person)
    refused = [said for said in person.heard if said.startswith("Not taken: ")]
    assert len(refused) == 1
    assert sentence in refused[0]
    assert text == talk(Person(ALL))


def test_a_reduced_pressure_at_2000_m_is_refused():
    person = Person(
        ALL | {"site.altitude": "2000 m", "site.station_pressure": "80 kPa"},
        {"site.station_pressure": ["30.1 inHg"]},
    )
    assert parse_rig(talk(person), "x").site.station_pressure == 80000.0
    assert any("101.9 kPa at 2000 m looks like a sea-level" in said for said in person.heard)


def test_a_belt_ratio_upside_down_is_asked_about():
    person = Person(ALL | {"slower": "no"}, {"machine.belt_ratio": ["0.8", "1.25"]})
    assert parse_rig(talk(person), "x").machine.belt_ratio == 1.25
    assert person.asked.count("slower") == 1
    slow = Person(ALL | {"machine.belt_ratio": "0.7", "slower": "yes"})
    assert parse_rig(talk(slow), "x").machine.belt_ratio == 0.7


def test_only_the_engine_watched_needs_the_belt_ratio():
    answers = LEAST | {"shafts": "engine", "pickups.engine_shaft.marks_per_turn": "1"}
    person = Person(answers, {"machine.belt_ratio": ["", "1.25"]})
    assert parse_rig(talk(person), "x").machine.belt_ratio == 1.25
    assert any("cannot be left out" in said for said in person.heard)


def test_a_sensor_that_tells_the_air_takes_the_need_to_type_it_away():
    answers = {key: said for key, said in ALL.items() if key != "site.station_pressure"}
    assert parse_rig(talk(Person(answers)), "x").site.station_pressure is None
    hygrometer = answers | {"sensors.ambient_air.part": "SHT4x"}
    person = Person(hygrometer, {"site.station_pressure": ["", "94 kPa"]})
    assert parse_rig(talk(person), "x").site.station_pressure == 94000.0


def test_back_takes_an_answer_back():
    first = {
        "meter.pipe_bore": ["145 mm"],
        "meter.throat_bore": ["back"],
        "sensors.meter_dp.part": ["back"],
        "name": ["back"],
    }
    person = Person(ALL, first)
    assert talk(person) == talk(Person(ALL))
    assert person.asked.count("meter.pipe_bore") == 2
    assert person.asked.count("machine.filter.at_flow") == 2


def test_what_was_taken_back_may_be_left_out():
    person = Person(LEAST, {"name": ["grit unit 3"], "meter.kind": ["back"]})
    assert parse_rig(talk(person), "x").name == "unnamed rig"


@pytest.mark.parametrize(
    ("said", "at", "missing"),
    [
        ([], "name", "meter, site, pickups"),
        (["", "", "port", "5 in"], "meter.throat_bore", "meter.throat_bore, site, pickups"),
    ],
)
def test_answers_that_end_too_early_say_what_is_missing(said, at, missing):
    with pytest.raises(RigError, match=f"question for {at}, so nothing is written; still missing"):
        lines(said)
    with pytest.raises(RigError, match=f"missing: {missing}$"):
        lines(said)


def test_whoever_does_not_read_is_not_asked_for_ever():
    def empty() -> Iterable[str]:
        while True:
            yield ""

    with pytest.raises(RigError, match=rf"meter.position: {MOST_TRIES} answers in a row"):
        lines(empty())


WORDS = st.one_of(
    st.sampled_from(["", "back", "yes", "no", "1", "2", "3", "0", "-1", "1e99", "½ in", "both"]),
    st.sampled_from([value for said in (ALL, LEAST) for value in said.values()]),
    st.sampled_from([name for question in QUESTIONS for name in question.choices]),
    st.builds("{} {}".format, st.floats(-10, 1e5), st.sampled_from(["in", "mm", "kPa", "%", "C"])),
    st.text(max_size=20),
)


@settings(max_examples=80, deadline=None)
@given(data=st.data())
def test_whatever_is_answered_the_text_loads_or_there_is_none(data):
    """Mostly sensible answers, so that some dialogues reach their end."""
    person = Person(data.draw(st.sampled_from([ALL, LEAST])))

    def listen() -> str:
        if len(person.heard) > 120:
            raise EOFError
        if data.draw(st.integers(0, 3)) == 0:
            return data.draw(WORDS)
        return person.listen()

    text, refusal = None, ""
    try:
        text = ask_rig(listen, person.say, standard_pressure)
    except RigError as fault:
        refusal = str(fault)
    if text is None:
        assert "nothing is written" in refusal or "answers in a row" in refusal
        return
    check_station_pressure(parse_rig(text, "x"), standard_pressure)
