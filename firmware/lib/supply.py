"""The board's own supply voltage, by an analogue input of the board.

options: pin; full_scale_v, the supply at the input's greatest reading, which is the input's own
full scale times the divider ahead of it.
"""

from record_format import OK


class Supply:
    """`bus` is the analogue input: `read_u16` gives 0 to 65535."""

    PARTS = ("ADC",)
    trim = ()
    least_period_us = 0

    def __init__(self, bus, address, part, options):
        full = str(options["full_scale_v"])
        self.channels = (("voltage", "V", "linear", "0", full, 0, 65535, -1, 65535),)
        self.words = [0]
        self._input = bus

    def start(self):
        pass

    def read(self):
        self.words[0] = self._input.read_u16()
        return OK
