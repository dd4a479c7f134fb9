"""A sensor in its place on the machine: reads its driver, survives its absence."""

from record_format import BUS_ERROR, OK, STALE

BAD_READS = 5  # or stale ones, in a row, before a sensor counts as lost and is started again


class Sensor:
    """Role and address of a part, and whether it answers.

    `status` is that of the last reading. `news` is "sensor_lost" or "sensor_back" from the
    change until the caller clears it.
    """

    def __init__(self, index, role, part, bus_number, address, period_us, driver):
        self.index = index
        self.role = role
        self.part = part
        self.bus_number = bus_number
        self.address = address
        self.period_us = period_us
        self.driver = driver
        self.status = OK
        self.news = ""
        self._bad = 0
        self._lost = False
        self._started = False

    def read(self):
        """One reading of the driver: a status, never an exception. A part that has been away
        is started first, since it may come back without its settings or be another."""
        try:
            if self._started:
                status = self.driver.read()
            else:
                self.driver.start()
                self._started = True
                status = STALE
        except OSError:
            status = BUS_ERROR
            self._started = False
        if status == OK:
            self._bad = 0
            if self._lost:
                self._lost = False
                self.news = "sensor_back"
        else:
            self._bad += 1
            if self._bad == BAD_READS:
                self._bad = 0
                self._started = False
                if not self._lost:
                    self._lost = True
                    self.news = "sensor_lost"
        self.status = status
        return status
