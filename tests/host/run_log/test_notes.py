"""What people say of a run: understood or refused at once, kept whatever its length."""

from datetime import datetime, time, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.run_log.host_records import NOTE_PIECE
from pullcurve.run_log.note_times import Elapsed, Hold, check_time, parse_time, seconds_into
from pullcurve.run_log.notes import LOST, Spoken, joined, understand
from pullcurve.run_log.reading import read_log
from pullcurve.run_log.writing import LogWriter
from record_format import encode

NOON = datetime(2025, 9, 16, 12, 0, tzinfo=timezone(timedelta(hours=-4)))
BEGAN = datetime(2025, 9, 16, 23, 55, tzinfo=NOON.tzinfo)
ENDED = BEGAN + timedelta(seconds=400)
LINES = [encode("slow", 3, seq, (1, 1000 * seq, 0, (seq,))) for seq in range(2)]
LONG_WORDS = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=600)


@settings(max_examples=100, deadline=None)
@given(st.lists(LONG_WORDS.filter(str.strip), min_size=1, max_size=3))
def test_a_note_of_any_length_comes_back(
    tmp_path_factory: pytest.TempPathFactory, texts: list[str]
) -> None:
    path = tmp_path_factory.mktemp("log") / "run.runlog"
    notes = [Spoken("words", " ".join(text.split()), "") for text in texts]
    with LogWriter(path, now=NOON) as writer:
        for note in notes:
            writer.note(NOON, note, "sweep 999, hold 999")
    log = read_log(path)
    assert not log.damaged
    assert [note[1:4] for note in joined(log.host_records)] == notes


def test_a_damaged_piece_of_a_note_costs_itself_alone(tmp_path: Path) -> None:
    path = tmp_path / "run.runlog"
    words = "".join(chr(97 + i) * NOTE_PIECE for i in range(3))
    with LogWriter(path, now=NOON) as writer:
        writer.note(NOON, understand(words))
    whole = path.read_bytes()
    for i, left in enumerate((LOST + words[80:], words[:80] + LOST + words[160:])):
        letter = bytes([97 + i])
        path.write_bytes(whole.replace(letter * NOTE_PIECE, letter * (NOTE_PIECE - 1)))
        assert [note.value for note in joined(read_log(path).host_records)] == [left]
    path.write_bytes(whole.replace(b"c" * NOTE_PIECE, b""))
    assert [note.value for note in joined(read_log(path).host_records)] == [words[:160] + LOST]


def test_a_note_added_while_a_run_is_recorded_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "run.runlog"
    with LogWriter(path, now=NOON) as recorder:
        recorder.board_bytes(NOON, LINES[0])
        with LogWriter(path, append=True) as other:
            other.note(NOON, understand("added beside it"))
        recorder.note(NOON + timedelta(seconds=1), understand("typed in it"))
        recorder.board_bytes(NOON, LINES[1])
    log = read_log(path)
    assert not log.damaged
    assert [received.data for received in log.received] == LINES
    assert [note.value for note in joined(log.host_records)] == ["added beside it", "typed in it"]


@pytest.mark.parametrize(
    ("text", "note"),
    [
        ("engine 2190 rpm", ("engine_speed", "2190 rpm", "")),
        ("vacuum 10 inHg at tank", ("vacuum", "10 inHg", "tank")),
        ("Vacuum 33.9 kPa at the clean pipe", ("vacuum", "33.9 kPa", "clean pipe")),
        ("plate on", ("plate", "on", "")),
        ("plate on, bore 2 1/16 in", ("plate", "on, bore 2 1/16 in", "")),
        ("plate off", ("plate", "off", "")),
        ("hose 70 ft of 5 in", ("hose", "70 ft of 5 in", "")),
        ("hose off", ("hose", "off", "")),
        ("hose shaken free", ("words", "hose shaken free", "")),
        ("vacuum 10 1/2 inHg tank", ("vacuum", "10 1/2 inHg", "tank")),
        ("engine  smokes   a bit", ("words", "engine smokes a bit", "")),
        ("platelets", ("words", "platelets", "")),
        ("engine 2190 RPM", ("engine_speed", "2190 RPM", "")),
        ("house wind is 3 m from here", ("words", "house wind is 3 m from here", "")),
    ],
)
def test_typed_notes_are_understood(text: str, note: tuple[str, str, str]) -> None:
    assert understand(text) == note


