"""How far back the ring of records reaches, from plan, sensors and pickups."""

from record_format import LIMIT, encode
from record_ring import PAGE, SLOTS

LATE_SEQ = 9999999  # no sooner than in the fourth day of a start
TICKS = 0x3FFFFFFF


def reach_s(ring, boot, plan, sensors, tachs, header):
    """Whole seconds of records that the ring keeps at the least; meter_dp is sensors[0].

    Every record is taken as long as it can be: its number has seven digits, ticks have ten, the
    counts of a block lie at both ends of their range, an interval is as long as the block, every
    reading of a slow sensor is fresh and its words are those at which it clips. One page is taken
    as just forgotten, and the last LIMIT bytes of every other as unused. Events, of which a board
    in order sends none, are left out, and so are the headers that hosts have called forward:
    HEADERS_AHEAD at most, whatever hosts do, for which those to come are left away."""
    block_us, slow_us = plan["block_us"], plan["slow_us"]
    low, high = sensors[0].driver.channels[0][7:9]
    n = block_us // plan["period_us"]
    counts = (n, low, -n * (high - low), n * (high - low) ** 2, low, high, n, 0, 0)
    lines = [(block_us, "block", (TICKS, block_us) + counts + edges(tachs[0], block_us))]
    if len(tachs) > 1:
        lines.append((slow_us, "shaft", (1, TICKS, slow_us) + edges(tachs[1], slow_us)))
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
    most = length_us // tach.least_us
    return (most, TICKS, TICKS, length_us, length_us, most)


def digits(number):
    return len(str(number))
