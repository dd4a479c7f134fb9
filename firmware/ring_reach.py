"""How far back the ring of records reaches, from plan, sensors and pickups."""

from record_format import LIMIT, MOST_STAMPS, edges_us, encode
from record_ring import PAGE, SLOTS

LATE_SEQ = 9999999  # no sooner than in the fourth day of a start
TICKS = 0x3FFFFFFF


def reach_s(ring, boot, plan, sensors, tachs, header):
    """Whole seconds of records that the ring keeps at the least.

    Every record is taken as long as it can be: its number has seven digits, ticks have ten, the
    counts of a block lie at both ends of their range, an interval is as long as the block, every
    reading of a slow sensor is fresh and its words are those at which it clips. One page is taken
    as just forgotten, and the last LIMIT bytes of every other as unused. Events, of which a board
    in order sends none, are left out, and so are the headers that hosts have called forward:
    HEADERS_AHEAD at most, whatever hosts do, for which those to come are left away."""
    block_us, slow_us = plan["block_us"], plan["slow_us"]
    n = block_us // plan["period_us"]
    lines = []
    for sensor in sensors:
        if sensor.driver.channels[0][0] != "differential_pressure":
            continue
        low, high = sensor.driver.channels[0][7:9]
        counts = (n, low, -n * (high - low), n * (high - low) ** 2, low, high, n, 0, 0)
        lines.append((block_us, "dp", (sensor.index, TICKS, block_us) + counts))
    for tach, every_us in zip(tachs, (edges_us(block_us), slow_us)):
        lines.append((every_us, "edges", (1, TICKS, every_us) + edges(tach, every_us)))
    for sensor in sensors:
        words = [max(channel[7:9], key=digits) for channel in sensor.driver.channels]
        lines.append((slow_us, "slow", (sensor.index, TICKS, 0, words)))
    lines += [(plan["header_us"], kind, values) for kind, values in header]
    size = number = 0.0  # a second
    for every_us, kind, values in lines:
        size += len(encode(kind, boot, LATE_SEQ, values)) * 1e6 / every_us
        number += 1e6 / every_us
    return int(min((ring.pages - 1) * (PAGE - LIMIT) / size, (SLOTS - 1) / number))


def edges(tach, length_us):
    """The fields of the longest record: as many edges as may be, whose stamps lie such that the
    steps between them have the most digits."""
    most = length_us // tach.least_us
    long = 10 ** (digits(length_us // MOST_STAMPS) - 1)
    longer = (length_us - MOST_STAMPS * long) // (9 * long)
    steps = [10 * long] * longer + [long] * (MOST_STAMPS - longer)
    return (most, most, length_us, length_us, most // MOST_STAMPS + 1, length_us, steps)


def digits(number):
    return len(str(number))
