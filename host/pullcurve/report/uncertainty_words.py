"""What the interval is made of and what would make it smaller, in words."""

from typing import Final

from pullcurve.measure.inputs import Source
from pullcurve.measure.points import Flow, SettledPoint
from pullcurve.quantities import UnitSystem
from pullcurve.report.inputs_in_words import REACHES, best_remedy, input_words
from pullcurve.report.result import RunResult
from pullcurve.report.sentences import fastest, shown, slowest, told
from pullcurve.rounding import NO_BREAK, percent

_NORMAL_95: Final = 1.96
_WORTH_SAYING: Final = 0.1  # of a variance
# Place, its flow, the role of the sensor there, and the inputs that the sensor does away with.
_MODELLED: Final = (
    (
        "the machine's port",
        "flow_port",
        "tank_air",
        (Source.LOSSES_PORT, Source.SHARE_PORT, Source.METER_LOSS),
    ),
    ("the blower's inlet", "flow_inlet", "blower_air", (Source.LOSSES_INLET, Source.METER_LOSS)),
)


def has_budget(result: RunResult) -> bool:
    """Whether a flow is stated of which parts of the interval can be told in per cent."""
    ends = [f(result.stated) for f in (fastest, slowest)] if result.stated else []
    return bool(ends) and all(point.budget and point.standard_flow.value > 0 for point in ends)


def uncertainty_sentences(result: RunResult, units: UnitSystem) -> list[str]:
    """How well the flow is known, what dominates, and what would sharpen it most."""
    points = result.stated
    if not points:
        return []
    top, bottom = fastest(points), slowest(points)
    flow, unit = top.standard_flow, units.volume_flow
    sentence = (
        "The ± is a 95 % interval: in nineteen cases of twenty the true value lies in it. At the "
        f"fastest hold the standard flow is {told(shown(flow, unit), unit)}"
    )
    if not has_budget(result):
        return [f"{sentence}."]
    sentences = [f"{sentence}, that is {_relative(top)}.", _largest(top)]
    if bottom is not top:
        sentences.append(f"At the slowest hold it is {_relative(bottom)}. {_largest(bottom)}")
    sentences.append(_sharpest(top, bottom))
    sentences.append(_shared(top))
    return [*sentences, *_modelled(top)]


def _relative(point: SettledPoint, left: float = 1.0) -> str:
    """The interval in per cent of the flow, with this much of its variance left."""
    flow = point.standard_flow
    return f"±{NO_BREAK}{percent(flow.u95 / flow.value * max(0.0, left) ** 0.5)}"


def _largest(point: SettledPoint) -> str:
    largest = point.budget[0]
    return (
        f"The largest part there: {input_words(largest.source)}, with {percent(largest.share)} of "
        f"the variance, common to {REACHES[largest.shared]}."
    )


def _sharpest(top: SettledPoint, bottom: SettledPoint) -> str:
    remedy, share = best_remedy(top.budget)
    other, other_share = best_remedy(bottom.budget)
    if max(share, other_share) < _WORTH_SAYING:
        return "No single step would sharpen it much."
    said = (
        f"What would sharpen it most: {remedy.words}. At best {_relative(top)} would become "
        f"{_relative(top, 1 - share)}"
    )
    if bottom is top:
        return f"{said}."
    if other is remedy:
        return (
            f"{said}, and at the slowest hold {_relative(bottom)} would become "
            f"{_relative(bottom, 1 - other_share)}."
        )
    return (
        f"{said}. At the slowest hold {other.words} would do more: {_relative(bottom)} would "
        f"become {_relative(bottom, 1 - other_share)}."
    )


def _shared(point: SettledPoint) -> str:
    of_meter = sum(part.share for part in point.budget if part.shared == "meter")
    return (
        f"Of the interval at the fastest hold, {_relative(point, of_meter)} belongs to the meter: "
        "more holds do not make it smaller, and it drops out when two runs with this meter are "
        f"compared. {_relative(point, 1 - of_meter)} belongs to this run alone."
    )


def _modelled(point: SettledPoint) -> list[str]:
    """What a sensor at a place would bring to the flow there, where it would bring much."""
    said = []
    for place, name, role, inputs in _MODELLED:
        flow: Flow | None = getattr(point, name)
        if flow is None or flow.basis == "measured" or flow.value_m3_s <= 0:
            continue
        shared = flow.shared_inputs.run | flow.shared_inputs.meter
        part = _NORMAL_95 * sum(shared.get(each, 0.0) ** 2 for each in inputs) ** 0.5
        share = (part / flow.u95_m3_s) ** 2 if flow.u95_m3_s else 0.0
        if share > _WORTH_SAYING:
            whole = flow.u95_m3_s / flow.value_m3_s
            said.append(
                f"The flow at {place} is known to ±{NO_BREAK}{percent(whole)}, because the "
                f"pressure there is modelled. An absolute-pressure sensor there (role {role}) "
                f"would bring about ±{NO_BREAK}{percent(whole * max(0.0, 1 - share) ** 0.5)}."
            )
    return said
