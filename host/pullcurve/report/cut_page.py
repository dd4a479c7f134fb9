"""A watched shift as one HTML file, as text for a terminal, and as JSON."""

from pathlib import Path

from pullcurve.cut.result import CutResult
from pullcurve.quantities import UnitSystem
from pullcurve.report.cut_figure import cut_figure
from pullcurve.report.cut_sentences import (
    alarms_table,
    headline,
    method_sentences,
    minutes_table,
    strip_alt,
    strip_caption,
    summary_sentences,
)
from pullcurve.report.cut_words import said
from pullcurve.report.files import write_files
from pullcurve.report.page import environment, picture_source
from pullcurve.report.sentences import SAFETY
from pullcurve.report.summary import listed, paragraph, printable, text_table
from pullcurve.results import to_json
from pullcurve.rounding import minutes


def cut_page(result: CutResult, units: UnitSystem) -> str:
    """The whole page. Everything in it that a user wrote is escaped."""
    told = [said(event) for event in result.events]
    kinds = {words.name: words for words in told}
    started = result.started
    return (
        environment()
        .get_template("cut.html.j2")
        .render(
            result=result,
            started=started.strftime("%Y-%m-%d %H:%M %Z") if started else "start not known",
            duration=minutes(result.duration_s),
            headline=headline(result),
            summary=summary_sentences(result),
            strip=picture_source(cut_figure(result, units)),
            strip_alt=strip_alt(result, units),
            strip_caption=strip_caption(result),
            alarms=alarms_table(result.events, told),
            told=list(zip(result.events, told, strict=True)),
            kinds=list(kinds.values()),
            minutes=minutes_table(result, units),
            method=method_sentences(),
            safety=SAFETY,
        )
    )


def cut_text(result: CutResult, units: UnitSystem) -> str:
    """The shift in words, ending in a newline."""
    told = [said(event) for event in result.events]
    parts = [paragraph(result.title), paragraph(headline(result))]
    parts.append("The shift\n" + listed(summary_sentences(result)))
    if told:
        table = alarms_table(result.events, told)
        parts.append(f"{text_table(table)}\n\n{paragraph(table.note)}")
        parts.append(
            "Alarms\n"
            + listed(
                [
                    f"{event.number}. {words.name}, {words.since}. {words.what} "
                    f"{words.certainty[:1].upper()}{words.certainty[1:]}. {words.forecast}".strip()
                    for event, words in zip(result.events, told, strict=True)
                ]
            )
        )
        parts += [
            f"{words.name}: what to try\n" + listed([*words.try_this, f"CAUTION: {words.caution}"])
            for words in {words.name: words for words in told}.values()
        ]
    if result.minutes:
        table = minutes_table(result, units)
        parts.append(f"Quiet minutes\n{text_table(table)}\n\n{paragraph(table.note)}")
    return printable("\n\n".join(parts) + "\n")


def write_cut(result: CutResult, units: UnitSystem, target: Path) -> list[Path]:
    """Write NAME.cut.html and NAME.cut.json.

    target: as in `files.write_files`, NAME being that of the run log without its suffix.
    Returns the paths. Raises ReportError.
    """
    contents = {
        ".cut.html": cut_page(result, units),
        ".cut.json": to_json(result),
    }
    return write_files(contents, target, Path(result.provenance.log_name).stem or "cut")
