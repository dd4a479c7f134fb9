"""Rig files: what is read, what is refused, and how the refusal reads."""

import pytest
from fluids import ATMOSPHERE_1976
from hypothesis import given, settings
from hypothesis import strategies as st

from host.rig.good_rig import GOOD, changed
from pullcurve.errors import RigError
from pullcurve.rig.loading import check_station_pressure, load_rig, parse_rig, rig_fault


def faults(text):
    with pytest.raises(RigError) as refusal:
        parse_rig(text, "unit.toml")
    return str(refusal.value).split("\n")


def leaves(value, path=()):
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, (*path, key))
    elif isinstance(value, tuple):
        for number, inner in enumerate(value):
            yield from leaves(inner, (*path, number))
    else:
        yield path, value


def test_values_are_si():
    rig = parse_rig(GOOD, "unit.toml")
    # 0.1446022 m and 0.098298 m: 5.693 in and 3.870 in at exactly 25.4 mm to the inch
    assert (rig.meter.pipe_bore, rig.meter.throat_bore) == (0.1446022, 0.098298)
    assert rig.meter.beta == pytest.approx(3.870 / 5.693)
    assert rig.meter.discharge_coefficient_uncertainty == 0.015
    assert (rig.site.altitude, rig.site.station_pressure) == (620.0, 94100.0)
    assert (rig.site.temperature_k, rig.site.humidity) == (285.15, 0.55)
    assert rig.sensors.meter_dp.range == (-2500.0, 2500.0)
    assert rig.pickups.blower_shaft.marks_per_turn == 2
    assert rig.machine.belt_ratio == 1.25
    assert (rig.text, rig.file) == (GOOD, "unit.toml")


def test_units_do_not_matter():
    other = changed(
        ('"5.693 in"', '"144.6022 mm"'),
        ('"3.870 in"', '"9.8298 cm"'),
        ('"620 m"', '"6.2e4 cm"'),
        ('"94.1 kPa"', '"941 mbar"'),
        ('"12 C"', '"53.6 F"'),
        ('["-2.5 kPa", "2.5 kPa"]', '["-25 hPa", "2500 Pa"]'),
    )
    rigs = [dict(leaves(parse_rig(text, "").model_dump())) for text in (GOOD, other)]
    assert rigs[0].keys() == rigs[1].keys()
    for path, value in rigs[0].items():
        if isinstance(value, float):
            assert rigs[1][path] == pytest.approx(value, rel=1e-14), path
        else:
            assert rigs[1][path] == value, path


def test_without_a_coefficient_the_honest_default_is_taken_and_named():
    lines = [line for line in GOOD.splitlines() if not line.startswith("discharge_")]
    meter = parse_rig("\n".join(lines), "unit.toml").meter
    assert meter.discharge_coefficient == 0.97
    assert meter.discharge_coefficient_uncertainty == 0.04
    assert "judgement" in meter.discharge_coefficient_source


def test_all_faults_at_once_each_with_file_line_key_and_remedy():
    text = changed(
        ('kind = "venturi"', 'kind = "venturri"'),
        ('"5.693 in"', '"5,693 in"'),
        ('throat_bore = "3.870 in"', 'throt_bore = "3.870 in"'),
        ('altitude = "620 m"', "altitude = 620"),
        ('humidity = "55 %"', 'humidity = "55"'),
        ('discharge_coefficient_source = "ISO 5167-4:2003, as cast"\n', ""),
        ("[pickups.engine_shaft]\nmarks_per_turn = 1", "[pickups.engine_shaft]"),
    )
    expected = [
        ("unit.toml line 2: meter.discharge_coefficient_source: ", "missing"),
        ("unit.toml line 3: meter.kind: ", '"venturi"'),
        ("unit.toml line 5: meter.pipe_bore: ", "'5,693 in'"),
        ("unit.toml line 6: meter.throt_bore: ", "did you mean throat_bore?"),
        ("unit.toml line 11: site.altitude: ", '"5.693 in"'),
        ("unit.toml line 14: site.humidity: ", '"1.5 %"'),
        ("unit.toml line 17: pickups.engine_shaft.marks_per_turn: ", "whole number"),
    ]
    found = faults(text)
    assert len(found) == len(expected)
    for fault, (start, part) in zip(found, expected, strict=True):
        assert fault.startswith(start)
        assert part in fault


