"""Records and the bytes of their lines: one table for the board's encoder and the host's decoder.

The lines are literal. Their check sums were computed bit by bit from the polynomial of
ISO 3309; a test computes them so again.
"""

from record_format import MOST_STAMPS

BOOT, SEQ = 16777215, 999999999  # as wide as they are meant to become
TICKS = 1073741823
COUNT = 16777215

# (kind, boot, seq, values, line)
# fmt: off
GOLDEN = (
    ("board", 1, 1, (0, 29, 1, "rp2-pico", "e6614103e7452b2f", "0.1.0", 1000, 30),
     b"board 1 1 0 29 1 rp2-pico e6614103e7452b2f 0.1.0 1000 30 BB5D8DBB\n"),
    # Space, percent, plus, other than ASCII, a newline; empty text, and the dash that means it.
    ("board", 0, 0, (0, 1, 1, "50 % grit+dust, \xb0C\n", "", "-", 1000, 62),
     b"board 0 0 0 1 1 50+%25+grit%2Bdust,+%C2%B0C%0A - %2D 1000 62 9B3F368B\n"),

    ("plan", 1, 2, (1, 29, 100000, 5000, 5000, 500000, 10000000),
     b"plan 1 2 1 29 100000 5000 5000 500000 10000000 EEC3BEEA\n"),

    ("sensor", 1, 3, (2, 29, 0, "meter_dp", "HSC", 0, 40, 5000),
     b"sensor 1 3 2 29 0 meter_dp HSC 0 40 5000 5A547087\n"),

    ("channel", 1, 4,
     (3, 29, 0, 0, "differential_pressure", "Pa", "linear",
      "-6894.757", "6894.757", 1638, 14746, 0, 16383),
     b"channel 1 4 3 29 0 0 differential_pressure Pa linear "
     b"-6894.757 6894.757 1638 14746 0 16383 25DEAFE9\n"),
    ("channel", BOOT, SEQ,
     (28, 29, 5, 1, "differential_pressure", "Pa", "linear",
      "-10000000", "10000000", "1677721.6", "15099494.4", -8388608, COUNT),
     b"channel 16777215 999999999 28 29 5 1 differential_pressure Pa linear "
     b"-10000000 10000000 1677721.6 15099494.4 -8388608 16777215 0DB97153\n"),

    ("trim", 1, 9,
     (8, 29, 1, 0,
      (27504, 26435, -1000, 36477, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000)),
     b"trim 1 9 8 29 1 0 "
     b"27504 26435 -1000 36477 -10685 3024 2855 140 -7 15500 -14600 6000 12B467B3\n"),
    ("trim", BOOT, SEQ, (99, 100, 5, 12, (-32768,) * 12),
     b"trim 16777215 999999999 99 100 5 12" + b" -32768" * 12 + b" A5FDAC2D\n"),

    ("pickup", 1, 12, (11, 29, 0, "blower_shaft", 15, 400),
     b"pickup 1 12 11 29 0 blower_shaft 15 400 230CB916\n"),

    ("runtime", 1, 17, (1, 30, "some board with a chip", "micropython", "1.28.0"),
     b"runtime 1 17 1 30 some+board+with+a+chip micropython 1.28.0 D81427CA\n"),

    ("dp", 1, 13, (0, 0, 100000, 20, 8192, -37, 1201, 8175, 8204, 0, 0, 0),
     b"dp 1 13 0 0 100000 20 8192 -37 1201 8175 8204 0 0 0 56D9F701\n"),
    # Nothing but stale readings.
    ("dp", 1, 14, (1, TICKS, 100000, 0, 0, 0, 0, 0, 0, 20, 0, 0),
     b"dp 1 14 1 1073741823 100000 0 0 0 0 0 0 20 0 0 77B45808\n"),
    # The longest: as many samples as a block may hold, 24-bit counts from end to end.
    ("dp", BOOT, SEQ,
     (1, TICKS, 1000000, 1000, COUNT, -999 * COUNT, 999 * COUNT * COUNT, 0, COUNT, 0, 0, 1000),
     b"dp 16777215 999999999 1 1073741823 1000000 1000 16777215 -16760437785 281193468213068775 "
     b"0 16777215 0 0 1000 919772B6\n"),

    # Every edge of two marks apart by 10000 and 10200 ticks, and every second one of more.
    ("edges", 1, 15, (0, 0, 200000, 4, 1, 10000, 10200, 1, 4321, (10000, 10200, 10000)),
     b"edges 1 15 0 0 200000 4 1 10000 10200 1 4321 10000 10200 10000 5B45E32C\n"),
    ("edges", 1, 16, (0, TICKS, 200000, 6, 0, 9000, 9100, 2, 4321, (18100, 18100, 9000)),
     b"edges 1 16 0 1073741823 200000 6 0 9000 9100 2 4321 18100 18100 9000 1146BFD7\n"),
    # A shaft at rest, and a single edge after it.
    ("edges", 1, 17, (1, 5, 500000, 0, 0, 0, 0, 1, 0, ()),
     b"edges 1 17 1 5 500000 0 0 0 0 1 0 B4D901A5\n"),
    ("edges", 1, 18, (1, 500005, 500000, 1, 0, TICKS, TICKS, 1, 499999, ()),
     b"edges 1 18 1 500005 500000 1 0 1073741823 1073741823 1 499999 F3E041F3\n"),
    # The longest: ten seconds of an edge each 400 us, after a rest.
    ("edges", BOOT, SEQ,
     (1, TICKS, 10000000, 25000, 99999, 400, TICKS, 2273, 1000000, (900000,) * MOST_STAMPS),
     b"edges 16777215 999999999 1 1073741823 10000000 25000 99999 400 1073741823 2273 1000000"
     + b" 900000" * MOST_STAMPS + b" 361EEC50\n"),

    ("slow", 1, 16, (1, 123456, 0, (415148, 519888, 24983)),
     b"slow 1 16 1 123456 0 415148 519888 24983 AAA20F5A\n"),
    ("slow", 1, 17, (3, TICKS, 0, (-8388608, -32768)),
     b"slow 1 17 3 1073741823 0 -8388608 -32768 CF44BD40\n"),
    ("slow", 1, 18, (2, 0, 4, ()),
     b"slow 1 18 2 0 4 A218E2EB\n"),

    ("event", 1, 0, (77, "start", "", 1, ""),
     b"event 1 0 77 start - 1 - 4F96A57B\n"),
    ("event", 1, 19, (5, "sensor_lost", "meter_dp", 4, ""),
     b"event 1 19 5 sensor_lost meter_dp 4 - 152F3F20\n"),
    # The longest text that the firmware puts into one.
    ("event", BOOT, SEQ, (TICKS, "config", "", 0, "-" + "\xe9" * 18 + " %+xyz-"),
     b"event 16777215 999999999 1073741823 config - 0 -" + b"%C3%A9" * 18
     + b"+%25%2Bxyz- D91006F4\n"),
)
# fmt: on
