"""The page: whole, self-contained, escaped, and the same numbers in either unit system."""

import re
from base64 import b64decode
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from host.report.results import HOSTILE, TROUBLES, result, withheld
from pullcurve.quantities import SI, UNIT_SYSTEMS, US, UnitSystem
from pullcurve.report.facts_tables import stretches_table
from pullcurve.report.page import page
from pullcurve.report.result import RunResult
from pullcurve.report.sentences import shown, shown_flow
from pullcurve.report.summary import summary
from pullcurve.report.tables import Table, places_table, points_table
from pullcurve.rounding import Measured

VOID = {"meta", "br", "img", "source"}
SWEEP = (1130, 1470, 1840, 2195, 2450, 2620)


def without_optional(run: RunResult) -> RunResult:
    missing = {
        "flow_port": None,
        "flow_inlet": None,
        "vacuum_blower_pa": None,
        "discharge_temperature_k": None,
    }
    points = tuple(replace(point, **missing) for point in run.points)
    unknown = {
        name: value
        for part in ("station_pressure", "temperature", "humidity")
        for name, value in ((f"{part}_source", "unknown"),)
    } | {"station_pressure_pa": None, "temperature_k": None, "humidity": None}
    return replace(
        run,
        points=points,
        site=replace(run.site, **unknown),
        provenance=replace(run.provenance, started=None, rig_sha256=None),
        troubles=(),
        rejected=(),
        sensors=(),
        quality=replace(run.quality, channels=()),
    )


CASES = {
    "six points": result(),
    "twelve points": result((SWEEP, SWEEP[::-1]), bend=0.15),
    "one point, no zero": result(((2620,),), zeros=0),
    "no point, no strip": replace(
        result(()),
        strip=replace(result(()).strip, time_s=(), speed_rpm=(), differential_pressure_pa=()),
    ),
    "nothing optional": without_optional(result(zeros=1)),
    "one speed": result(((2600, 2608, 2615),)),
    "two withheld": withheld(result(), dict.fromkeys((5, 6), "sensor_clipped")),
    "all withheld": withheld(result(((1130, 2620),)), {1: "tubes_reversed", 2: "sensor_clipped"}),
    "many troubles": replace(result(), troubles=6 * TROUBLES),
}


