"""The records that a board sends: field tables, CRC-32 and encoding.

This file is the one truth of the format; board and host import it unchanged.

A record is one line of printable ASCII, at most LIMIT bytes with its newline:

    KIND BOOT SEQ FIELD ... FIELD CRC

BOOT counts the board's starts and stands still when the flash is full; SEQ counts the records
since that start. CRC is the CRC-32 (ISO 3309, as in zlib) of every byte before the space ahead
of it, as eight hex digits.
Fields are separated by one space and have one of these forms:

    INT      a decimal integer; ticks are raw readings of the board's wrapping counter
    DECIMAL  a decimal number, sent as the text that board.json or the driver holds
    WORD     text as in URL forms: space as "+", bytes outside 33..126, "%" and "+" as %XX;
             empty text as "-"
    INTS     any number of integers; only as the last field

The host says two things only, each a line of its own. GREETING: it has just come, and wants the
header. "again BOOT FIRST BEYOND": it has not got the records FIRST to BEYOND - 1 of this start;
the board sends those that it still has once more, as they were, at most MOST_AGAIN. With FIRST
equal to BEYOND it only says that the host is there.

Over USB both directions are plain bytes. Over Bluetooth Low Energy the board notifies records in
pieces of what a notification takes, and the host writes its lines.

Version 1 sent `block` (meter_dp and the first pickup in one record) and `shaft`, with the first
and the last edge and the extreme intervals alone; nothing else of it differs.
"""

import binascii
import struct

FORMAT_VERSION = 2
LIMIT = 180

INT, DECIMAL, WORD, INTS = "int", "decimal", "word", "ints"

# What a driver says of one reading. Only OK readings enter a block's statistics.
OK, STALE, FAULT, CRC_ERROR, BUS_ERROR = range(5)
STATUS_NAMES = ("ok", "stale", "fault", "crc_error", "bus_error")

_LINE_OF_HEADER = (("line", INT), ("lines", INT))  # this line's index, lines in the header

HEADER = {
    "board": _LINE_OF_HEADER
    + (
        ("format", INT),
        ("board", WORD),
        ("board_id", WORD),
        ("firmware", WORD),
        ("tick_ns", INT),
        ("tick_bits", INT),
    ),
    # What the firmware runs on, as the runtime itself says it.
    "runtime": _LINE_OF_HEADER + (("machine", WORD), ("runtime", WORD), ("version", WORD)),
    "plan": _LINE_OF_HEADER
    + (
        ("block_us", INT),  # 0.1 s for a host that looks on, up to 1 s for logging alone
        ("period_us", INT),  # of meter_dp and meter_dp_low
        ("jitter_us", INT),  # each instant lies this much or less after its slot begins
        ("slow_us", INT),
        ("header_us", INT),
    ),
    # bus is -1 for a part that is read by a pin of the board: address is then the pin.
    "sensor": _LINE_OF_HEADER
    + (
        ("sensor", INT),
        ("role", WORD),
        ("part", WORD),
        ("bus", INT),
        ("address", INT),
        ("period_us", INT),
    ),
    # How a count of one channel becomes a quantity. "linear": the straight line through
    # (count_low, value_low) and (count_high, value_high), the rated ends of the range.
    "channel": _LINE_OF_HEADER
    + (
        ("sensor", INT),
        ("channel", INT),
        ("quantity", WORD),
        ("unit", WORD),  # UCUM: Pa, Cel, V, 1
        ("transfer", WORD),
        ("value_low", DECIMAL),
        ("value_high", DECIMAL),
        ("count_low", DECIMAL),
        ("count_high", DECIMAL),
        ("clip_low", INT),
        ("clip_high", INT),
    ),
    "trim": _LINE_OF_HEADER + (("sensor", INT), ("first", INT), ("words", INTS)),
    "pickup": _LINE_OF_HEADER + (("pickup", INT), ("role", WORD), ("pin", INT), ("least_us", INT)),
}

DATA = {
    # A block of one differential-pressure sensor. Statistics of the n good counts x: sum and
    # sumsq are those of x - pivot. clipped counts are among the n; stale and faulty ones are not.
    "dp": (
        ("sensor", INT),
        ("start_ticks", INT),
        ("length_ticks", INT),
        ("n", INT),
        ("pivot", INT),
        ("sum", INT),
        ("sumsq", INT),
        ("least", INT),
        ("greatest", INT),
        ("stale", INT),
        ("faulty", INT),
        ("clipped", INT),
    ),
    # Edges of one pickup between start and start + length. Intervals end in this stretch, so the
    # least and the greatest may be that between the last edge before it and its first one; 0
    # where there is none. Edges 0, stride, 2 stride, ... were stamped, MOST_STAMPS at most, and
    # the last one: first is the time of edge 0 after start, steps are the ticks from each stamp
    # to the next one and from the last stamp to the last edge. stride is 1 in every
    # DENSE_EVERYth record, and after one whose intervals are not all alike; else such that a
    # record covers its stretch.
    "edges": (
        ("pickup", INT),
        ("start_ticks", INT),
        ("length_ticks", INT),
        ("edges", INT),
        ("rejects", INT),  # that came sooner than least_us after an accepted one
        ("least_interval", INT),
        ("greatest_interval", INT),
        ("stride", INT),
        ("first", INT),
        ("steps", INTS),
    ),
    "slow": (("sensor", INT), ("ticks", INT), ("status", INT), ("words", INTS)),
    # code         subject  value, text
    # start                 the board started, its SEQ is 0; MicroPython's reset cause
    # config                board.json, or what it asks for, cannot be had; text says why
    # sensor_lost  role     it does not answer, or with faults, or has nothing new; status
    # sensor_back  role     it answers again
    # dropped      link     records dropped, oldest first, because nobody read the link; number
    # gone         link     the host asks again for records ahead of this number, which are
    #                       forgotten
    # short_memory          by its plan or for lack of room the board keeps less than KEPT_S;
    #                       seconds; ahead of each header, as no_radio is
    # no_radio              board.json asks for a radio, and the board has none
    # late                  sampling slots that passed unused since the last such event; number
    # pickup_dead  role     the pickup's interrupt failed and was set up again
    "event": (
        ("ticks", INT),
        ("code", WORD),
        ("subject", WORD),
        ("value", INT),
        ("text", WORD),
    ),
}

