"""The records of the last while, kept for every link and for whoever asks for them again.

Laid out whole at start, ahead of all else. Pages, since a board may have no free stretch of this
length; a record never crosses from one to the next. When a page is begun anew all records in it
are forgotten.
"""

import gc
import sys
from array import array

from record_format import LIMIT

PAGE = 4096
PAGES = 28  # with a sensor in every role 26 s of the longest records (`ring_reach`)
# For the rest of the firmware. On an RP2040 that is enough with a part for every role;
# a 64-bit build needs all of this, and on other boards the radio may live on the heap as well.
ROOM = (56 if sys.platform == "rp2" else 88) * 1024
SLOTS = 1280  # records


def pages_that_fit():
    if not hasattr(gc, "mem_free"):  # not MicroPython
        return PAGES
    gc.collect()
    return max(min(PAGES, (gc.mem_free() - ROOM) // PAGE), 1)


class RecordRing:
    """`oldest` is the number of the oldest record kept, `next` that of the next to come."""

    def __init__(self, pages=None):
        pages = pages or pages_that_fit()
        self._pages = []
        try:
            for _ in range(pages):
                self._pages.append(memoryview(bytearray(PAGE)))
        except MemoryError:  # better a short memory than no run; half of it is for the rest
            del self._pages[max(len(self._pages) // 2, 1) :]
        self.pages = len(self._pages)
        self._places = array("i", bytes(4 * SLOTS))  # page times PAGE, and where in it
        self._lengths = bytearray(SLOTS)
        self._end = 0
        self.oldest = 0
        self.next = 0

    def put(self, line, length):
        """Keep the first `length` bytes of `line`, copied one by one: a slice allocates."""
        place = self._end
        if place % PAGE == 0 or place % PAGE + length > PAGE:
            number = -(-place // PAGE) % self.pages
            place = number * PAGE
            while self.oldest < self.next and self._page_of(self.oldest) == number:
                self.oldest += 1
        if self.next - self.oldest == SLOTS:
            self.oldest += 1
        at = place % PAGE
        page = self._pages[place // PAGE]
        for i in range(length):
            page[at + i] = line[i]
        self._places[self.next % SLOTS] = place
        self._lengths[self.next % SLOTS] = length
        self._end = place + length
        self.next += 1

    def _page_of(self, seq):
        return self._places[seq % SLOTS] // PAGE

    def copy(self, seq, into):
        """Copy a record that is kept: its length."""
        place = self._places[seq % SLOTS]
        length = self._lengths[seq % SLOTS]
        at = place % PAGE
        into[:length] = self._pages[place // PAGE][at : at + length]
        return length


class Turns:
    """Which record is next on one link: the new ones in turn, and those that the host asks for
    again while no new one waits. `dropped` counts what the ring forgot before its turn."""

    def __init__(self, ring):
        self._ring = ring
        self.line = memoryview(bytearray(LIMIT))  # the record that is on its way
        self._next = ring.next
        self._again = self._beyond = 0
        self.dropped = 0

    def take(self):
        """Copy the next record into `line`: its length, 0 when none waits."""
        ring = self._ring
        if self._next < ring.oldest:
            self.dropped += ring.oldest - self._next
            self._next = ring.oldest
        if self._next < ring.next:
            self._next += 1
            return ring.copy(self._next - 1, self.line)
        self._again = max(self._again, ring.oldest)
        if self._again < self._beyond:
            self._again += 1
            return ring.copy(self._again - 1, self.line)
        return 0

    def waiting(self):
        ring = self._ring
        return self._next < ring.next or max(self._again, ring.oldest) < self._beyond

    def repeat(self, first, beyond):
        """Send these once more, as far as they have been sent."""
        self._again = first
        self._beyond = min(beyond, self._next)

    def skip(self):
        """Go on with what is still to come."""
        self._next = self._ring.next
        self._again = self._beyond = 0
