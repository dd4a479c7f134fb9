"""A rig file from a dialogue: one question at a time, each answer checked at once.

The checks are the rig's own: an answer is refused with the sentence that the file would be
refused with. Nothing here reads a terminal or writes a file.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from itertools import groupby
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Final

from pydantic import ValidationError

from pullcurve.errors import RigError
from pullcurve.rig.loading import check_station_pressure, parse_rig
from pullcurve.rig.models import Rig
from pullcurve.rig.question import Answers, GoBack, Question, Value
from pullcurve.rig.questions import QUESTIONS

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

WIDTH: Final = 100
COMMENT_AT: Final = 28
MOST_TRIES: Final = 20  # in a row at one question: whoever answers does not read what is said

WELCOME: Final = (
    "A few questions about meter, machine and site; a file is written at the end. Give each "
    "quantity with its unit, as you measured it. Enter alone takes what is offered, 'back' goes "
    "back by one question, Ctrl-C ends and writes nothing."
)
HEADING: Final = (
    "What was on the machine during a run. Each quantity is text with its unit. Uncertainties: "
    "nineteen times out of twenty the truth lies within plus or minus. Keys that were left out "
    "stand here as comments."
)
GROUPS: Final = {
    "machine": "What is known of the machine. With it a report says where the promised flow went; "
    "`rig check` says what each missing fact costs.",
    "sensors": "What was bought, by its role. The board announces what it finds; what stands here "
    "is compared with that, so that a swapped sensor does not pass unseen.",
}


def ask_rig(
    listen: Callable[[], str],
    say: Callable[[str], None],
    standard_pressure: Callable[[float], float],
) -> str:
    """The text of a rig file that loads, from a person's answers.

    listen: the next line that was typed; raises EOFError after the last. say: shows a
    paragraph. standard_pressure: as for `check_station_pressure`. Raises RigError when the
    answers end too early, or none is accepted.
    """
    answers: dict[str, Value] = {}
    trail: list[int] = []
    at = 0
    say(WELCOME)
    while at < len(QUESTIONS):
        for later in QUESTIONS[at:]:
            answers.pop(later.key, None)
        question = QUESTIONS[at]
        if not question.asked(answers):
            at += 1
            continue
        try:
            value = _answer(question, answers, listen, say, standard_pressure)
        except GoBack as reason:
            say(str(reason))
            at = trail.pop() if trail else 0
            continue
        except EOFError:
            raise RigError(_ended(question, answers)) from None
        if value is not None:
            answers[question.key] = value
        trail.append(at)
        at += 1
    text = written(answers)
    parse_rig(text, "the answers")
    return text


def _answer(
    question: Question,
    answers: Answers,
    listen: Callable[[], str],
    say: Callable[[str], None],
    standard_pressure: Callable[[float], float],
) -> Value | None:
    """The answer to one question, asked until it is right; None leaves the key out."""
    needed = question.needed(answers)
    say(_asked(question, needed))
    for _ in range(MOST_TRIES):
        typed = " ".join(listen().split())
        if typed.lower() == "back":
            raise GoBack("One question back.")
        typed = typed or question.default
        if not typed and not needed:
            return None
        try:
            value = _read(question, typed)
            _check(question.key, value, answers, standard_pressure)
        except ValueError as fault:
            say(f"Not taken: {fault}.")
            continue
        return value
    raise RigError(f"{question.key}: {MOST_TRIES} answers in a row could not be taken")


def _asked(question: Question, needed: bool) -> str:
    lines = [question.caution] if question.caution else []
    lines.append(question.words)
    explained = {choice: words for choice, words in question.choices.items() if words}
    if explained:
        for number, choice in enumerate(question.choices, 1):
            lines.append(f"  {number}  {choice}: {explained.get(choice, '')}".rstrip(": "))
    elif question.choices:
        lines.append(f"  One of: {', '.join(question.choices)}")
    if question.examples and not question.choices:
        lines.append(f"  For example: {' or '.join(question.examples)}")
    if question.default:
        lines.append(f"  Enter alone: {question.default}")
    elif not needed:
        lines.append(f"  Enter alone leaves it out: {question.without}")
    return "\n".join(lines)


def _read(question: Question, typed: str) -> Value:
    if not typed:
        raise ValueError("this one cannot be left out")
    if not typed.isprintable():
        raise ValueError("there is a character in it that cannot be printed")
    if not question.choices:
        return question.read(typed)
    choices = list(question.choices)
    by_name = {choice.lower(): choice for choice in choices}
    numbered = any(question.choices.values())
    if numbered and typed in {str(number) for number in range(1, len(choices) + 1)}:
        return question.read(choices[int(typed) - 1])
    if typed.lower() not in by_name:
        raise ValueError(f"{typed!r} is none of {', '.join(choices)}")
    return question.read(by_name[typed.lower()])


def _check(
    key: str, value: Value, answers: Answers, standard_pressure: Callable[[float], float]
) -> None:
    """Raises ValueError when the rig's models refuse the value beside the answers so far."""
    path = tuple(key.split("."))
    if key != "name" and len(path) == 1:
        return
    so_far = {**answers, key: value}
    try:
        Rig.model_validate(_tables(so_far))
    except ValidationError as error:
        for fault in error.errors(include_url=False):
            # What does not fit together fitted until this answer.
            if fault["loc"][: len(path)] == path or fault["type"] == "misfit":
                raise ValueError(_sentence(fault)) from None
    if key == "site.station_pressure":
        try:
            check_station_pressure(parse_rig(written(so_far), "rig"), standard_pressure)
        except RigError as fault:
            raise ValueError(str(fault).partition(f"{key}: ")[2]) from None