class Page(HTMLParser):
    """Collects what the tests ask about; fails on tags that do not match."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.tags: list[str] = []
        self.words = ""
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open[-1:] != ["style"]:
            self.words += data


@pytest.mark.parametrize("units", UNIT_SYSTEMS.values(), ids=UNIT_SYSTEMS)
@pytest.mark.parametrize("name", CASES)
def test_a_page_stands_alone_and_names_its_flows(name: str, units: UnitSystem) -> None:
    run = CASES[name]
    text = page(run, units)
    assert text.startswith("<!doctype html>")
    seen = Page(text)
    assert not {"script", "link", "iframe", "object"} & set(seen.tags)
    assert not re.search(r"https?:|url\(|@import|[\"'=]//", text)
    words = seen.words + summary(run, units)
    assert "cfm" not in words.lower()
    assert not re.search(r"\b(nan|None)\b", words)
    sources = [value for _, name, value in seen.attributes if name in {"src", "href"}]
    pictures = [b64decode(source.removeprefix("data:image/svg+xml;base64,")) for source in sources]
    assert len(pictures) == (3 if run.stated else 1)
    for picture in pictures:
        assert picture.startswith(b"<?xml")
        assert picture.rstrip().endswith(b"</svg>")
    texts = [value for tag, name, value in seen.attributes if (tag, name) == ("img", "alt")]
    assert len(texts) == len(pictures)
    assert all(len(text) > 60 for text in texts)
    assert seen.tags.count("figcaption") == len(pictures)


def test_what_users_write_is_shown_and_never_run() -> None:
    text = page(result(text=HOSTILE), US)
    seen = Page(text)
    assert "script" not in seen.tags
    assert "evil.example" not in "".join(value for _, _, value in seen.attributes)
    # Title, its heading, rig, source of the coefficient twice, two troubles, two remarks, three
    # notes.
    assert seen.words.count(HOSTILE) == 12


def test_what_spoils_a_run_is_told_before_the_picture_and_explained_after_it() -> None:
    text = page(result(), US)
    seen = Page(text).words
    assert text.index("Read first") < text.index("<figure>") < text.index("Troubles, and what")
    assert "Intervals widened, because of: zero moved." in seen
    assert "Seen, without harm to the numbers: clock jump." in seen
    assert "Warnings: pulsation." in seen
    told = seen[seen.index("Troubles, and what to do") : seen.index("Remarks")]
    assert "Zero moved (zero). The zero moved by +0.056\N{NO-BREAK SPACE}inH2O between" in told
    assert "Clock jump (computer's clock, 2:11 to 2:15)" in told
    assert told.count("Do this:") == 1
    assert told.count("Consequence:") == 2
    calm = replace(result(), remarks=(), troubles=())
    assert "Read first" not in page(calm, US)


@pytest.mark.parametrize("units", UNIT_SYSTEMS.values(), ids=UNIT_SYSTEMS)
def test_no_flow_of_a_withheld_hold_is_printed_anywhere(units: UnitSystem) -> None:
    whole = result(((1150, 2000, 2620),))
    top = whole.points[-1]
    assert top.flow_port is not None
    assert top.flow_tap is not None
    assert top.flow_inlet is not None
    flows = [
        shown(top.standard_flow, units.volume_flow),
        *(shown_flow(each, units.volume_flow) for each in (top.flow_port, top.flow_tap)),
        shown_flow(top.flow_inlet, units.volume_flow),
    ]
    printed = [
        form
        for number in flows
        for form in (
            f'<td class="value">{number.value}</td><td class="u95">± {number.u95}</td>',
            str(number),
        )
    ]
    said = page(whole, units) + summary(whole, units)
    assert all(form in said for form in printed)
    part = withheld(whole, {3: "sensor_clipped"})
    left = page(part, units) + summary(part, units)
    assert not [form for form in printed if form in left]
    assert "For 1 of 3 holds no flow is stated." in left.replace("\n", " ")
    assert "No flow is stated for hold 3: the sensor stood at the end of its range." in left


def test_a_run_of_which_all_is_withheld_says_so_and_why() -> None:
    run = withheld(result(((1150, 2620),)), dict.fromkeys((1, 2), "tubes_reversed"))
    seen = Page(page(run, US)).words
    assert (
        "2 settled points were found, and no flow is stated for any of them: the sensor's tubes "
        "are the wrong way round." in seen
    )
    assert "How sure this is" not in seen
    assert "The same air" not in seen


def numbers(table: Table) -> list[tuple[str, str, str]]:
    return [
        (column.unit, cell.value, cell.u95)
        for row in table.rows
        for column, cell in zip(table.columns, row, strict=True)
        if isinstance(cell, Measured)
    ]


# Pascals, cubic metres a second and kilograms a second of one unit, from NIST SP 811:2008.
IN_SI = {
    "rpm": 1.0,
    "inH2O": 249.0889,
    "Pa": 1.0,
    "inHg": 3386.389,
    "kPa": 1000.0,
    "ft³/min": 4.719474e-4,
    "m³/h": 1 / 3600,
    "lb/min": 7.559873e-3,
    "kg/s": 1.0,
}


@pytest.mark.parametrize("table", [points_table, places_table, stretches_table])
def test_both_unit_systems_tell_the_same(table: Callable[[RunResult, UnitSystem], Table]) -> None:
    run = CASES["twelve points"]
    ours, theirs = numbers(table(run, US)), numbers(table(run, SI))
    assert len(ours) == len(theirs) > 20
    for one, other in zip(ours, theirs, strict=True):
        (a, a_place, a_u), (b, b_place, b_u) = (in_si(each) for each in (one, other))
        assert a == pytest.approx(b, abs=(a_place + b_place) / 2, rel=1e-6)
        assert a_u == pytest.approx(b_u, abs=(a_place + b_place) / 2, rel=1e-6)


def in_si(number: tuple[str, str, str]) -> tuple[float, float, float]:
    """Value, the worth of its last place, and u95, in SI."""
    unit, value, u95 = number
    place = 10.0 ** -len(value.partition(".")[2])
    return float(value) * IN_SI[unit], place * IN_SI[unit], float(u95) * IN_SI[unit]


def test_the_caption_tells_what_the_points_do() -> None:
    straight, bent = page(CASES["six points"], SI), page(CASES["twelve points"], SI)
    assert "the flow follows the speed" in straight
    assert "The curve flattens with speed" in bent
    assert "moved by 1.5\xa0±\xa01.3\xa0Pa" in straight
    assert "the sensor&#39;s offset is not known" in page(CASES["one point, no zero"], SI)
    assert "No settled stretch in 3:00 min makes a result." in page(CASES["no point, no strip"], SI)
    assert "All 3 holds are at one speed" in page(CASES["one speed"], SI)