def test_a_missing_table_is_a_fault_without_a_line():
    assert [fault.split(": ")[:2] for fault in faults("")] == [
        ["unit.toml", "meter"],
        ["unit.toml", "pickups"],
        ["unit.toml", "site"],
    ]


# key, the text of GOOD that is replaced, what is still allowed and how it reads in SI, what is
# refused
GUARDS = {
    "meter.pipe_bore": (
        '"5.693 in"',
        {'"115.7 mm"': 0.1157, '"491.4 mm"': 0.4914},
        ['"5.693 m"', '"19 mm"'],
    ),
    "meter.throat_bore": (
        '"3.870 in"',
        {'"1.1388 in"': 0.02892552, '"4.839 in"': 0.1229106},  # beta 0.20004 and 0.84999
        ['"1.1384 in"', '"4.840 in"', '"5.693 in"', '"7 in"', '"0 in"', '"-3.870 in"'],
    ),
    "meter.bore_uncertainty": (
        "inlet_loss = 0.05",
        {'inlet_loss = 0.05\nbore_uncertainty = "4.9 mm"': 0.0049},
        ['bore_uncertainty = "0 mm"', 'bore_uncertainty = "5 mm"'],
    ),
    "meter.discharge_coefficient": (
        "0.984",
        {"0.8": 0.8, "1.05": 1.05},
        ["0.79", "1.06", '"0.984"', "true"],
    ),
    "meter.discharge_coefficient_uncertainty": (
        '"1.5 %"',
        {'"0.1 %"': 0.001, '"30 %"': 0.30},
        ['"0 %"', '"-1 %"', '"31 %"', "0.015"],
    ),
    "meter.discharge_coefficient_source": (
        '"ISO 5167-4:2003, as cast"',
        {'"x"': "x"},
        ['""', "3"],
    ),
    "meter.inlet_loss": ("0.05", {"0": 0.0, "5": 5.0}, ["-0.1", "5.1", "nan", "inf"]),
    "site.altitude": (
        '"620 m"',
        {'"-400 m"': -400.0, '"6000 m"': 6000.0},
        ['"-500 m"', '"15000 ft 4"', '"7 km"'],
    ),
    "site.station_pressure": (
        '"94.1 kPa"',
        {'"40 kPa"': 40e3, '"32.48 inHg"': 32.48 * 3386.389},  # NIST SP 811:2008
        ['"941 kPa"', '"39 kPa"', '"13.6 psia"'],
    ),
    "site.temperature": (
        '"12 C"',
        {'"-40 F"': 233.15, '"60 C"': 333.15},
        ['"-41 C"', '"61 C"', '"20"'],
    ),
    "site.humidity": ('"55 %"', {'"0 %"': 0.0, '"100 %"': 1.0}, ['"-1 %"', '"101 %"', "0.4"]),
    "pickups.blower_shaft.marks_per_turn": (
        "= 2",
        {"= 1": 1, "= 60": 60},
        ["= 0", "= 61", "= 2.5"],
    ),
    "machine.belt_ratio": ("1.25", {"0.2": 0.2, "5": 5.0}, ["0", "-1.25", "0.19", "12.0"]),
    "sensors.meter_dp.part": ('"HSC"', {'"ABP2"': "ABP2"}, ['"hsc"', '""', "5"]),
    "sensors.meter_dp.range": (
        '["-2.5 kPa", "2.5 kPa"]',
        {'["0 inH2O", "15 inH2O"]': (0.0, 15 * 249.08891)},  # conventional, NIST SP 811:2008
        ['["2.5 kPa", "-2.5 kPa"]', '["2.5 kPa"]', '"2.5 kPa"', "[-2500, 2500]"],
    ),
    "sensors.meter_dp": (
        'part = "HSC"\nrange = ["-2.5 kPa", "2.5 kPa"]',
        {'part = "DLH"': {"part": "DLH", "range": None}},
        [],
    ),
}


