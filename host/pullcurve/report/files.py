"""Writes the files of a report side by side, each whole or not at all."""

import csv
from collections.abc import Mapping
from io import StringIO
from pathlib import Path

from pullcurve.errors import ReportError
from pullcurve.measure.points import Flow, SettledPoint
from pullcurve.quantities import ZERO_CELSIUS, UnitSystem
from pullcurve.report.curve_figure import curve_figure
from pullcurve.report.drawing import png
from pullcurve.report.finding_words import withheld_because
from pullcurve.report.page import page
from pullcurve.report.pdf import pdf
from pullcurve.report.result import RunResult
from pullcurve.results import Quantity, to_json

Value = int | float | str | None

# The first bytes tell a report of ours from any other file, a run log above all.
_BEGINNINGS = {
    ".report.html": b"<!doctype html>",
    ".report.pdf": b"%PDF-",
    ".curve.png": b"\x89PNG",
    ".points.csv": b"point,",
    ".result.json": b"{",
    ".compare.html": b"<!doctype html>",
    ".compare.pdf": b"%PDF-",
    ".compare.csv": b"first_log,",
    ".compare.json": b"{",
    ".cut.html": b"<!doctype html>",
    ".cut.json": b"{",
}

_COLUMNS = (
    *("point", "sweep", "hold", "start_s", "end_s"),
    *("speed_rpm", "speed_u95_rpm"),
    *("differential_pressure_pa", "differential_pressure_u95_pa"),
    *("mass_flow_kg_s", "mass_flow_u95_kg_s"),
    *("standard_flow_m3_s", "standard_flow_u95_m3_s", "standard_flow_reference"),
    *("flow_tap_m3_s", "flow_tap_u95_m3_s", "flow_tap_basis"),
    *("flow_tap_pressure_pa", "flow_tap_temperature_c"),
    *("flow_port_m3_s", "flow_port_u95_m3_s", "flow_port_basis"),
    *("flow_port_pressure_pa", "flow_port_temperature_c"),
    *("flow_inlet_m3_s", "flow_inlet_u95_m3_s", "flow_inlet_basis"),
    *("flow_inlet_pressure_pa", "flow_inlet_temperature_c"),
    *("vacuum_blower_pa", "vacuum_blower_u95_pa"),
    *("vacuum_tank_pa", "vacuum_tank_u95_pa"),
    *("discharge_temperature_c", "pulsation_ratio", "pulsation_error", "pulsation_error_u95"),
    *("reynolds_number", "discharge_coefficient", "expansibility", "withheld", "remarks"),
)


def write_report(
    result: RunResult, units: UnitSystem, target: Path, *, with_pdf: bool = False
) -> list[Path]:
    """Write NAME.report.html, NAME.curve.png, NAME.points.csv and NAME.result.json.

    target: as in `write_files`, NAME being that of the run log without its suffix. with_pdf:
        write the page as NAME.report.pdf too.
    Page and picture are in `units`, the rest in SI. Returns the paths. Raises ReportError.
    """
    html = page(result, units)
    contents: dict[str, str | bytes] = {
        ".report.html": html,
        ".curve.png": png(curve_figure(result, units)),
        ".points.csv": points_csv(result),
        ".result.json": to_json(result),
    }
    if with_pdf:
        contents[".report.pdf"] = pdf(html, units)
    return write_files(contents, target, Path(result.provenance.log_name).stem or "run")


def write_files(contents: Mapping[str, str | bytes], target: Path, name: str) -> list[Path]:
    """Write each content to the file of its suffix; the suffixes are those of _BEGINNINGS.

    target: a folder that exists, where the files are called `name`, or the path up to and with
        their name.
    What is written can always be made again from its logs, so an older file of its kind is
    replaced; where any other file stands, it is left alone and nothing is written.
    Returns the paths. Raises ReportError.
    """
    if target.is_dir():
        target = target / name
    if not target.parent.is_dir():
        raise ReportError(f"{target.parent}: there is no such folder; make it first")
    paths = {suffix: target.with_name(target.name + suffix) for suffix in contents}
    for suffix, path in paths.items():
        _refuse_foreign(path, _BEGINNINGS[suffix])
    for suffix, content in contents.items():
        raw = content.encode("utf-8") if isinstance(content, str) else content
        _replace_whole(paths[suffix], raw)
    return list(paths.values())


