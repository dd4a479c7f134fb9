"""Builds pins, buses, sensors and link from board.json and runs the loop.

The only file that touches `machine`. Ctrl-C returns to the REPL.
"""

import select
import sys
import time

import machine
import micropython

from record_ring import RecordRing

RING = RecordRing()  # while the heap is in one piece

import board_config  # noqa: E402
from outbox import Outbox  # noqa: E402
from sampler import Sampler  # noqa: E402
from streamer import Streamer  # noqa: E402
from tach import Tach  # noqa: E402
from usb_link import UsbLink  # noqa: E402

micropython.alloc_emergency_exception_buf(100)

RUNTIME_TEXT = 40  # bytes that a header record has room for
REFUSALS = (ValueError, OSError)  # what ports raise for a pin, bus or time that they have not


def read_board_json():
    try:
        with open("board.json") as file:
            return file.read()
    except OSError:
        raise ValueError("board.json is missing: copy it to the board")
    except UnicodeError:
        raise ValueError("board.json is not plain text: save it as UTF-8")


def refused(where, what, fault):
    return ValueError("%s: this board refuses %s: %s" % (where, what, fault))


def next_boot():
    """The number of this start, kept in the board's flash."""
    try:
        with open("boot.txt") as file:
            boot = int(file.read())
    except (OSError, ValueError):
        boot = 0
    boot = (boot + 1) & 0xFFFFFF
    try:
        with open("boot.txt", "w") as file:
            file.write("%d" % boot)
    except OSError:  # full or read-only: better a number twice than no run
        pass
    return boot


def make_usb_link():
    poller = select.poll()
    poller.register(sys.stdout, select.POLLOUT)
    listener = select.poll()
    listener.register(sys.stdin, select.POLLIN)
    return UsbLink(
        RING,
        sys.stdout.buffer,
        sys.stdin.buffer,
        lambda: poller.poll(0),
        lambda: listener.poll(0),
    )


def make_buses(config):
    buses = {}
    for bus in config["buses"]:
        try:
            buses[bus["bus"]] = machine.I2C(
                bus["bus"],
                sda=machine.Pin(bus["sda"]),
                scl=machine.Pin(bus["scl"]),
                freq=bus["frequency_hz"],
            )
        except REFUSALS as fault:
            pins = "sda %d with scl %d" % (bus["sda"], bus["scl"])
            raise refused("bus %d" % bus["bus"], pins, fault)
    return buses


def make_supply_input(config):
    """The analogue input by which the board reads its supply voltage, or None."""
    if "supply" not in config:
        return None
    pin = config["supply"]["pin"]
    try:
        return machine.ADC(machine.Pin(pin))
    except REFUSALS as fault:
        raise refused("supply", "pin %d" % pin, fault)


def runtime():
    """Machine, runtime and version, as the runtime itself says them."""
    implementation = sys.implementation
    version = ".".join(str(part) for part in implementation.version if part != "")
    machine_name = getattr(implementation, "_machine", sys.platform)
    return (machine_name[:RUNTIME_TEXT], implementation.name, version[:RUNTIME_TEXT])


def make_tach(entry):
    try:
        return watch_pin(entry, machine.Pin(entry["pin"], machine.Pin.IN))
    except REFUSALS as fault:
        raise refused(entry["role"], "pin %d" % entry["pin"], fault)


def watch_pin(entry, pin):
    def arm(handler):
        try:
            pin.irq(handler=handler, trigger=machine.Pin.IRQ_FALLING, hard=True)
        except TypeError:  # a port without hard interrupts
            pin.irq(handler=handler, trigger=machine.Pin.IRQ_FALLING)

    return Tach(
        entry["role"],
        entry["pin"],
        entry["least_us"],
        time,
        machine.disable_irq,
        machine.enable_irq,
        arm,
        pin.value,
    )


def make_watchdog(config):
    """A watchdog cannot be stopped. When Ctrl-C ends the loop, a timer feeds it in its place,
    so that files can be copied to the board; whoever holds the timer keeps it alive. It does
    not outlive a soft reset: copy with `mpremote resume`."""
    if not config["watchdog_ms"]:
        return lambda: None, lambda: None
    try:
        watchdog = machine.WDT(timeout=config["watchdog_ms"])
    except REFUSALS as fault:
        raise refused("watchdog_ms", "%d" % config["watchdog_ms"], fault)

    def keep_fed():
        return machine.Timer(period=1000, callback=lambda timer: watchdog.feed())

    return watchdog.feed, keep_fed


def make_ble_links(config, board_id, news):
    """One where board.json asks for it and the board has a radio."""
    if not config.get("bluetooth"):
        return []
    from ble_link import BleLink  # noqa: PLC0415  (it takes room, and so does the radio)

    try:
        import bluetooth  # noqa: PLC0415

        return [BleLink(RING, bluetooth.BLE(), bluetooth.UUID, time, "pull" + board_id[-4:])]
    except (ImportError, OSError):
        news.append(("no_radio", 0))
        return []


def complain(link, outbox, fault):
    """Says why board.json cannot be used, every two seconds, until Ctrl-C."""
    while True:
        outbox.event("config", text=fault)
        for _ in range(200):
            link.pump()
            time.sleep_us(10000)


def main():
    link = make_usb_link()
    outbox = Outbox(RING, time, next_boot())
    board_id = "".join("%02x" % byte for byte in machine.unique_id())
    news = []
    try:
        config = board_config.load(read_board_json())
        sensors = board_config.make_sensors(config, make_buses(config), make_supply_input(config))
        tachs = [make_tach(entry) for entry in config["pickups"]]
        links = [link] + make_ble_links(config, board_id, news)
        feed, keep_fed = make_watchdog(config)  # last: nothing feeds it while we complain
    except ValueError as fault:
        complain(link, outbox, str(fault))
    samplers = [Sampler(sensor) for sensor in sensors if sensor.role in board_config.SAMPLED]
    streamer = Streamer(
        time,
        links,
        outbox,
        samplers,
        sensors[len(samplers) :],
        tachs,
        config["plan"],
        (config["board"], board_id),
        runtime(),
        feed,
    )
    try:
        streamer.run(machine.reset_cause(), news)
    except KeyboardInterrupt:
        return keep_fed()


try:
    keeper = main()
except KeyboardInterrupt:
    pass