def read_at(rig, key):
    """What the models have at a key of the file."""
    found = rig.model_dump(by_alias=True)
    for part in key.split("."):
        found = found[part]
    return found


@pytest.mark.parametrize(
    ("key", "old", "new", "value"),
    [
        (key, old, new, value)
        for key, (old, allowed, _) in GUARDS.items()
        for new, value in allowed.items()
    ],
)
def test_what_can_be_is_read_as_it_was_written(key, old, new, value):
    wanted = value if isinstance(value, str | dict) else pytest.approx(value, rel=1e-6)
    assert read_at(parse_rig(changed((old, new)), "unit.toml"), key) == wanted


@pytest.mark.parametrize(
    ("key", "old", "new"),
    [(key, old, new) for key, (old, _, refused) in GUARDS.items() for new in refused],
)
def test_what_cannot_be_is_refused_at_its_key(key, old, new):
    (fault,) = faults(changed((old, new)))
    assert f": {key}: " in fault


def test_the_engine_pickup_alone_needs_the_belt_ratio():
    engine_only = ("[pickups.blower_shaft]\nmarks_per_turn = 2\n", "")
    blower_only = ("[pickups.engine_shaft]\nmarks_per_turn = 1\n", "")
    no_ratio = ("belt_ratio = 1.25\n", "")
    assert parse_rig(changed(engine_only), "").machine.belt_ratio == 1.25
    assert parse_rig(changed(blower_only, no_ratio), "").machine.belt_ratio is None
    (fault,) = faults(changed(engine_only, no_ratio))
    assert fault.startswith("unit.toml line 18: machine: ")
    (fault,) = faults(changed(engine_only, ("[machine]\nbelt_ratio = 1.25\n", "")))
    assert fault.startswith("unit.toml: machine: ")
    (fault,) = faults(changed(engine_only, blower_only, ("[machine]", "[pickups]\n[machine]")))
    assert fault.startswith("unit.toml line 16: pickups: ")


def test_in_the_clean_pipe_there_is_no_inlet():
    (fault,) = faults(changed(('"port"', '"clean_pipe"')))
    assert fault.startswith("unit.toml line 10: meter.inlet_loss: ")
    parse_rig(changed(('"port"', '"clean_pipe"'), ("inlet_loss = 0.05\n", "")), "unit.toml")


@pytest.mark.parametrize(
    ("role", "fits", "does_not_fit"),
    [
        ("meter_dp", "MS4525DO", "LPS22HB"),
        ("ambient_air", "SHT4x", "HSC"),
        ("meter_air", "BMP280", "SHT3x"),
        ("blower_air", "LPS22HH", "MCP9600"),
        ("tank_air", "LPS22HB", "ABP2"),
        ("discharge_temperature", "MCP9600", "DLH"),
    ],
)
def test_a_part_must_measure_what_its_role_needs(role, fits, does_not_fit):
    old = '[sensors.meter_dp]\npart = "HSC"\nrange = ["-2.5 kPa", "2.5 kPa"]'
    parse_rig(changed((old, f'[sensors.{role}]\npart = "{fits}"')), "unit.toml")
    (fault,) = faults(changed((old, f'[sensors.{role}]\npart = "{does_not_fit}"')))
    assert fault.startswith(f"unit.toml line 22: sensors.{role}: {does_not_fit} measures no ")
    assert fits in fault


def test_only_differential_pressure_parts_have_ranges():
    (fault,) = faults(changed(("sensors.meter_dp", "sensors.ambient_air"), ('"HSC"', '"BME280"')))
    assert fault.startswith("unit.toml line 24: sensors.ambient_air.range: ")


def standard_pressure(altitude):
    """Pa, by the US Standard Atmosphere 1976 of fluids, there the same as ISO 2533:1975."""
    return ATMOSPHERE_1976(altitude).P


