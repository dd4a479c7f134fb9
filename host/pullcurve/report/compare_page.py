"""A comparison as one HTML file, as text for a terminal, as CSV and as JSON."""

import csv
from io import StringIO
from pathlib import Path

from pullcurve.compare.result import QUANTITIES, Comparison, Pair, columns_of
from pullcurve.quantities import UnitSystem
from pullcurve.report import compare_tables as tables
from pullcurve.report import compare_words as words
from pullcurve.report.compare_figure import compare_figure
from pullcurve.report.drawing import NARROW_IN
from pullcurve.report.files import write_files
from pullcurve.report.page import environment, picture_source
from pullcurve.report.pdf import pdf
from pullcurve.report.sentences import SAFETY
from pullcurve.report.summary import listed, paragraph, printable, text_table
from pullcurve.results import to_json

_COLUMNS = ("first_log", "later_log", "speed_rpm", "held_by")


def compare_page(said: Comparison, units: UnitSystem) -> str:
    """The whole page. Everything in it that a user wrote is escaped."""
    return (
        environment()
        .get_template("compare.html.j2")
        .render(
            result=said,
            title=words.title(said),
            headlines=words.headlines(said, units),
            remarks=words.remarks(said),
            pairs=[_pair(said, pair, units) for pair in said.pairs],
            runs=tables.runs_table(said, units),
            safety=SAFETY,
        )
    )


def _pair(said: Comparison, pair: Pair, units: UnitSystem) -> dict[str, object]:
    return {
        "said": pair,
        "picture": picture_source(compare_figure(said, pair, units)),
        "narrow": picture_source(compare_figure(said, pair, units, NARROW_IN)),
        "alt": words.alternative(pair, units),
        "caption": words.caption(said, pair),
        "sentences": words.sentences(said, pair, units),
        "speeds": tables.speeds_table(said, pair, units),
        "causes": tables.causes_table(pair),
        "hose": words.hose_sentences(pair.hose, units) if pair.hose else [],
    }


def compare_text(said: Comparison, units: UnitSystem) -> str:
    """The comparison in words, ending in a newline."""
    parts = [paragraph(words.title(said))]
    parts += [paragraph(each) for each in words.headlines(said, units)]
    if remarks := words.remarks(said):
        parts.append("Read first\n" + listed(remarks))
    runs = tables.runs_table(said, units)
    for pair in said.pairs:
        heading = "" if len(said.pairs) == 1 else f", run {pair.later} against run 1"
        parts.append(f"What it means{heading}\n" + listed(words.sentences(said, pair, units)))
        for table in (tables.speeds_table(said, pair, units), tables.causes_table(pair)):
            if table.rows:
                parts.append(f"{text_table(table)}\n\n{paragraph(table.note)}")
        if pair.why_no_causes:
            parts.append(paragraph(pair.why_no_causes))
        if pair.hose:
            parts.append("What the hose costs\n" + listed(words.hose_sentences(pair.hose, units)))
    parts.append(text_table(runs))
    return printable("\n\n".join(parts) + "\n")


def compare_csv(said: Comparison) -> str:
    """A row a pair and common speed, in SI, the unit in each name."""
    text = StringIO()
    named = {name: columns_of(name) for name in QUANTITIES}
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow((*_COLUMNS, *(name for each in named.values() for name in each.values())))
    for pair in said.pairs:
        logs = (said.runs[0].log_name, said.runs[pair.later - 1].log_name)
        for at in pair.speeds:
            values = [
                getattr(getattr(at, f"{name}_{QUANTITIES[name]}"), part)
                for name, parts in named.items()
                for part in parts
            ]
            writer.writerow((*logs, at.speed_rpm, at.held_by, *values))
    return text.getvalue()


def write_comparison(
    said: Comparison, units: UnitSystem, target: Path, *, with_pdf: bool = False
) -> list[Path]:
    """Write NAME.compare.html, NAME.compare.csv and NAME.compare.json.

    target: as in `files.write_files`, NAME being the names of the logs, joined. with_pdf: write
        the page as NAME.compare.pdf too.
    Returns the paths. Raises ReportError.
    """
    html = compare_page(said, units)
    contents: dict[str, str | bytes] = {
        ".compare.html": html,
        ".compare.csv": compare_csv(said),
        ".compare.json": to_json(said),
    }
    if with_pdf:
        contents[".compare.pdf"] = pdf(html, units)
    return write_files(contents, target, "_and_".join(Path(r.log_name).stem for r in said.runs))
