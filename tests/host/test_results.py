"""Results as JSON: what is read comes back the same, what cannot be read is refused in words."""

import math
from dataclasses import replace

import pytest
from pydantic import ValidationError

from host.report.results import result
from pullcurve.errors import ResultError
from pullcurve.report.result import RunResult
from pullcurve.results import from_json, to_json


def test_a_result_comes_back_the_same() -> None:
    run = result()
    assert from_json(RunResult, to_json(run)) == run


@pytest.mark.parametrize(
    ("was", "now", "sentence"),
    [
        ('"schema_version": 2', '"schema_version": 1', "schema_version 1, .* from its run log"),
        ('"title": ', '"headings": ', "no RunResult: "),
        ("{", "", "no RunResult: the whole text: Invalid JSON"),
    ],
)
def test_what_is_no_such_result_is_refused_in_words(was: str, now: str, sentence: str) -> None:
    text = to_json(result())
    assert was in text
    with pytest.raises(ResultError, match=sentence):
        from_json(RunResult, text.replace(was, now, 1))


@pytest.mark.parametrize("wrong", [{"duration_s": math.nan}, {"zero_half_width_pa": -1.0}])
def test_a_number_that_is_none_never_gets_into_a_file(wrong: dict[str, float]) -> None:
    with pytest.raises(ValidationError):
        to_json(replace(result(), **wrong))
