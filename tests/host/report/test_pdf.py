"""The PDF of the page: made where WeasyPrint is, and a sentence where it is not."""

import builtins
import logging
import re
import sys
import zlib
from collections.abc import Callable
from typing import Any

import pytest

from host.report.results import HOSTILE, result
from pullcurve.errors import ReportError
from pullcurve.quantities import SI, US
from pullcurve.report.page import page
from pullcurve.report.pdf import pdf


@pytest.fixture
def weasyprint() -> None:
    try:
        import weasyprint  # noqa: F401, PLC0415
    except (ImportError, OSError) as fault:
        pytest.skip(f"the extra pullcurve[pdf] and its system libraries are needed: {fault}")


@pytest.mark.usefixtures("weasyprint")
def test_a_page_becomes_the_same_pdf_twice_on_the_paper_asked_for(
    caplog: pytest.LogCaptureFixture,
) -> None:
    html = page(result(text=HOSTILE), US)
    with caplog.at_level(logging.WARNING):
        letter = pdf(html, US)
    assert [each.getMessage() for each in caplog.records] == []
    assert letter == pdf(html, US)
    assert letter.startswith(b"%PDF-")
    # Points of 1/72 in: letter is 8.5 in by 11 in, A4 210 mm by 297 mm (ISO 216:2007).
    assert media_boxes(letter) == {(612, 792)}
    assert media_boxes(pdf(html, SI)) == {(595, 842)}


def media_boxes(content: bytes) -> set[tuple[int, ...]]:
    """The sizes of the pages, whose objects lie in compressed streams."""
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", content, re.DOTALL)
    inflated = [zlib.decompressobj().decompress(each) for each in streams if each[:1] == b"\x78"]
    found = re.findall(rb"/MediaBox ?\[0 0 ([\d.]+) ([\d.]+)\]", b"".join([content, *inflated]))
    return {tuple(round(float(side)) for side in box) for box in found}


@pytest.mark.usefixtures("weasyprint")
def test_nothing_outside_the_page_is_fetched(
    caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[object] = []
    monkeypatch.setattr(
        "urllib.request.OpenerDirector.open", lambda *args, **_: opened.append(args)
    )
    with caplog.at_level(logging.ERROR):
        pdf('<img src="file:///etc/hostname"><img src="http://127.0.0.1:9/x.png">', SI)
    assert opened == []


@pytest.mark.parametrize(
    ("fault", "sentence"),
    [
        (ImportError("no weasyprint"), r"pip install 'pullcurve\[pdf\]'"),
        (OSError("cannot load library 'libpango-1.0-0'\nmore"), r"libpango-1\.0-0'\).*apt install"),
    ],
)
def test_what_is_missing_is_named_with_its_remedy(
    monkeypatch: pytest.MonkeyPatch, fault: Exception, sentence: str
) -> None:
    real: Callable[..., Any] = builtins.__import__

    def without(name: str, *args: Any, **kwargs: Any) -> Any:
        if name == "weasyprint":
            raise fault
        return real(name, *args, **kwargs)

    monkeypatch.delitem(sys.modules, "weasyprint", raising=False)
    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(ReportError, match=sentence):
        pdf("<p>page</p>", SI)
