"""Figures of the sample logs that the golden file pins, under names of its own.

Everything here comes from `read_run`, `Run.points` and the JSON of `report`, `cut` and `compare`.
Where the product renames a field, its place here follows and the golden file stays as it is.
"""

import json
from collections.abc import Mapping, Sequence
from math import isnan
from pathlib import Path
from typing import Any, Final

from pullcurve.compare.comparison import comparison_of
from pullcurve.cut.result import cut_result
from pullcurve.cut.shift import read_cut
from pullcurve.diagnosis.diagnose import diagnose
from pullcurve.examine import Run
from pullcurve.report.from_run import result_of
from pullcurve.results import to_json

Figures = dict[str, Any]

ROOT: Final = Path(__file__).parents[2]
SAMPLES: Final = ROOT / "sample_logs"
GOLDEN: Final = Path(__file__).with_name("golden.json")
CUTS: Final = ("cut", "high_cut", "leak_cut")
DECIDING: Final = "deciding reading"
COMPARED: Final = ("healthy_sweep", "worn_sweep")

# Name in the golden file, and column of `Run.points` where that is another one.
_AT_POINTS: Final[dict[str, str]] = {
    **{
        name: name
        for name in (
            *("sweep", "hold", "start_s", "end_s", "speed_rpm", "speed_u95_rpm"),
            *("differential_pressure_pa", "differential_pressure_u95_pa", "scatter_pa"),
            *("ripple_pa2", "ripple_u_pa2", "pulsation_ratio"),
            *("pulsation_error", "pulsation_error_u95", "clipped_share"),
            *("ambient_pressure_pa", "ambient_temperature_k", "ambient_humidity"),
            *("tap_pressure_pa", "tap_temperature_k", "port_pressure_pa", "inlet_pressure_pa"),
            *("vacuum_blower_pa", "vacuum_blower_u95_pa"),
            *("vacuum_tank_pa", "vacuum_tank_u95_pa"),
            *("discharge_temperature_k", "reynolds_number"),
            *("flow_tap_m3_s", "flow_tap_u95_m3_s"),
            *("flow_port_m3_s", "flow_port_u95_m3_s"),
            *("flow_inlet_m3_s", "flow_inlet_u95_m3_s"),
            *("standard_flow_m3_s", "standard_flow_u95_m3_s"),
            *("mass_flow_kg_s", "mass_flow_u95_kg_s"),
        )
    },
    "eddies": "restlessness",
}


def figures_of(run: Run) -> Figures:
    """Of a run and its diagnosis."""
    said = _json(result_of(run, diagnose(run)))
    return {
        "points": _points(run)
        | {name: [point[name] for point in said["points"]] for name in _STATED_AT_POINTS},
        "findings": _findings(said),
        "zeros": _zeros(said),
        "records": {
            name: said["quality"][name]
            for name in ("records", "lost", "duplicated", "damaged", "board_starts", "samples")
        },
        **diagnosis_figures(said["diagnosis"]),
    }


_BAND: Final = ("standard_flow_m3_s", "standard_flow_low_m3_s", "standard_flow_high_m3_s")
_STATED_AT_POINTS: Final = ("withheld", "discharge_coefficient", "expansibility")


def _points(run: Run) -> Figures:
    """A row a quantity, those that are known at a point at least."""
    if run.points.empty:
        return {}
    return {
        name: [None if isnan(value) else value for value in run.points[column].tolist()]
        for name, column in _AT_POINTS.items()
        if run.points[column].notna().any()
    }


def _findings(said: Figures) -> Figures:
    return {
        "troubles": [
            {name: trouble[name] for name in ("kind", "subject", "consequence", "start_s", "end_s")}
            | {number["name"]: number["value"] for number in trouble["numbers"]}
            for trouble in said["troubles"]
        ],
        "remarks": [f"{remark['weight']}: {remark['subject']}" for remark in said["remarks"]],
        "remarks_at_points": [len(point["remarks"]) for point in said["points"]],
        "rejected": [[stretch["start_s"], stretch["end_s"]] for stretch in said["rejected"]],
    }


def _zeros(said: Figures) -> Figures:
    zeros = said["zeros"]
    return {
        "start_s": [zero["start_s"] for zero in zeros],
        "end_s": [zero["end_s"] for zero in zeros],
        "zero_pa": [zero["zero_pa"]["value"] for zero in zeros],
        "zero_u95_pa": [zero["zero_pa"]["u95"] for zero in zeros],
        "half_width_pa": said["zero_half_width_pa"],
    }