def _sentence(fault: ErrorDetails) -> str:
    return str(fault["ctx"]["error"] if "error" in fault.get("ctx", {}) else fault["msg"])


def _tables(answers: Answers) -> dict[str, Any]:
    """The answers as TOML would give them."""
    tables: dict[str, Any] = {}
    for key, value in answers.items():
        *path, last = key.split(".")
        if path or last == "name":
            table = tables
            for name in path:
                table = table.setdefault(name, {})
            table[last] = value
    return tables


def _ended(question: Question, answers: Answers) -> str:
    try:
        Rig.model_validate(_tables(answers))
    except ValidationError as error:
        missing = ", ".join(
            ".".join(map(str, fault["loc"]))
            for fault in error.errors(include_url=False)
            if fault["type"] == "missing"
        )
    else:
        missing = "the rest, which Enter alone would answer"
    return (
        f"the answers ended at the question for {question.key}, so nothing is written; still "
        f"missing: {missing}"
    )


def written(answers: Answers) -> str:
    """The answers as the text of a rig file, with comments; what was left out as a comment."""
    blocks = [_comment(HEADING)]
    shown = [
        question
        for question in QUESTIONS
        if (question.key == "name" or "." in question.key)
        and (question.shown or question.asked(answers))
    ]
    headed = set()
    for table, questions in groupby(shown, lambda question: question.key.rpartition(".")[0]):
        group, heading = table.partition(".")[0], ""
        if group in GROUPS and group not in headed:
            heading = _comment(GROUPS[group]) + "\n"
            headed.add(group)
        blocks.append(heading + _table(table, list(questions), answers))
    return "\n\n".join(blocks) + "\n"


def _table(table: str, questions: list[Question], answers: Answers) -> str:
    there = any(question.key in answers for question in questions)
    lines = [f"{'' if there else '# '}[{table}]"] if table else []
    for question in questions:
        if question.key in answers:
            value, mark = answers[question.key], ""
        else:
            value, mark = question.read(question.examples[0]), "# "
        line = f"{mark}{question.key.rpartition('.')[2]} = {_toml(value)}"
        beside = f"{line:<{COMMENT_AT}}  # {question.comment}"
        if question.comment and len(beside) <= WIDTH:
            lines.append(beside)
        elif question.comment:
            lines += [_comment(question.comment), line]
        else:
            lines.append(line)
    return "\n".join(lines)


def _comment(text: str) -> str:
    return "\n".join(f"# {line}" for line in wrap(text, WIDTH - 2))


def _toml(value: Value) -> str:
    if isinstance(value, str):
        # The escapes of JSON are those of TOML; what TOML forbids beyond is never an answer.
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{key} = {_toml(inner)}' for key, inner in value.items())} }}"
    if isinstance(value, Sequence) and len(value) > 1 and isinstance(value[0], Mapping):
        return "[\n" + "".join(f"  {_toml(inner)},\n" for inner in value) + "]"
    if isinstance(value, Sequence):
        return f"[{', '.join(map(_toml, value))}]"
    return repr(int(value) if isinstance(value, float) and value.is_integer() else value)
