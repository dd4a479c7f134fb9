"""The run's figures for other programs: by the names of the glossary, in SI."""

from collections.abc import Iterable, Mapping
from typing import Final

from pullcurve.live.estimator import Now, Reading
from pullcurve.live.words import Check, Way

# What each is, as the help text of a metric.
MEANINGS: Final = {
    "standard_flow_m3_s": "Standard flow through the meter (101325 Pa, 20 C, dry), m3/s",
    "standard_flow_u95_m3_s": "Half-width of its 95 % interval, m3/s",
    "speed_rpm": "Speed of the blower, rev/min",
    "differential_pressure_pa": "Differential pressure of the meter, zero taken off, Pa",
    "ambient_pressure_pa": "Absolute pressure of the open air, Pa",
    "ambient_temperature_k": "Temperature of the open air, K",
    "vacuum_blower_pa": "Station pressure less that at the blower's inlet, Pa",
    "zero_pa": "The differential-pressure sensor's zero, Pa",
    "settled_s": "For how long speed and flow have been settled, s",
    "elapsed_s": "Time since the log's first bytes, s",
    "board_answers": "1 while the board answers, else 0",
    "records_total": "Records received",
    "records_lost_total": "Records that never came",
}
_GRADES: Final = {"fine": 0, "doubt": 1, "spoilt": 2}

Figures = Mapping[str, float]


def figures(now: Now, reading: Reading | None, way: Way) -> Figures:
    """What is known now; what is not is left out."""
    answers = not (way.gone or way.ended or way.fault or way.is_silent)
    found: dict[str, float | None] = {
        "elapsed_s": way.elapsed_s,
        "board_answers": float(answers),
        "records_total": now.received,
        "records_lost_total": now.lost,
        "zero_pa": now.zero_pa,
        "ambient_pressure_pa": now.ambient_pressure_pa,
        "ambient_temperature_k": now.ambient_temperature_k,
    }
    if answers and reading is not None:
        found |= {
            "standard_flow_m3_s": reading.standard_flow_m3_s,
            "standard_flow_u95_m3_s": now.standard_flow_u95_m3_s,
            "speed_rpm": reading.speed_rpm,
            "differential_pressure_pa": reading.differential_pressure_pa,
            "vacuum_blower_pa": now.vacuum_blower_pa,
            "settled_s": now.for_s if now.state == "settled" else 0.0,
        }
    return {name: float(found[name] or 0) for name in MEANINGS if found.get(name) is not None}


def metrics(known: Figures, checks: Iterable[Check], rig: str) -> str:
    """The figures as Prometheus reads them (its text format 0.0.4, from memory)."""
    label = rig.replace("\\", r"\\").replace('"', r"\"").replace("\n", r"\n")
    lines = []
    for name, value in known.items():
        kind = "counter" if name.endswith("_total") else "gauge"
        lines += [
            f"# HELP pullcurve_{name} {MEANINGS[name]}",
            f"# TYPE pullcurve_{name} {kind}",
            f'pullcurve_{name}{{rig="{label}"}} {value!r}',
        ]
    lines += [
        "# HELP pullcurve_check The worst grade of a check: 0 fine, 1 doubt, 2 spoilt",
        "# TYPE pullcurve_check gauge",
    ]
    worst: dict[str, int] = {}
    for check in checks:
        worst[check.name] = max(worst.get(check.name, 0), _GRADES[check.grade])
    lines += [
        f'pullcurve_check{{rig="{label}",name="{name}"}} {grade}' for name, grade in worst.items()
    ]
    return "\n".join(lines) + "\n"
