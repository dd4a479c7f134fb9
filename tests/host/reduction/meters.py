"""Meters of every kind, as a rig file would give them."""

from pullcurve.rig.meter import Meter

KINDS = [
    "venturi",
    "venturi_as_cast",
    "venturi_machined",
    "venturi_welded",
    "orifice",
    "nozzle_isa_1932",
    "nozzle_long_radius",
    "venturi_nozzle",
    "bellmouth",
    "conical_inlet",
]
OPEN = {"bellmouth", "conical_inlet"}


def a_meter(kind: str, **keys: object) -> Meter:
    data: dict[str, object] = {"kind": kind, "position": "port", "throat_bore": "105 mm"}
    if kind not in OPEN:
        data["pipe_bore"] = "150 mm"
    if kind == "orifice":
        data["taps"] = "corner"
    return Meter.model_validate(data | keys)


def stated(kind: str, c: float = 0.975, **keys: object) -> Meter:
    return a_meter(
        kind,
        discharge_coefficient=c,
        discharge_coefficient_uncertainty="1.0 %",
        discharge_coefficient_source="certificate",
        **keys,
    )
