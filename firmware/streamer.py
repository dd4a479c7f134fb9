"""The board's loop: samples on time, closes blocks, sends records.

Time is cut into slots of period_us. One reading falls into each slot, at a random instant
less than jitter_us after it begins: sampled in step with the blower's lobes, their pulsation
would freeze into a bias that no averaging removes.
"""

import gc

from record_format import FORMAT_VERSION, KEPT_S, OK, STALE, edges_us

FIRMWARE = "0.2.0"
HEADER_LINES_A_BLOCK = 2  # all at once would take longer than a slot
# Headers to come that hosts can call forward; were there no end of them, whoever greets on and on
# would fill the ring.
HEADERS_AHEAD = 2
TRIM_WORDS_A_LINE = 12
NAP_US = 500  # the longest sleep while bytes wait to leave


class Streamer:
    """Reads `samplers`, that of meter_dp first, once a slot into blocks, `tachs` and
    `slow_sensors` into records of their own, puts all of them into `outbox`, and lets `links`
    send while it waits.

    `identity` is (board, board_id), `runtime` (machine, runtime, version). `clock` has ticks_us,
    ticks_diff, ticks_add and sleep_us. `feed` feeds the watchdog, once a block.
    """

    def __init__(
        self, clock, links, outbox, samplers, slow_sensors, tachs, plan, identity, runtime, feed
    ):
        self._clock = clock
        self._links = links
        self._outbox = outbox
        self._samplers = samplers
        self._slow_sensors = slow_sensors
        self._sensors = [sampler.sensor for sampler in samplers] + slow_sensors
        self._tachs = tachs
        self._plan = plan
        self._identity = identity
        self._runtime = runtime
        self._feed = feed
        self._random = 1
        self._header = []
        self._header_in = 0  # blocks until one is due that nobody has asked for
        self._late = 0
        self._dropped_before = [0] * len(links)
        self._begin = 0

    def run(self, reset_cause, news=()):
        """`news`: codes and values of events that go ahead of every header, for hosts that come
        after the start."""
        news = self._start(reset_cause, list(news))
        plan = self._plan
        slow_blocks = plan["slow_us"] // plan["block_us"]
        header_blocks = plan["header_us"] // plan["block_us"]
        edges_blocks = edges_us(plan["block_us"]) // plan["block_us"]
        for tach in self._tachs:
            tach.begin()
        self._begin = self._clock.ticks_us()
        block = 0
        asked = False
        while True:
            for link in self._links:
                asked |= self._outbox.answer(link)
            # One in the making is never begun anew for a host: another follows it.
            ahead = HEADERS_AHEAD * header_blocks if asked else 0
            if not self._header and self._header_in <= ahead:
                asked = False
                for code, value in news:
                    self._outbox.event(code, value=value)
                self._header = self._header_lines()
                self._header_in = max(self._header_in, 0) + header_blocks
            self._header_in -= 1
            self._send_block()
            if (block + 1) % edges_blocks == 0:
                self._send_edges(0)
            for _ in range(HEADER_LINES_A_BLOCK):
                if self._header:
                    self._outbox.emit(*self._header.pop(0))
            turn = block % slow_blocks
            for i, sensor in enumerate(self._slow_sensors):
                if i % slow_blocks == turn:
                    self._send_slow(sensor, sensor.read())
            if turn == 0:
                self._send_second_things()
                gc.collect()  # it may cost a slot
            self._send_news()
            self._feed()
            block += 1

    def _start(self, reset_cause, news):
        self._outbox.event("start", value=reset_cause)
        for sensor in self._sensors:
            sensor.read()  # starts it, for the header carries its trimming words
        kept_s = self._outbox.kept_s(self._plan, self._sensors, self._tachs, self._header_lines())
        if kept_s < KEPT_S:
            news.append(("short_memory", kept_s))
        return news

    def _send_block(self):
        start = self._begin
        for _ in range(self._plan["block_us"] // self._plan["period_us"]):
            self._sample_slot()
        self._wait_until(self._begin)
        length = self._clock.ticks_diff(self._begin, start)
        for sampler in self._samplers:
            line = self._outbox.begin("dp")
            line.add(sampler.sensor.index)
            line.add(start)
            line.add(length)
            sampler.write(line)
            self._outbox.send()

    def _send_edges(self, pickup):
        line = self._outbox.begin("edges")
        line.add(pickup)
        self._tachs[pickup].write(line)
        self._outbox.send()

    def _sample_slot(self):
        clock = self._clock
        begin = self._begin
        self._begin = clock.ticks_add(begin, self._plan["period_us"])
        if clock.ticks_diff(self._begin, clock.ticks_us()) <= 0:
            self._late += 1
            return
        # xorshift on 16 bits: every state but 0 in turn
        x = self._random
        x ^= (x << 7) & 65535
        x ^= x >> 9
        x ^= (x << 8) & 65535
        self._random = x
        self._wait_until(clock.ticks_add(begin, (x * self._plan["jitter_us"]) >> 16))
        for sampler in self._samplers:
            sampler.sample()
        for tach in self._tachs:
            if tach.watch():
                self._outbox.event("pickup_dead", tach.role)

    def _wait_until(self, instant):
        clock = self._clock
        while True:
            if clock.ticks_diff(instant, clock.ticks_us()) <= 0:
                return
            waiting = False
            for link in self._links:
                link.pump()
                waiting = waiting or link.waiting()
            left = clock.ticks_diff(instant, clock.ticks_us())
            if left > 0:
                clock.sleep_us(min(left, NAP_US) if waiting else left)

    def _send_second_things(self):
        """What is sent every slow_us beside the slow sensors."""
        for sampler in self._samplers:
            self._send_slow(sampler.sensor, sampler.sensor.status)
        if len(self._tachs) > 1:
            self._send_edges(1)
        if self._late:
            self._outbox.event("late", value=self._late)
            self._late = 0

    def _send_slow(self, sensor, status):
        if status == STALE:
            return
        line = self._outbox.begin("slow")
        line.add(sensor.index)
        line.add(self._clock.ticks_us())
        line.add(status)
        if status == OK:
            for word in sensor.driver.words:
                line.add(word)
        self._outbox.send()

    def _send_news(self):
        for sensor in self._sensors:
            if sensor.news:
                self._outbox.event(sensor.news, sensor.role, sensor.status)
                if sensor.news == "sensor_back" and sensor.driver.trim:
                    self._header = []  # it may be another of its kind
                    self._header_in = 0
                sensor.news = ""
        for i, link in enumerate(self._links):
            dropped = link.turns.dropped
            # While nobody reads, this record would be dropped as well.
            if dropped and dropped == self._dropped_before[i]:
                self._outbox.event("dropped", link.name, dropped)
                link.turns.dropped = dropped = 0
            self._dropped_before[i] = dropped

    def _header_lines(self):
        board, board_id = self._identity
        mask = self._clock.ticks_add(0, -1)
        tick_bits = 0
        while mask >> tick_bits:
            tick_bits += 1
        plan = self._plan
        lines = [
            ("board", (FORMAT_VERSION, board, board_id, FIRMWARE, 1000, tick_bits)),
            ("runtime", self._runtime),
            (
                "plan",
                (
                    plan["block_us"],
                    plan["period_us"],
                    plan["jitter_us"],
                    plan["slow_us"],
                    plan["header_us"],
                ),
            ),
        ]
        for s in self._sensors:
            lines.append(
                ("sensor", (s.index, s.role, s.part, s.bus_number, s.address, s.period_us))
            )
            for i, channel in enumerate(s.driver.channels):
                lines.append(("channel", (s.index, i) + channel))
            trim = s.driver.trim
            for first in range(0, len(trim), TRIM_WORDS_A_LINE):
                words = trim[first : first + TRIM_WORDS_A_LINE]
                lines.append(("trim", (s.index, first, words)))
        for i, tach in enumerate(self._tachs):
            lines.append(("pickup", (i, tach.role, tach.pin_number, tach.least_us)))
        count = len(lines)
        return [(kind, (i, count) + values) for i, (kind, values) in enumerate(lines)]
