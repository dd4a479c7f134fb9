"""One stream for all that look at a run: the same arrivals however the bytes are cut."""

from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.run_log.reading import read_log
from pullcurve.stream.decoder import Decoder, Record, as_of_today
from pullcurve.stream.received import Received
from pullcurve.stream.record_stream import Arrival, RecordStream
from pullcurve.stream.sequence import SequenceCheck
from record_format import DATA

ROOT = Path(__file__).parents[3]
LOGS = sorted((ROOT / "sample_logs").glob("*.runlog"))
LOGS += sorted((ROOT / "tests/reference_data/format_1").glob("*.runlog"))


def arrived(chunks: list[Received]) -> tuple[list[Arrival], RecordStream]:
    stream = RecordStream()
    return [each for chunk in chunks for each in stream.add(chunk).arrivals], stream


@pytest.mark.parametrize("path", LOGS, ids=lambda path: path.stem)
def test_arrivals_are_the_decoders_records_less_their_copies(path: Path) -> None:
    received = read_log(path).received
    decoder, sequence, expected = Decoder(), SequenceCheck(), []
    for chunk in received:
        for event in decoder.feed(chunk.data):
            if isinstance(event, Record) and sequence.accept(event):
                expected += as_of_today(event)
    arrivals, stream = arrived(received)
    assert [each.record for each in arrivals] == expected
    assert stream.sequence.missing() == sequence.missing()
    assert {each.kind for each in arrivals} >= set(DATA) - {"event"}
    headers = [each.header for each in arrivals]
    assert stream.header is not None
    assert headers[-1] == stream.header
    times = [each.time_s for each in arrivals if each.time_s is not None]
    assert times[0] >= 0
    assert all(b >= a for a, b in pairwise(times))


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_however_the_bytes_are_cut_the_same_arrives(seed: int) -> None:
    received = read_log(ROOT / "sample_logs/rough_link.runlog").received[:900]
    whole, _ = arrived(received)
    data = b"".join(chunk.data for chunk in received)
    cuts = np.sort(np.random.default_rng(seed).integers(0, len(data), 300)).tolist()
    began = received[0].host_time
    pieces = [
        Received(began + timedelta(milliseconds=place), data[a:b])
        for place, (a, b) in enumerate(pairwise([0, *cuts, len(data)]))
    ]
    again, _ = arrived(pieces)
    assert [(a.record, a.start, a.in_order, a.header) for a in again] == [
        (a.record, a.start, a.in_order, a.header) for a in whole
    ]
