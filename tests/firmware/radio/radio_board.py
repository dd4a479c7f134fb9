"""Runs the real main.py in real time, with a radio and nothing on its buses. For MicroPython.

Arguments: the folder of the firmware, the board's own folder, the pipes to and from the radio, and
the pages of its ring of records. Stdout is the board's USB. The bench's board_side is on the path.
"""

import os
import sys
import time

import bluetooth
import board_side


class Clock:
    """The computer's clock as a board's, ahead of it by what was skipped. The radio's events come
    while the board sleeps."""

    def __init__(self):
        self.handlers = {}
        self.fell_us = {}
        self.ahead_us = 0

    @property
    def now_us(self):
        return time.ticks_us() + self.ahead_us

    def ticks_us(self):
        return self.now_us & board_side.TICKS_MASK

    ticks_add = board_side.Clock.ticks_add
    ticks_diff = board_side.Clock.ticks_diff

    def sleep_us(self, us):
        skipped_us = min(us, bluetooth.BLE.skip_us)
        bluetooth.BLE.skip_us -= skipped_us
        self.ahead_us += skipped_us
        time.sleep_us(us - skipped_us)
        bluetooth.dispatch()


class World:
    def transact(self, now_us, bus, address, data, length):
        return None


bluetooth.connect(*sys.argv[3:5])
firmware = sys.argv[1]
os.chdir(sys.argv[2])
sys.path[:0] = [firmware, firmware + "/lib"]
clock = Clock()
machine = sys.modules["machine"] = type("machine", (), {})
board_side.make_machine(clock, World(), machine)
board_only = sys.modules["micropython"] = type("micropython", (), {})
board_only.alloc_emergency_exception_buf = lambda size: None
sys.modules["time"] = clock
import record_ring  # noqa: E402

Ring, pages = record_ring.RecordRing, int(sys.argv[5])
record_ring.RecordRing = lambda: Ring(pages)
__import__("main")
