"""A rig file with nothing wrong in it, and what becomes of it with a few words changed."""

GOOD = """\
name = "grit unit 3"
[meter]
kind = "venturi"
position = "port"
pipe_bore = "5.693 in"
throat_bore = "3.870 in"
discharge_coefficient = 0.984
discharge_coefficient_uncertainty = "1.5 %"
discharge_coefficient_source = "ISO 5167-4:2003, as cast"
inlet_loss = 0.05
[site]
altitude = "620 m"
station_pressure = "94.1 kPa"
temperature = "12 C"
humidity = "55 %"
[pickups.blower_shaft]
marks_per_turn = 2
[pickups.engine_shaft]
marks_per_turn = 1
[machine]
belt_ratio = 1.25
[sensors.meter_dp]
part = "HSC"
range = ["-2.5 kPa", "2.5 kPa"]
"""

# A data sheet, to stand behind [machine].
SHEET = """\
[machine.blower.rating]
basis = "inlet"
flow_unit = "cfm"
vacuum_unit = "inHg"
rows = [[2750, 0, 1555], [2750, 8, 1405]]
"""


def changed(*changes: tuple[str, str], text: str = GOOD) -> str:
    """The text with each (old, new) replaced; every old one must stand there once."""
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text
