"""The flow ledger as a bill: what each line is called, its amount, its interval, its bar. Light."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from pullcurve.diagnosis.result import FlowLedger, LedgerStep
from pullcurve.measure.points import Flow, SettledPoint
from pullcurve.quantities import DisplayUnit, UnitSystem
from pullcurve.report.result import RunResult
from pullcurve.report.sentences import point_name, shown_flow, shown_range, shown_temperature, told
from pullcurve.results import Interval
from pullcurve.rounding import Ranged, adding_up, rounded, significant, text

_SPAN: Final = 1000  # a bar's whole width
ITEMS: Final = {
    "governor": "speed that the engine does not reach",
    "belt": "belt slip",
    "slip": "slip of any blower of this kind at this pressure ratio",
    "wear": "slip beyond that: wear",
    "leak_behind": "air that comes in {behind}",
    "wear_and_leak_behind": "wear, or air that comes in {behind}: no reading here parts them",
    "leak_ahead": "air that comes in ahead of the filter: hose, tank, door (A)",
}
_BEHIND: Final = {
    "clean_pipe": "behind the meter: relief valve, last joint (C)",
    "open": "behind the filter: its lid, relief valve, last joint (B, C)",
}
_METER: Final = {
    "port": "flow that enters at the port, where the meter stands",
    "hose_end": "flow that enters at the hose's far end, where the meter stands",
    "clean_pipe": "flow through the clean pipe, where the meter stands",
}
_RELIEVED: Final = {
    "clean_filter": "with a filter in good order",
    "clear_intake": "with hose and port clear",
    "open_port": "with the hose off, through the open port",
}


@dataclass(frozen=True)
class Bar:
    """Ends of the bar and of its interval's whisker, in thousandths of the width."""

    start: float
    end: float
    low: float
    high: float


@dataclass(frozen=True)
class BillLine:
    """`kind`: total; unavoidable, a step that any machine has here; loss, one that need not be."""

    kind: str
    sign: str
    item: str
    amount: Ranged
    interval: str
    bar: Bar


def bill(result: RunResult, ledger: FlowLedger, units: UnitSystem) -> list[BillLine]:
    """The ledger from the rated flow down to what was measured, in volume at the blower's inlet."""
    unit, position = units.volume_flow, result.meter.position
    width = ledger.shortfall.volume.half
    totals = (ledger.rated, ledger.healthy, ledger.metered)
    most = max(step.high_m3_s for step in totals)

    shown = shown_amounts(ledger, unit)

    def place(value_m3_s: float) -> float:
        return round(_SPAN * min(max(value_m3_s / most, 0.0), 1.0), 1)

    def line(kind: str, sign: str, item: str, step: LedgerStep, start: float) -> BillLine:
        """A total's bar starts at nothing; a step's goes down from where the last one ended."""
        volume = step.volume
        end, *interval = (
            place(value if kind == "total" else start - value)
            for value in (volume.value, volume.low, volume.high)
        )
        whiskers = Bar(place(start), end, min(interval), max(interval))
        amount = shown_range(volume, unit, width)._replace(value=text(shown[step.name]))
        words = "as stated" if step is ledger.rated else f"{amount.low} to {amount.high}"
        return BillLine(kind, sign, item, amount, words, whiskers)

    lines = [line("total", "", f"rated flow: {ledger.rated_from.source}", ledger.rated, 0.0)]
    left = ledger.rated.value_m3_s
    for step in ledger.steps:
        kind = "unavoidable" if step.name == "slip" else "loss"
        lines.append(line(kind, "−", item_words(step.name, position), step, left))
        left -= step.value_m3_s
        if step.name == "slip":
            words = f"what a blower in good order would take in here, at {ledger.speed_rpm:.0f} rpm"
            lines.append(line("total", "=", words, ledger.healthy, 0.0))
    lines.append(line("total", "=", _METER[position], ledger.metered, 0.0))
    return lines


def shown_amounts(ledger: FlowLedger, unit: DisplayUnit) -> dict[str, Decimal]:
    """What is printed of each step, by its name: the steps lead from total to total."""
    width = unit.difference_from_si(ledger.shortfall.volume.half)
    totals = (ledger.rated, ledger.healthy, ledger.metered)
    cut = [step.name for step in ledger.steps].index("slip") + 1
    shown = {step.name: rounded(unit.from_si(step.value_m3_s), width) for step in totals}
    for steps, start, end in (
        (ledger.steps[:cut], ledger.rated, ledger.healthy),
        (ledger.steps[cut:], ledger.healthy, ledger.metered),
    ):
        *values, first, last = (unit.from_si(step.value_m3_s) for step in (*steps, start, end))
        parts = adding_up(values, first, last, width)
        shown |= {step.name: part for step, part in zip(steps, parts, strict=True)}
    return shown | {
        "shortfall": shown["rated"] - shown["metered"],
        "lost": shown["healthy"] - shown["metered"],
    }


def as_billed(ledger: FlowLedger, step: LedgerStep, unit: DisplayUnit) -> Ranged:
    """A total, or what lies between two, with its interval, in the figures of the bill."""
    shown = shown_range(step.volume, unit, ledger.shortfall.volume.half)
    return shown._replace(value=text(shown_amounts(ledger, unit)[step.name]))


