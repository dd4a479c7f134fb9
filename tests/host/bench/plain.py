"""The invented machine without frills, for tests that change one thing."""

from typing import Any

from pullcurve.bench.scenario import Scenario


def scenario(**changes: Any) -> Scenario:
    """Dry air, steady engine, a meter of small loss.

    A change is named by its path, parts joined by two underscores.
    """
    table: dict[str, Any] = {
        "name": "plain",
        "seed": 1,
        "duration_s": 60.0,
        "start": "2025-09-16T10:10:00-04:00",
        "site": {
            "altitude_m": 0.0,
            "pressure_pa": 101325.0,
            "temperature_k": 293.15,
            "humidity": 0.0,
        },
        "machine": {
            "engine": {
                "idle_rpm": 500.0,
                "governed_rpm": 4000.0,
                "lag_s": 0.5,
                "throttle": [[0.0, 2400.0], [60.0, 2400.0]],
            },
            "belt_ratio": 1.0,
            "blower": {"displacement_m3": 0.0160, "slip_speed_rpm": 115.0, "warm_up_s": 1.0},
            "filter": {"linear_pa_s_m3": 2440.0},
            "tank_volume_m3": 5.0,
            "port_bore_m": 0.127,
            "port_loss": 1e-6,
            "clean_pipe_loss": 2.5,
            "leaks": {"a_m2": 60e-6},
            "hose": {"length_m": 21.336, "bore_m": 0.127, "friction_factor": 0.03, "loss": 1.4},
        },
        "meter": {
            "position": "hose_end",
            "pipe_bore_m": 0.1446,
            "throat_bore_m": 0.0983,
            "discharge_coefficient": 0.98,
            "inlet_loss": 0.05,
            "recovery_loss": 0.2,
        },
        "sensors": [{"role": "meter_dp", "part": "HSC", "address": 0x28}],
        "pickups": [{"role": "blower_shaft", "marks": 2}],
    }
    for path, value in changes.items():
        *way, key = path.split("__")
        place = table
        for part in way:
            place = place.setdefault(part, {})
        place[key] = value
    return Scenario.model_validate(table)
