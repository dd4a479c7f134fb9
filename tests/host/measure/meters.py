"""Meters of every kind, as a rig file would give them."""

from typing import get_args

from pullcurve.rig.meter import OPEN_INLETS, Meter, MeterKind

KINDS = get_args(MeterKind)


def a_meter(kind: str, **keys: object) -> Meter:
    data: dict[str, object] = {"kind": kind, "position": "port", "throat_bore": "105 mm"}
    if kind not in OPEN_INLETS:
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
