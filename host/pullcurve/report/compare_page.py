"""A comparison as one HTML file, as text for a terminal, as CSV and as JSON."""

import csv
from io import StringIO
from pathlib import Path

from pullcurve.diagnosis.comparison import QUANTITIES, columns_of
from pullcurve.errors import ReportError
from pullcurve.quantities import US, UnitSystem
from pullcurve.report import compare_words as words
from pullcurve.report.compare_figure import compare_figure
from pullcurve.report.compare_result import Comparison, Pair
from pullcurve.report.drawing import NARROW_IN
from pullcurve.report.files import refuse_foreign, replace_whole
from pullcurve.report.page import environment, picture_source
from pullcurve.report.pdf import pdf
from pullcurve.report.sentences import SAFETY
from pullcurve.report.summary import listed, paragraph, printable, text_table

_COLUMNS = ("first_log", "later_log", "speed_rpm", "held_by")
_BEGINNINGS = {
    ".compare.html": b"<!doctype html>",
    ".compare.pdf": b"%PDF-",
    ".compare.csv": b"first_log,",
    ".compare.json": b"{",
}


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
            runs=words.runs_table(said, units),
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
        "speeds": words.speeds_table(said, pair, units),
        "causes": words.causes_table(pair),
        "hose": words.hose_sentences(pair.hose, units) if pair.hose else [],
    }


def compare_text(said: Comparison, units: UnitSystem) -> str:
    """The comparison in words, ending in a newline."""
    parts = [paragraph(words.title(said))]
    parts += [paragraph(each) for each in words.headlines(said, units)]
    if remarks := words.remarks(said):
        parts.append("Read first\n" + listed(remarks))
    runs = words.runs_table(said, units)
    for pair in said.pairs:
        heading = "" if len(said.pairs) == 1 else f", run {pair.later} against run 1"
        parts.append(f"What it means{heading}\n" + listed(words.sentences(said, pair, units)))
        for table in (words.speeds_table(said, pair, units), words.causes_table(pair)):
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

    target: a folder that exists, where NAME joins the names of the logs, or the path up to and
        with NAME; with_pdf and older files as in `files.write_report`.
    Returns the paths. Raises ReportError.
    """
    if target.is_dir():
        target = target / "_and_".join(Path(run.log_name).stem for run in said.runs)
    if not target.parent.is_dir():
        raise ReportError(f"{target.parent}: there is no such folder; make it first")
    html = compare_page(said, units)
    contents = {
        ".compare.html": html.encode("utf-8"),
        ".compare.csv": compare_csv(said).encode("utf-8"),
        ".compare.json": (said.model_dump_json(indent=1) + "\n").encode("utf-8"),
    }
    if with_pdf:
        contents[".compare.pdf"] = pdf(html, "letter" if units is US else "A4")
    paths = {suffix: target.with_name(target.name + suffix) for suffix in contents}
    for suffix, path in paths.items():
        refuse_foreign(path, _BEGINNINGS[suffix])
    for suffix, content in contents.items():
        replace_whole(paths[suffix], content)
    return list(paths.values())
