"""MicroPython's module `bluetooth` over two pipes to whoever has a radio.

Each call is a line of JSON and waits for its answer; events of the radio come between the answers
and are handed out by `dispatch`. Bytes travel as hexadecimal text. A line "skip"
tells microseconds that the board need not sleep through.
"""

import binascii
import json
import select


def connect(to_radio, from_radio):
    BLE.pipes = open(to_radio, "wb"), open(from_radio, "rb")
    BLE.poller.register(BLE.pipes[1], select.POLLIN)


def UUID(text):  # noqa: N802
    return text


class BLE:
    poller = select.poll()
    events = []
    handler = None
    skip_us = 0

    def irq(self, handler):
        BLE.handler = handler

    def call(self, name, *args, **options):
        line = json.dumps([name, args, options]) + "\n"
        self.pipes[0].write(line.encode())
        while True:
            kind, said = heard()
            if kind == "refused":
                raise OSError(said)
            if kind == "said":
                return said

    def active(self, on):
        self.call("active", on)

    def config(self, **options):
        self.call("config", **options)

    def gatts_register_services(self, services):
        return self.call("gatts_register_services", services)

    def gatts_set_buffer(self, handle, length, append):
        self.call("gatts_set_buffer", handle, length, append)

    def gatts_read(self, handle):
        return binascii.unhexlify(self.call("gatts_read", handle))

    def gatts_notify(self, connection, handle, data):
        self.call("gatts_notify", connection, handle, binascii.hexlify(data).decode())

    def gap_advertise(self, us, adv_data):
        self.call("gap_advertise", us, binascii.hexlify(adv_data).decode())

    def gap_disconnect(self, connection):
        return self.call("gap_disconnect", connection)


def heard():
    kind, said = json.loads(BLE.pipes[1].readline())
    if kind == "event":
        BLE.events.append(said)
    elif kind == "skip":
        BLE.skip_us += said
    return kind, said


def dispatch():
    while BLE.poller.poll(0):
        heard()
    while BLE.events:
        BLE.handler(*BLE.events.pop(0))
