"""The result as plain text for a terminal, a pipe or a fax."""

from collections.abc import Iterable
from textwrap import wrap
from unicodedata import category

from pullcurve.diagnosis.result import NoDiagnosis
from pullcurve.quantities import UnitSystem
from pullcurve.report.finding_words import (
    CONSEQUENCES,
    kind_words,
    speed_doubt,
    told_evidence,
    when,
)
from pullcurve.report.ledger_words import BillLine, bill, ledger_caption, ledger_title
from pullcurve.report.quality_words import quality_sentences
from pullcurve.report.result import Remark, RunResult, Trouble
from pullcurve.report.sentences import (
    fastest,
    flow_at_places,
    headline,
    hold_remarks,
    point_name,
    withheld_sentences,
    zero_sentence,
)
from pullcurve.report.tables import Table, points_table
from pullcurve.report.uncertainty_words import uncertainty_sentences
from pullcurve.report.verdict_words import first_step, reading_sentences, verdict_sentences
from pullcurve.rounding import Measured

WIDTH = 96
_ITEM = 62  # of it for a line of the ledger


def summary(result: RunResult, units: UnitSystem) -> str:
    """The run in words and one table, ending in a newline."""
    said = headline(
        result.points,
        result.meter.position,
        result.reference_conditions,
        units,
        speed_doubt(result.troubles, result.speed.shaft),
    )
    parts = [paragraph(result.title), *_diagnosis(result, units), paragraph(said)]
    if result.troubles:
        parts.append(
            "Read first\n" + listed([_told_trouble(each, units) for each in result.troubles])
        )
    if result.points:
        table = points_table(result, units)
        parts.append(f"{text_table(table)}\n\n{paragraph(table.note)}")
        doubts = withheld_sentences(result.points) + hold_remarks(result.points)
        if doubts:
            parts.append("Single holds\n" + listed(doubts))
    if result.stated:
        top = fastest(result.stated)
        name = point_name(top, result.points)
        parts.append(f"The air of hold {name}, the fastest\n" + listed(flow_at_places(top, units)))
        parts.append("Uncertainty\n" + listed(uncertainty_sentences(result, units)))
    parts.append(
        "Data\n" + listed([zero_sentence(result, units), *quality_sentences(result.quality)])
    )
    if result.remarks:
        parts.append("Remarks\n" + listed([_told(remark) for remark in result.remarks]))
    return printable("\n\n".join(parts) + "\n")


def printable(text: str) -> str:
    """A rig file may come from anywhere: no control code in it reaches the terminal."""
    return "".join("?" if char != "\n" and category(char) == "Cc" else char for char in text)


def _diagnosis(result: RunResult, units: UnitSystem) -> list[str]:
    """Verdict, next step and ledger, or why there are none."""
    said = result.diagnosis
    if isinstance(said, NoDiagnosis):
        return [paragraph(f"No verdict on the machine. {said.why_none}")]
    parts = [paragraph(" ".join(verdict_sentences(said, units)))]
    parts += [paragraph(each) for each in (" ".join(reading_sentences(said, units)),) if each]
    step = first_step(result, said)
    if step is not None:
        cautions = "".join(f" Caution: {caution}" for caution in step.cautions)
        parts.append(paragraph(f"Next: {step.do}{cautions}"))
    if said.ledger is not None:
        title = f"Flow ledger, {ledger_title(result, said.ledger, units)}, 95 % interval behind"
        lines = [_bill_line(line) for line in bill(result, said.ledger, units)]
        parts.append("\n".join([paragraph(title), *lines]))
        parts.append(paragraph(ledger_caption(result, said.ledger, units)))
    return parts


def _bill_line(line: BillLine) -> str:
    words = wrap(line.item, _ITEM, initial_indent=f"{line.sign:1} ", subsequent_indent="    ")
    last = f"{words[-1]:<{_ITEM}}{line.amount.value:>8}   {line.interval}"
    return "\n".join([*words[:-1], last])


def text_table(table: Table) -> str:
    """A table in aligned columns, ± under ±, its headings wrapped above them."""
    columns = list(zip(*table.rows, strict=True))
    blocks = []
    for column, cells in zip(table.columns, columns, strict=True):
        left = max(len(cell.value if isinstance(cell, Measured) else "") for cell in cells)
        texts = [
            f"{cell.value:>{left}} ± {cell.u95}" if isinstance(cell, Measured) else cell
            for cell in cells
        ]
        right = max(map(len, texts))
        if column.kind == "measured":
            texts = [text.ljust(right) for text in texts]
        longest_word = max(map(len, column.name.split()))
        heading = [
            *wrap(column.name, max(right, longest_word)),
            *([column.unit] if column.unit else []),
        ]
        blocks.append((heading, texts, column.kind))
    height = max(len(heading) for heading, _, _ in blocks)
    lines = [""] * (height + 1 + len(table.rows))
    for number, (heading, texts, kind) in enumerate(blocks):
        lines_here = [""] * (height - len(heading)) + heading
        width = max(map(len, [*heading, *texts]))
        lines_here += ["-" * width, *texts]
        gap = "  " if number else ""
        for row, text in enumerate(lines_here):
            lines[row] += gap + (
                text.ljust(width) if kind in {"words", "short"} else text.rjust(width)
            )
    return "\n".join(line.rstrip() for line in lines)


def _told_trouble(trouble: Trouble, units: UnitSystem) -> str:
    action = f" Do this: {trouble.action}" if trouble.action else ""
    return (
        f"{kind_words(trouble).upper()} ({when(trouble)}): "
        f"{told_evidence(trouble, units)}{action} "
        f"Consequence: {CONSEQUENCES[trouble.consequence]}"
    )


def _told(remark: Remark) -> str:
    weight = "WARNING, " if remark.weight == "warning" else ""
    action = f" Do this: {remark.action}" if remark.action else ""
    return f"{weight}{remark.subject}: {remark.text}{action}"


def paragraph(text: str) -> str:
    """Text broken into lines for a terminal."""
    return "\n".join(wrap(text, WIDTH))


def listed(items: Iterable[str]) -> str:
    """One item under another, indented."""
    return "\n".join(
        "\n".join(wrap(item, WIDTH, initial_indent="  ", subsequent_indent="    "))
        for item in items
    )
