"""Names of sources, right and wrong."""

import time
from itertools import islice
from pathlib import Path

import pytest

from pullcurve.errors import PullcurveError
from pullcurve.sources.opening import open_source
from pullcurve.sources.serial_port import SerialLink

SAMPLE = Path(__file__).parents[3] / "sample_logs" / "rough_link.runlog"


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("COM5", "serial:COM5"),
        ("serial:COM5", "serial:COM5"),
        ("/dev/ttyACM0", "serial:/dev/ttyACM0"),
        ("ble:", "ble:"),
        ("ble:1a2b", "ble:1a2b"),
        (f"replay:{SAMPLE}", f"replay:{SAMPLE}"),
        (f"replay:{SAMPLE}@20", f"replay:{SAMPLE}"),
    ],
)
def test_each_form_names_its_source(text: str, name: str) -> None:
    source = open_source(text)
    assert source.name == name
    assert isinstance(source, SerialLink) == name.startswith("serial")


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "names no source; sources are PORT"),
        ("usb:COM5", "'usb:COM5' names no source; sources are PORT"),
        ("foo", "'foo' names no source; sources are PORT"),
        ("serial:ttyACM0", "'ttyACM0' names no source; sources are PORT"),
        ("replay", "'replay' names no source; sources are PORT"),
        (str(SAMPLE.parent), "names no source; sources are PORT"),
        ("bench:", "the name is missing"),
        ("bench:nothing", "those are clean_pipe_sweep, cut, "),
        ("replay:absent.runlog", "there is no such file"),
        (f"replay:{SAMPLE}@0", "'0' is no speed; .* above 0, as in .*@10"),
        (f"replay:{SAMPLE}@-1", "'-1' is no speed"),
        (f"replay:{SAMPLE}@1e9", "'1e9' is no speed"),
        ("bench:healthy_sweep@", "'' is no speed"),
        ("replay:me@home.runlog", "me@home.runlog: there is no such file"),
        (str(SAMPLE), "to play a run log: replay:"),
    ],
)
def test_a_wrong_name_is_a_sentence(text: str, sentence: str) -> None:
    with pytest.raises(PullcurveError, match=sentence):
        open_source(text)


def test_bench_and_replay_keep_the_pace_of_a_run() -> None:
    for text in ("bench:healthy_sweep@4", f"replay:{SAMPLE}@4"):
        with open_source(text) as source:
            chunks = []
            began_s = time.monotonic()
            for received in islice(source, 5000):
                chunks.append(received)
                if time.monotonic() - began_s > 1:
                    break
        took_s = (chunks[-1].host_time - chunks[0].host_time).total_seconds()
        assert 2.5 < took_s < 4.5
        assert b"".join(chunk.data for chunk in chunks).count(b"\ndp ") > 20