def diagnosis_figures(found: Figures) -> Figures:
    """Of a diagnosis: what is decided, how likely, and `sampled`, which stands on random
    samples of the machine."""
    causes = {cause["name"]: cause for cause in found["causes"]}
    return {
        "verdict": {
            "label": found["label"],
            "certain": found["certain"],
            "candidates": [
                {"causes": "+".join(each["causes"]) or "healthy", "places": each["places"]}
                for each in found["candidates"]
            ],
            "vetoed_by": found["vetoed_by"],
            "doubted": len(found["doubted"]),
            "deciding_reading": _chosen(found["deciding_reading"], ("name", "unit", "decides")),
        },
        "rated": {
            "ledger_point": found["ledger"] and found["ledger"]["point"],
            "speed_rpm": found["ledger"] and found["ledger"]["speed_rpm"],
            "engine_speed_rpm": found["engine_speed_rpm"],
            "rated_from": _chosen(
                found["ledger"] and found["ledger"]["rated_from"],
                ("speed_rpm", "flow_m3_s", "standard_flow_here_m3_s"),
            ),
        },
        "probabilities": {
            "verdict": found["probability"],
            "candidates": [each["probability"] for each in found["candidates"]],
            **{name: cause["probability"] for name, cause in causes.items()},
            **{
                f"{name}, {place}": share
                for name, cause in causes.items()
                for place, share in cause["places"].items()
            },
        },
        "sampled": {
            **_ledger(found["ledger"]),
            **{f"size, {name}": _ends(cause, "size") for name, cause in causes.items()},
            **_deciding(found["deciding_reading"]),
            **{
                f"healthy band, point {each['point']}": _chosen(each, _BAND)
                for each in found["healthy_band"]
            },
            **_spoil(found["spoil"]),
        },
    }


def _ledger(ledger: Figures | None) -> Figures:
    if ledger is None:
        return {}
    whole = ("rated", "healthy", "metered", "shortfall", "lost", "ahead_of_meter")
    return {
        "inlet": _chosen(ledger, ("inlet_pressure_pa",)),
        **{name: _step(ledger[name]) for name in whole},
        **{f"step, {each['name']}": _step(each) for each in ledger["steps"]},
        **{f"relieved, {each['name']}": _step(each) for each in ledger["relieved"]},
    }


def _step(step: Figures) -> Figures | None:
    """As volume, and as mass without the ends of its interval."""
    return _chosen(step, ("value_m3_s", "low_m3_s", "high_m3_s", "value_kg_s"))


def _ends(of: Figures, value: str = "value") -> Figures:
    """A value with the ends of its interval."""
    return {"value": of[value], "low": of["low"], "high": of["high"]}


def _deciding(reading: Figures | None) -> Figures:
    if reading is None:
        return {}
    parts = ("under_first", "under_second", "spread")
    return {f"{DECIDING}, {reading['name']}": _chosen(reading, parts)}


def _spoil(spoil: Figures | None) -> Figures:
    if spoil is None:
        return {}
    places = {f"velocity, {each['place']}": _ends(each["velocity_m_s"]) for each in spoil["places"]}
    return {"flow at the hose's end": _ends(spoil["flow_m3_s"]), **places}


def _chosen(of: Figures | None, names: Sequence[str]) -> Figures | None:
    return None if of is None else {name: of[name] for name in names}


def cut_figures(name: str) -> Figures:
    """Of a watched cut."""
    cut = read_cut(SAMPLES / f"{name}.runlog")
    said = _json(cut_result(cut))
    return {
        "alarms": [
            {
                "kind": alarm["kind"],
                "start_s": alarm["start_s"],
                "raised_s": alarm["spoken_s"],
                "end_s": alarm["end_s"],
                "size": alarm["size"],
                "size_u95": alarm["size_u95"],
                "certainty": alarm["sure"],
                "places": alarm["places"],
                "measured_by": alarm["measured_by"],
                "stays": alarm["stays"],
                "afterwards": alarm["seen_afterwards"],
                "forecast": alarm["forecast"],
            }
            for alarm in said["events"]
        ],
        "work_began_s": said["work_began_s"],
        "shift": said["shift"],
        "quiet_minutes": _points(cut.run),
    }


def compare_figures(runs: Sequence[Run]) -> Figures:
    """Of a later run against a first one: what is computed, and what is `sampled`."""
    (pair,) = _json(comparison_of(runs))["pairs"]
    quantities = ("mass_flow_kg_s", "standard_flow_m3_s", "flow_inlet_m3_s", "flow_open_air_m3_s")
    changes = ("mass_flow", "standard_flow", "flow_inlet", "flow_open_air")
    return {
        "pair": {
            **{name: pair[name] for name in ("same_meter", "moved", "baseline", "air")},
            "left_out": len(pair["left_out"]),
            "change": {name: pair[name] for name in changes},
            "speed_rpm": [each["speed_rpm"] for each in pair["speeds"]],
            "held_by": [each["held_by"] for each in pair["speeds"]],
            "at_speeds": {
                f"{quantity}, {part}": [each[quantity][part] for each in pair["speeds"]]
                for quantity in quantities
                for part in pair["speeds"][0][quantity]
            },
        },
        "certain": [each["name"] for each in pair["cause_changes"] if each["certain"]],
        "sampled": {
            f"{change['name']}, {which}": _ends(change[which])
            for change in pair["cause_changes"]
            for which in ("first", "later", "difference")
        },
    }


def _json(result: Any) -> Figures:
    """A result as its file would hold it."""
    return dict(json.loads(to_json(result)))


def read_golden() -> Mapping[str, Any]:
    return dict(json.loads(GOLDEN.read_text(encoding="utf-8")))
