"""Runs main.py for a second on a board of which something is wrong; stdout is the board's link.

Arguments: the folder of the firmware, the board's own folder, and, to have a bus that cannot be
made, any third one. For MicroPython, with the bench's board_side on its path.
"""

import os
import sys

import board_side

END_US = 1000000


class World:
    """Nothing on the buses, and the end after a second."""

    written = said = 0

    def transact(self, now_us, bus, address, data, length):
        return None

    def happenings(self, from_us, to_us):
        return [(END_US, board_side.END)] if from_us <= END_US < to_us else []


def with_a_broken_bus(make_machine):
    def make(clock, world, module):
        make_machine(clock, world, module)

        def refuse(*args, **options):
            raise OSError(19)

        module.I2C = refuse

    return make


if len(sys.argv) > 3:
    board_side.make_machine = with_a_broken_bus(board_side.make_machine)
firmware = sys.argv[1]
os.chdir(sys.argv[2])
board_side.run_firmware(firmware, World())
