"""The data sheet in a CSV file of its own: what people and spreadsheets make of one."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from host.rig.good_rig import SHEET, changed
from pullcurve.errors import RigError
from pullcurve.rig.loading import load_rig, parse_rig, rig_fault
from pullcurve.rig.sheet_file import read_sheet

ROWS = [[2750, 0, 1555], [2750, 8, 1405.5], [1400, 8, 640]]
PLAIN = "speed,vacuum,flow\n2750,0,1555\n2750,8,1405.5\n1400,8,640\n"
IN_A_FILE = SHEET.replace(SHEET.splitlines()[-1], 'table = "sheet.csv"')


def written(folder: Path, content: str | bytes) -> Path:
    path = folder / "sheet.csv"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


@pytest.mark.parametrize(
    "content",
    [
        PLAIN,
        "\ufeff" + PLAIN.replace("\n", "\r\n"),  # as a spreadsheet saves "CSV UTF-8"
        PLAIN.replace("\n", "\r"),
        PLAIN.rstrip("\n"),
        PLAIN.replace(",", " , ").replace("speed", "Speed"),
        PLAIN.replace("2750,8,1405.5", '"2750","8","1405.5"'),
        "# from the maker's sheet\n\n" + PLAIN.replace("\n1400", "\n\n  # slow\n,,\n1400"),
        PLAIN.replace("\n", ",,\n"),
        PLAIN.replace("1405.5", "1405.50").replace("1555", "1555."),
    ],
)
def test_what_is_read(tmp_path: Path, content: str) -> None:
    sheet = read_sheet(written(tmp_path, content))
    assert sheet.rows == ROWS


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("", r"sheet.csv: there is no figure in it; wanted the heading speed,vacuum,flow"),
        ("speed,vacuum,flow\n", r"sheet.csv: there is no figure in it"),
        ("# only words\n", r"sheet.csv: there is no figure in it"),
        ("speed,vacum,flow\n1,2,3\n", r"sheet.csv line 1: 'speed,vacum,flow' is no heading"),
        ("vacuum,speed,flow\n", r"sheet.csv line 1: .*wanted the heading speed,vacuum,flow"),
        ("2750,0,1555\n", r"sheet.csv line 1: '2750,0,1555' is no heading"),
        ("speed,0,4,8\n2750,1555,1455,1405\n", r"line 1: .*below it one printed figure a line"),
        ("speed;vacuum;flow\n2750;8;1405,5\n", r"line 1: here semicolons part the figures"),
        ("speed\tvacuum\tflow\n", r"line 1: here tabs part the figures"),
        (PLAIN.replace("0,1555", "0,1,555"), r"line 2: wanted 3 figures.* here are 4 \(a decimal"),
        (PLAIN.replace("1555", '"1,555"'), r"line 2: '1,555' is no flow: .*no thousands mark"),
        (PLAIN.replace("1405.5", '"1405,5"'), r"line 3: '1405,5' is no flow: .*decimal point"),
        (PLAIN.replace(",1405.5", ","), r"line 3: .* here are 2; a figure that the sheet leaves"),
        (PLAIN.replace("2750,0", "2750 rpm,0"), r"line 2: '2750 rpm' is no speed: .*no unit"),
        (PLAIN.replace("1405.5", "14055e-1"), r"line 3: '14055e-1' is no flow"),
        (PLAIN.replace("1405.5", "nan"), r"line 3: 'nan' is no flow"),
        (PLAIN.replace("1405.5", "9" * 400), r"line 3: .*is no flow"),
        (b"speed,vacuum,flow\n# 20 \xb0C\n", r"line 2: a character is not UTF-8"),
        (PLAIN.encode("utf-16"), r"sheet.csv: this is a binary file, not a data sheet"),
    ],
)
def test_what_is_refused(tmp_path: Path, content: str | bytes, says: str) -> None:
    with pytest.raises(RigError, match=says):
        read_sheet(written(tmp_path, content))


def test_all_faulty_lines_are_told_at_once(tmp_path: Path) -> None:
    path = written(tmp_path, "speed,vacuum,flow\n2750;0;1555\n2750,8,1405\n2750,12,ninety\n")
    with pytest.raises(RigError) as refusal:
        read_sheet(path)
    assert [line.split(": ")[0] for line in str(refusal.value).splitlines()] == [
        f"{path} line 2",
        f"{path} line 4",
    ]


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=60) | st.text("0123456789.,;\n\"'#- \tspedvacumflow", max_size=80))
def test_no_text_raises_anything_but_a_rig_error(
    tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    path = written(tmp_path_factory.mktemp("csv"), text.encode("utf-8", "replace"))
    for content in (text, PLAIN + text):
        path.write_bytes(content.encode("utf-8", "replace"))
        sheet, said = None, str(path)
        try:
            sheet = read_sheet(path)
        except RigError as refusal:
            said = str(refusal)
        assert str(path) in said
        if sheet is not None:
            kept = tomllib.loads(f"rows = {sheet.as_toml}")
            assert kept == {"rows": sheet.rows}


def loaded(folder: Path, sheet: str | bytes | None, table: str = IN_A_FILE) -> str:
    """The text of a rig beside a data sheet, as a log would keep it."""
    if sheet is not None:
        written(folder, sheet)
    rig = folder / "unit.toml"
    rig.write_text(changed(("[sensors", table + "[sensors")), encoding="utf-8")
    return load_rig(rig).text


def test_a_log_keeps_the_rows_and_the_comments_of_the_file(tmp_path: Path) -> None:
    text = loaded(tmp_path, "# maker's sheet of 2019\n" + PLAIN)
    (tmp_path / "sheet.csv").unlink()
    rig = parse_rig(text, "the rig in a log")
    assert rig.machine.blower.rating.rows == ((2750, 0, 1555), (2750, 8, 1405.5), (1400, 8, 640))
    assert "# maker's sheet of 2019" in text
    assert 'table = "sheet.csv"' not in text


@pytest.mark.parametrize(
    "table",
    [
        IN_A_FILE.replace('table = "sheet.csv"', "  'table'='sheet.csv' # the sheet"),
        '[machine.blower]\nrating.table = "sheet.csv"\nrating.basis = "inlet"\n'
        'rating.flow_unit = "cfm"\nrating.vacuum_unit = "inHg"\n',
        '[machine.blower]\nrating = { basis = "inlet", flow_unit = "cfm", table = """sheet.csv""", '
        'vacuum_unit = "inHg" }\n',
    ],
)
def test_however_toml_writes_the_name_the_rows_take_its_place(tmp_path: Path, table: str) -> None:
    text = loaded(tmp_path, PLAIN, table)
    rig = parse_rig(text, "the rig in a log")
    assert rig.machine.blower.rating.rows == ((2750, 0, 1555), (2750, 8, 1405.5), (1400, 8, 640))
    assert text.count("sheet.csv") == 1  # says where the rows came from


@pytest.mark.parametrize(
    ("sheet", "table", "says"),
    [
        (None, IN_A_FILE, r"unit.toml line 26: machine.blower.rating.table: there is no file"),
        (PLAIN, IN_A_FILE + "rows = [[2750, 0, 1555]]\n", r"line 26: .*take one of the two out"),
        (PLAIN, IN_A_FILE.replace('"sheet.csv"', "7"), r"line 26: .*the name of a file in quotes"),
        (PLAIN, IN_A_FILE.replace("sheet.csv", "."), r"line 26: .*there is no file"),
        (PLAIN, IN_A_FILE.replace("sheet.csv", "a\\u0000b"), r"line 26: .*there is no file"),
        (
            PLAIN.replace("1405.5", "1575"),
            IN_A_FILE,
            r"^\S*sheet.csv line 3: 2750 rpm, 8 inHg: 1575",
        ),
        (PLAIN.replace("2750,8", "2750,-8"), IN_A_FILE, r"^\S*sheet.csv line 3: a vacuum of -8"),
        (
            PLAIN.replace("1555", "1555 cfm"),
            IN_A_FILE.replace('"inlet"', '"outlet"'),
            r"(?s)unit.toml line 23: machine.blower.rating.basis: .*sheet.csv line 2: '1555 cfm'",
        ),
    ],
)
def test_faults_name_the_line_of_the_file_that_they_are_in(
    tmp_path: Path, sheet: str | None, table: str, says: str
) -> None:
    with pytest.raises(RigError, match=says):
        loaded(tmp_path, sheet, table)


def test_a_rig_from_a_log_cannot_name_a_file() -> None:
    with pytest.raises(RigError, match=r"figures of sheet\.csv are not at hand here"):
        parse_rig(changed(("[sensors", IN_A_FILE + "[sensors")), "the rig in a log")


def test_later_faults_name_the_lines_that_the_person_wrote(tmp_path: Path) -> None:
    loaded(tmp_path, PLAIN)
    rig = load_rig(tmp_path / "unit.toml")
    assert "line 27: sensors.meter_dp" in str(rig_fault(rig, "sensors.meter_dp", "words"))