@pytest.mark.parametrize(
    ("altitude", "pressure", "says"),
    [
        (620, "94.1 kPa", None),
        (1800, "77.5 kPa", None),  # 81.494 kPa is standard there
        (1800, "85.4 kPa", None),
        (1800, "77.4 kPa", "cannot be"),
        (1800, "85.5 kPa", "cannot be"),
        (1800, "29.92 inHg", "sea-level"),
        (1800, "1030 hPa", "sea-level"),
        (2400, "94.1 kPa", "cannot be"),
        (500, "97 kPa", None),
        (500, "1008 hPa", "sea-level"),
        (310, "100.5 kPa", None),  # 2.8 kPa above standard: a strong high
        (310, "101.3 kPa", "sea-level"),  # within 4 kPa of standard, yet surely not measured
        (0, "101.3 kPa", None),
        (0, "104.5 kPa", None),
        (0, "94.1 kPa", "cannot be"),
    ],
)
def test_a_station_pressure_must_belong_to_the_altitude(altitude, pressure, says):
    text = changed(('"620 m"', f'"{altitude} m"'), ('"94.1 kPa"', f'"{pressure}"'))
    rig = parse_rig(text, "unit.toml")
    if says is None:
        check_station_pressure(rig, standard_pressure)
        assert rig.site.station_pressure == 1000 * float(pressure.removesuffix(" kPa"))
        return
    with pytest.raises(RigError, match=rf"^unit.toml line 13: site.station_pressure: .*{says}"):
        check_station_pressure(rig, standard_pressure)


def test_a_site_with_a_barometer_needs_no_station_pressure():
    rig = parse_rig(changed(('station_pressure = "94.1 kPa"\n', "")), "unit.toml")
    check_station_pressure(rig, standard_pressure)
    assert (rig.site.station_pressure, rig.site.altitude) == (None, 620.0)


def test_a_fault_found_later_still_names_the_line():
    rig = parse_rig(GOOD, "unit.toml")
    fault = rig_fault(rig, "sensors.meter_dp.range", "the board says otherwise")
    assert str(fault) == "unit.toml line 24: sensors.meter_dp.range: the board says otherwise"


def test_files(tmp_path):
    path = tmp_path / "unit.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())  # as some editors save
    assert load_rig(path).model_dump() == parse_rig(GOOD, "").model_dump()
    assert load_rig(str(path)).file == str(path)
    for content, part in [
        (b"", f"{path}: meter: this is missing"),
        (b'name = "x"\n# 20 \xb0C\n', f"{path} line 2: a character is not UTF-8"),
        (b"name = \0", f"{path}: this is a binary file"),
        (b"[meter]\nkind = venturi\n", f"{path} line 2: no TOML: invalid value"),
        (b"[meter\n", f"{path} line 1: no TOML: "),
        (b"\n\nname = '''", f"{path} line 3: no TOML: "),
        (b"a = " + b"[" * 100_000, f"{path}: its brackets are nested too deeply"),
    ]:
        path.write_bytes(content)
        with pytest.raises(RigError) as refusal:
            load_rig(path)
        assert str(refusal.value).startswith(part)
    with pytest.raises(RigError, match="there is no such file"):
        load_rig(tmp_path / "none.toml")
    with pytest.raises(RigError, match="this is a folder"):
        load_rig(tmp_path)
    with pytest.raises(RigError, match="cannot be read"):
        load_rig("no\0name")


@settings(max_examples=150, deadline=None)
@given(
    st.text()
    | st.lists(st.sampled_from(["[", "]", '"', "=", "meter", ".", "\n", "{", "1", ","])).map(
        "".join
    )
)
def test_no_text_raises_anything_but_a_rig_error(text):
    with pytest.raises(RigError):
        parse_rig(text, "unit.toml")


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_no_damage_to_a_good_file_raises_anything_but_a_rig_error(data):
    start = data.draw(st.integers(0, len(GOOD)))
    end = data.draw(st.integers(start, min(start + 30, len(GOOD))))
    junk = data.draw(st.text(max_size=5) | st.sampled_from(["0", "-", "[[a]]", "e99", "= {}", "'"]))
    refusal = ""
    try:
        rig = parse_rig(GOOD[:start] + junk + GOOD[end:], "unit.toml")
    except RigError as error:
        refusal = str(error)
    if refusal:
        assert all(line.startswith("unit.toml") for line in refusal.split("\n"))
    else:
        assert 0.2 <= rig.meter.beta <= 0.85