MOST_STAMPS = 11  # a record of edges: what fits into LIMIT at the longest
DENSE_EVERY = 5  # records of edges: once a second
EDGES_US = 200000

GREETING = b"hello"
MOST_AGAIN = 16  # more in a row would keep new records waiting
KEPT_S = 25  # what is no older can be asked for again, but for `short_memory`

# The service and its two characteristics. Random numbers, made for this format.
BLE_SERVICE = "6ae047aa-8f75-4ff9-bc7b-743a2632c276"
BLE_RECORDS = "920f9640-1fe3-4319-8898-05c507bfbbc1"  # notified
BLE_REQUESTS = "731f2b60-9009-4dc8-b559-abf57649e484"  # written
SILENT_S = 5  # a host that writes nothing for so long is dropped, to let another one in

_HEX = b"0123456789ABCDEF"

RECORDS = {}
RECORDS.update(HEADER)
RECORDS.update(DATA)


def edges_us(block_us):
    """How often a record of the first pickup's edges is sent, in whole blocks; those of a second
    pickup are sent every slow_us."""
    return block_us * max(EDGES_US // block_us, 1)


def quote(text):
    """Text as a WORD field."""
    if not text:
        return "-"
    if text == "-":
        return "%2D"
    return "".join(
        chr(byte) if 33 <= byte <= 126 and byte not in b"%+" else "%%%02X" % byte
        for byte in text.encode("utf-8")
    ).replace("%20", "+")


def encode(kind, boot, seq, values, kinds=RECORDS):
    """One record as the bytes of its line. values: one for each field of kinds[kind]."""
    fields = kinds[kind]
    if len(values) != len(fields):
        raise ValueError("%s takes %d fields, not %d" % (kind, len(fields), len(values)))
    parts = [kind, str(boot), str(seq)]
    for (_, form), value in zip(fields, values):
        if form == WORD:
            parts.append(quote(value))
        elif form == INTS:
            parts.extend(str(word) for word in value)
        else:
            parts.append(str(value))
    body = " ".join(parts).encode()
    line = body + b" %08X\n" % binascii.crc32(body)
    if len(line) > LIMIT:
        raise ValueError("%s record of %d bytes, limit %d" % (kind, len(line), LIMIT))
    return line


class Line:
    """A record of integers, written digit by digit into a buffer that is laid out once.

    The same bytes as `encode`. Once each length has come once, a record allocates the number
    that `crc32` returns and nothing else. IndexError when a record is longer than LIMIT.
    """

    def __init__(self):
        self.buffer = bytearray(LIMIT)
        self.length = 0
        self._crc = bytearray(4)
        self._bodies = [None] * LIMIT  # views of the buffer, by length

    def begin(self, prefix, seq):
        """prefix: kind and boot as bytes, with the space between them."""
        buffer = self.buffer
        at = 0
        for byte in prefix:
            buffer[at] = byte
            at += 1
        self.length = at
        self.add(seq)

    def add(self, number):
        """A field below 2^30 either way; a greater one allocates on a 32-bit board."""
        buffer = self.buffer
        at = self.length
        buffer[at] = 32
        at += 1
        if number < 0:
            buffer[at] = 45
            at += 1
            number = -number
        end = at + 1
        rest = number // 10
        while rest:
            end += 1
            rest //= 10
        self.length = end
        while end > at:
            end -= 1
            buffer[end] = 48 + number % 10
            number //= 10

    def add_wide(self, high, low):
        """The field high * 2^24 + low, with 0 <= low < 2^24."""
        if -32 < high < 32:
            self.add((high << 24) + low)
            return
        buffer = self.buffer
        at = self.length
        buffer[at] = 32
        at += 1
        if high < 0:
            buffer[at] = 45
            at += 1
            high = -high
            if low:
                high -= 1
                low = 0x1000000 - low
        first = at
        while high or low:  # the digits, the last one first
            low += (high % 10) << 24
            high //= 10
            buffer[at] = 48 + low % 10
            low //= 10
            at += 1
        self.length = at
        while first < at:
            at -= 1
            buffer[first], buffer[at] = buffer[at], buffer[first]
            first += 1

    def end(self):
        """Add the check sum and the newline: the record's length."""
        buffer = self.buffer
        at = self.length
        body = self._bodies[at]
        if body is None:
            body = self._bodies[at] = memoryview(buffer)[:at]
        struct.pack_into(">I", self._crc, 0, binascii.crc32(body))
        buffer[at] = 32
        at += 1
        for byte in self._crc:
            buffer[at] = _HEX[byte >> 4]
            buffer[at + 1] = _HEX[byte & 15]
            at += 2
        buffer[at] = 10
        self.length = at + 1
        return self.length


def again(boot, first, beyond):
    """The host's line that asks for records once more."""
    return b"again %d %d %d\n" % (boot, first, beyond)


def wanted(line):
    """(boot, first, beyond) of such a line without its end; None for any other line."""
    parts = line.split()
    if len(parts) != 4 or parts[0] != b"again":
        return None
    try:
        boot, first, beyond = [int(part) for part in parts[1:]]
    except ValueError:
        return None
    return boot, first, min(beyond, first + MOST_AGAIN)