@pytest.mark.parametrize(
    ("text", "is_told"),
    [
        ("engine fast", True),
        ("plate bore 0 in", True),
        ("10 inHg in the tank", True),
        ("damp grit", False),
        ("plate on, bore 2 in", False),
    ],
)
def test_words_that_may_be_meant_as_a_reading_are_told_to_be_none(text: str, is_told: bool) -> None:
    assert ("kept as words" in understand(text).hint) == is_told


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("vacum 10 inHg at tank", "'vacum' begins no reading; .*'vacuum 10 inHg at tank'"),
        ("Vaccum 10 inHg", "did you mean 'vacuum 10 inHg'"),
        ("engin 2190", "did you mean 'engine 2190'"),
        ("plat off", "did you mean 'plate off'"),
        ("", "no words"),
        (" \t", "no words"),
        ("vacuum 10 inHg", "place of its gauge"),
        ("vacuum 10 at tank", "cannot be read as a pressure"),
        ("vacuum 10,5 inHg at tank", "cannot be read as a pressure"),
        ("vacuum -10 inHg at tank", "without a sign"),
        ("vacuum 10 psi at cyclone", "place of its gauge"),
        ("vacuum 30 inHg at tank", "no vacuum is as deep"),  # 101.6 kPa
        ("engine 2190", "cannot be read as a speed"),
        ("engine 2190 hp", "cannot be read as a speed"),
        ("engine 21900 rpm", "no engine turns"),
        ("engine -5 rpm", "no engine turns"),
        ("plate on, bore 2", "cannot be read as a length"),
        ("plate on, bore 0 in", "no length"),
        ("hose 70 ft", "length and a bore"),
        ("hose 70 ft of 5", "cannot be read as a length"),
    ],
)
def test_what_says_nothing_or_cannot_be_is_refused(text: str, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        understand(text)


@pytest.mark.parametrize(
    ("text", "when"),
    [
        ("sweep 2, hold 3", Hold(2, 3)),
        ("Sweep  2  hold 3", Hold(2, 3)),
        ("sweep 1", Hold(1, None)),
        ("125 s", Elapsed(125.0)),
        ("0.5s", Elapsed(0.5)),
        ("2 min 5 s", Elapsed(125.0)),
        ("1 h 2.5 min", Elapsed(3750.0)),
        ("2 min", Elapsed(120.0)),
        ("14:32", time(14, 32)),
        ("9:05:10", time(9, 5, 10)),
    ],
)
def test_a_time_is_read_as_people_say_it(text: str, when: object) -> None:
    assert parse_time(text) == when


@pytest.mark.parametrize(
    "text",
    [
        *("", " ", "yesterday", "-5 s", "12", "5 d", "1" * 300 + " s"),
        *("sweep 0, hold 1", "sweep 1, hold 0", "sweep 1,", "sweep ² hold 1"),
        *("sweep 1, hold 2" * 20, "14:3", "25:00", "12:60"),
    ],
)
def test_a_time_that_says_nothing_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"understood are|counted from 1|no time of day"):
        parse_time(text)


def test_a_reading_belongs_to_one_hold() -> None:
    with pytest.raises(ValueError, match="belongs to one hold"):
        check_time("sweep 2", understand("engine 2190 rpm"), BEGAN, ENDED)
    check_time("sweep 2", understand("plate on"), BEGAN, ENDED)  # a plate may be on for all of it


@pytest.mark.parametrize("at", ["99999 s", "8 min", "8:40", "23:30", "12:00"])
def test_a_time_outside_the_run_is_refused(at: str) -> None:
    """The run lasts from 23:55 to 0:01:40 of the next day."""
    with pytest.raises(ValueError, match="lies outside the run, which lasts 400 s, from 23:55:00"):
        check_time(at, understand("plate on"), BEGAN, ENDED)


@pytest.mark.parametrize(
    ("at", "into_s"),
    [
        ("0 s", 0),
        ("400 s", 400),
        ("6 min 40 s", 400),
        ("23:55", 0),
        ("0:01", 360),
        ("0:01:40", 400),
    ],
)
def test_a_time_within_the_run_is_so_far_from_its_beginning(at: str, into_s: float) -> None:
    """Midnight is 300 s into it."""
    check_time(at, understand("plate on"), BEGAN, ENDED)
    when = parse_time(at)
    assert not isinstance(when, Hold)
    assert seconds_into(when, BEGAN) == into_s
