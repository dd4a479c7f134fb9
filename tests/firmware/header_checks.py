"""When the board sends its header, whoever greets and how often.

On CPython and on MicroPython, without pytest; see `checking`.
"""

import sys

from checking import run
from memory_checks import SHIPPED, observed

from record_format import GREETING
from record_ring import PAGES


def headers(watched):
    """When each header began and ended. Every one that was begun is whole."""
    lines = watched.lines
    length = lines[0][1]
    lines = lines[: len(lines) // length * length]
    assert [line for line, _, _ in lines] == list(range(length)) * (len(lines) // length)
    times = [at for _, _, at in lines]
    return [(times[i], times[i + length - 1]) for i in range(0, len(times), length)]


def check_whoever_greets_on_and_on_keeps_no_header_from_others():
    sent = headers(observed(SHIPPED, 5, 2, PAGES, 60, lambda _: GREETING))
    assert 7 <= len(sent) <= 9, len(sent)
    for i in range(1, len(sent)):
        assert sent[i][1] - sent[i - 1][1] < 10.3, sent


def check_a_host_that_greets_is_given_a_header_at_once():
    length_s = headers(observed(SHIPPED, 5, 2, PAGES, 5))[0][1]
    for at in (0.5, 9.95, 15.05):
        greets = [at, at + 0.5 * length_s]  # the second one while that header is in the making

        def due(now, greets=greets):
            if greets and now > greets[0]:
                greets.pop(0)
                return GREETING
            return None

        sent = headers(observed(SHIPPED, 5, 2, PAGES, at + 5, due))
        for greeted in (at, at + 0.5 * length_s):
            begun = [begin for begin, _ in sent if begin > greeted]
            assert begun[0] - greeted < length_s + 0.3, (greeted, begun)


if __name__ == "__main__":
    sys.exit(run(globals()))