def item_words(name: str, position: str) -> str:
    return ITEMS[name].format(behind=_BEHIND.get(position, _BEHIND["open"]))


def _judged(result: RunResult, ledger: FlowLedger) -> SettledPoint:
    return next(point for point in result.points if point.point == ledger.point)


def inlet_state(ledger: FlowLedger, units: UnitSystem) -> str:
    pressure, temperature = units.station_pressure, units.temperature
    return (
        f"{significant(pressure.from_si(ledger.inlet_pressure_pa), 3)} {pressure.label} absolute, "
        f"{shown_temperature(ledger.inlet_temperature_k, temperature)} {temperature.label}"
    )


def ledger_title(result: RunResult, ledger: FlowLedger, units: UnitSystem) -> str:
    name = point_name(_judged(result, ledger), result.points)
    return (
        f"{units.volume_flow.label} at the blower's inlet, in the air there "
        f"({inlet_state(ledger, units)}), at hold {name}"
    )


def ledger_caption(result: RunResult, ledger: FlowLedger, units: UnitSystem) -> str:
    """What to conclude from the bill, in its figures."""
    unit = units.volume_flow
    shown = shown_amounts(ledger, unit)
    said = (
        f"Of the rated flow {as_billed(ledger, ledger.shortfall, unit)} {unit.label} are missing: "
        f"{text(shown['governor'] + shown['belt'])} because the blower turns slower than "
        f"rated, {text(shown['slip'])} by the slip that any blower of this kind has at this "
        f"pressure ratio, and {as_billed(ledger, ledger.lost, unit)} {unit.label} that a "
        "blower in good order would move here. "
    )
    return said + measured_beside(result, ledger, units)


def measured_beside(result: RunResult, ledger: FlowLedger, units: UnitSystem) -> str:
    """How the ledger's foot stands to the meter's own reading."""
    flow: Flow | None = _judged(result, ledger).flow_inlet
    unit = units.volume_flow
    if flow is None:
        return ""
    beside = (
        "The foot weighs all readings of the run together; the meter alone says "
        f"{told(shown_flow(flow, unit), unit)} for the same air at that hold"
    )
    off = abs(flow.value_m3_s - ledger.metered.value_m3_s)
    if off > flow.u95_m3_s:
        return f"{beside}, which is farther off than its interval: look at the meter first."
    return f"{beside}."


def ahead_sentence(ledger: FlowLedger, units: UnitSystem) -> str:
    """What a meter in the clean pipe counted that did not come through the hose."""
    ahead, unit = ledger.ahead_of_meter, units.volume_flow
    if ahead.high_m3_s <= 0:
        return ""
    shown = shown_range(ahead.volume, unit)
    return (
        f"Of what the meter saw, {shown} {unit.label} came in unasked ahead of it: the nozzle has "
        "that much less."
    )


def reference_sentence(ledger: FlowLedger, units: UnitSystem) -> str:
    """What the sheet's reference conditions hid, in one line."""
    rated, unit = ledger.rated_from, units.volume_flow
    pressure, temperature = units.station_pressure, units.temperature
    flow, there, here = (
        significant(unit.from_si(value), 3)
        for value in (
            rated.flow_m3_s,
            rated.standard_flow_there_m3_s,
            rated.standard_flow_here_m3_s,
        )
    )
    less = 1 - rated.standard_flow_here_m3_s / rated.standard_flow_there_m3_s
    state = (
        f"{significant(pressure.from_si(rated.sheet_pressure_pa), 3)} {pressure.label}, "
        f"{shown_temperature(rated.sheet_temperature_k, temperature)} {temperature.label}"
    )
    words = "less" if less >= 0 else "more"
    return (
        f"What the reference conditions hid: the rated {flow} {unit.label} at the blower's inlet "
        f"are in the sheet's air ({state}) {there} {unit.label} of standard flow; the same volume "
        f"of the air here is {here}, that is {abs(100 * less):.0f} % {words} air with nothing worn."
    )


def relieved_rows(
    result: RunResult, ledger: FlowLedger, units: UnitSystem
) -> list[tuple[str, Ranged, str]]:
    """What the same machine would move with one restriction gone: standard flow, and the gain."""
    point, unit = _judged(result, ledger), units.volume_flow
    if point.mass_flow_kg_s is None or point.standard_flow_m3_s is None:
        return []
    per_kg = point.standard_flow_m3_s.value / point.mass_flow_kg_s.value
    rows = [("as it was", ledger.metered), *((_RELIEVED[s.name], s) for s in ledger.relieved)]
    found = []
    for words, step in rows:
        kg = step.mass
        standard = Interval(value=kg.value * per_kg, low=kg.low * per_kg, high=kg.high * per_kg)
        more = 100 * (kg.value / ledger.metered.value_kg_s - 1)
        change = f"{more:+.0f} %".replace("-", "−") if step is not ledger.metered else ""
        found.append((words, shown_range(standard, unit), change))
    return found