def points_csv(result: RunResult) -> str:
    """The settled points in SI: one header row, the unit in each name, empty where unknown."""
    rows = [_row(point, result.reference_conditions) for point in result.points]
    text = StringIO()
    writer = csv.DictWriter(text, _COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def _row(point: SettledPoint, reference_conditions: str) -> dict[str, Value]:
    return {
        "point": point.point,
        "sweep": point.sweep,
        "hold": point.hold,
        "start_s": point.start_s,
        "end_s": point.end_s,
        **_quantity("speed", "rpm", point.speed_rpm),
        **_quantity("differential_pressure", "pa", point.differential_pressure_pa),
        **_quantity("mass_flow", "kg_s", point.mass_flow_kg_s),
        **_quantity("standard_flow", "m3_s", point.standard_flow_m3_s),
        "standard_flow_reference": reference_conditions,
        **_flow("flow_tap", point.flow_tap),
        **_flow("flow_port", point.flow_port),
        **_flow("flow_inlet", point.flow_inlet),
        **_quantity("vacuum_blower", "pa", point.vacuum_blower_pa),
        **_quantity("vacuum_tank", "pa", point.vacuum_tank_pa),
        "discharge_temperature_c": _celsius(point.discharge_temperature_k),
        "pulsation_ratio": point.pulsation_ratio,
        "pulsation_error": point.pulsation_error.value,
        "pulsation_error_u95": point.pulsation_error.u95,
        "reynolds_number": point.reynolds_number,
        "discharge_coefficient": point.discharge_coefficient,
        "expansibility": point.expansibility,
        "withheld": point.withheld and withheld_because(point.withheld),
        "remarks": "; ".join(point.remarks),
    }


def _quantity(name: str, unit: str, quantity: Quantity | None) -> dict[str, Value]:
    return {
        f"{name}_{unit}": None if quantity is None else quantity.value,
        f"{name}_u95_{unit}": None if quantity is None else quantity.u95,
    }


def _flow(name: str, flow: Flow | None) -> dict[str, Value]:
    return {
        f"{name}_m3_s": None if flow is None else flow.value_m3_s,
        f"{name}_u95_m3_s": None if flow is None else flow.u95_m3_s,
        f"{name}_basis": None if flow is None else flow.basis,
        f"{name}_pressure_pa": None if flow is None else flow.pressure_pa,
        f"{name}_temperature_c": None if flow is None else _celsius(flow.temperature_k),
    }


def _celsius(temperature_k: float | None) -> float | None:
    return None if temperature_k is None else temperature_k - ZERO_CELSIUS


def _refuse_foreign(path: Path, beginning: bytes) -> None:
    """Raises ReportError where a file stands that does not begin like one of ours."""
    try:
        with path.open("rb") as file:
            found = file.read(len(beginning))
    except FileNotFoundError:
        return
    except OSError as fault:
        raise ReportError(f"{path}: cannot be written: {fault.strerror}") from None
    if found != beginning:
        raise ReportError(
            f"{path}: there is a file of this name that is no report, and it is left alone; "
            "choose another name"
        )


def _replace_whole(path: Path, content: bytes) -> None:
    """Whole or not at all: a full disk leaves the older report as it was."""
    part = path.with_name(path.name + ".part")
    try:
        part.write_bytes(content)
        part.replace(path)
    except OSError as fault:
        part.unlink(missing_ok=True)
        raise ReportError(f"{path}: cannot be written: {fault.strerror}") from None
