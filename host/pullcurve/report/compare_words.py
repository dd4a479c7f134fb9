"""A comparison in words, for page and terminal. Light, as `sentences`."""

from typing import Final

from pullcurve.compare.result import (
    Change,
    ComparedRun,
    Comparison,
    HoseCost,
    Pair,
)
from pullcurve.quantities import DisplayUnit, UnitSystem
from pullcurve.report.compare_tables import (
    absolute_change,
    highest,
    lowest,
    percent_range,
    relative_change,
)
from pullcurve.results import Interval
from pullcurve.rig.meter import POSITION_WORDS
from pullcurve.rounding import NO_BREAK, counted, measured, percent, ranged, significant

_SPEEDS_ALIKE: Final = 0.01
_AIR_WORTH_SAYING: Final = 0.001
_MISSING: Final = {
    "vacuum_port_run": "the vacuum at the blower was not measured in the run on the port",
    "vacuum_hose_run": "the vacuum at the blower was not measured in the run with the hose",
    "blower": "the rig says nothing of the blower",
}


def title(said: Comparison) -> str:
    later = " and ".join(_name(said, pair.later) for pair in said.pairs)
    return f"{later} against {_name(said, 1)}"


def headlines(said: Comparison, units: UnitSystem) -> list[str]:
    """A sentence for each pair: at the highest common speed, the change and whether it is one."""
    return [_headline(said, pair, units) for pair in said.pairs]


def _headline(said: Comparison, pair: Pair, units: UnitSystem) -> str:
    first, later = said.runs[0], said.runs[pair.later - 1]
    faster = highest(later) / highest(first) - 1
    leads = " ".join([_at_top(said, pair, units), *_unlike(said, pair)[:1]])
    if abs(faster) < _SPEEDS_ALIKE:
        return leads
    way = "slower" if faster < 0 else "faster"
    return (
        f"{leads} The fastest hold of {_name(said, pair.later)}, at {_rpm(highest(later))}, is "
        f"{_percent(abs(faster))} {way} than that of {_name(said, 1)}."
    )


def _at_top(said: Comparison, pair: Pair, units: UnitSystem) -> str:
    top, unit = pair.speeds[-1], units.volume_flow
    flow = top.standard_flow_m3_s
    if abs(flow.difference) <= flow.u95:
        return (
            f"At {_rpm(top.speed_rpm)} {_name(said, pair.later)} shows no change of the flow "
            f"against {_name(said, 1)}: the difference, {absolute_change(flow, unit)} {unit.label} "
            "of standard air, is within its own uncertainty."
        )
    less = "less" if flow.difference < 0 else "more"
    amount = measured(
        unit.difference_from_si(abs(flow.difference)), unit.difference_from_si(flow.u95)
    )
    return (
        f"At {_rpm(top.speed_rpm)} {_name(said, pair.later)} moves {amount}{NO_BREAK}"
        f"{unit.label} {less} standard air than {_name(said, 1)}: {relative_change(flow)}"
        f"{NO_BREAK}%, more than the uncertainty of the comparison."
    )


def sentences(said: Comparison, pair: Pair, units: UnitSystem) -> list[str]:
    """What the figures of a pair mean."""
    return [
        _mean(pair),
        *_not_common(said, pair),
        _cancels(said, pair),
        _air(said, pair),
        *_unlike(said, pair)[1:],
        *_own_tops(said, pair, units),
    ]


def _mean(pair: Pair) -> str:
    change = pair.standard_flow
    verdict = (
        "more than the uncertainty"
        if change.certain
        else "within the uncertainty: no change is shown"
    )
    return (
        f"On the mean of {counted(len(pair.speeds), 'common speed')} the standard flow changes by "
        f"{_told(change)}; that is {verdict}."
    )


def _not_common(said: Comparison, pair: Pair) -> list[str]:
    low, high = pair.speeds[0].speed_rpm, pair.speeds[-1].speed_rpm
    span = _rpm(high) if low == high else f"{low:.0f} to {_rpm(high)}"
    own = [
        f"{_name(said, number)} holds speeds from {lowest(run):.0f} to {_rpm(highest(run))}"
        for number, run in ((1, said.runs[0]), (pair.later, said.runs[pair.later - 1]))
    ]
    found = [
        f"Compared at {span}: {' and '.join(own)}. Where only one of them has points nothing is "
        "said, and no curve is drawn on beyond its last point."
    ]
    return found + [f"Not compared: {each}." for each in pair.left_out]


def _cancels(said: Comparison, pair: Pair) -> str:
    flow = pair.speeds[-1].standard_flow_m3_s
    with_it, without = _percent(flow.relative_u95), _percent(flow.relative_u95_apart)
    if not pair.same_meter:
        return (
            f"Nothing cancels: {pair.same_meter_because}. The uncertainty of both meters stands "
            f"in full in the difference, ±{NO_BREAK}{without} at the highest common speed. Two "
            "runs with one meter are compared much more sharply."
        )
    place = ""
    if pair.moved:
        places = [POSITION_WORDS[said.runs[number - 1].position] for number in (1, pair.later)]
        place = f" It stood {places[0]} in the first run and {places[1]} in the later one."
        if "in the clean pipe" in places:
            place += " The air ahead of it is another there, for which 0.5 % is added."
    return (
        f"Both runs are taken to be measured with one meter: {pair.same_meter_because}.{place} An "
        "error of that meter, of its discharge coefficient above all, is in both flows alike and "
        f"cancels. At the highest common speed ±{NO_BREAK}{with_it} is left; with two meters it "
        f"would be ±{NO_BREAK}{without}. If it was another tube of the same make after all, the "
        "wider one holds."
    )


def _air(said: Comparison, pair: Pair) -> str:
    whole, machine = pair.standard_flow, pair.flow_open_air
    owner = "not the machine's alone"
    if not _unlike(said, pair):
        owner = _owner(said.runs[0].position, said.runs[pair.later - 1].position)
    if abs(pair.air) < _AIR_WORTH_SAYING:
        return (
            f"The open air was as dense in both runs: the change is {owner}, none of it the day's."
        )
    thin = "thinner" if pair.air < 0 else "denser"
    return (
        f"Of the {_percent(whole.relative)} of standard flow, {_percent(pair.air)} is the day's "
        f"air, {thin} in the later run, which is no fault of any machine: a blower takes in "
        f"volume. {_told(machine)} is {owner}, as volume in the state of the open air."
    )


def _unlike(said: Comparison, pair: Pair) -> list[str]:
    """What the machine had to do in one run and not in the other, beyond what a meter on the port
    and one at the hose's end are compared for; nothing where it had the same to do."""
    numbers = 1, pair.later
    first, later = (said.runs[number - 1] for number in numbers)
    steady = first.one_state and later.one_state
    told_apart = "clean_pipe" not in (first.position, later.position)  # what the hose costs
    if steady and first.plate == later.plate and (first.hose == later.hose or told_apart):
        return []
    ways = "; ".join(
        f"{_name(said, number)} had {_was_on(run)}"
        for number, run in zip(numbers, (first, later), strict=True)
    )
    found = [f"The difference is not the machine's alone: {ways}."]
    if not steady:
        found.append(
            "Where spoil, clogs or a filter change the flow from hold to hold, as in a cut, "
            "nothing is told of the machine by holding it against another run: compare sweeps "
            "without spoil, with the same on the port. The log of a cut is read by pullcurve cut."
        )
    return found


def _was_on(run: ComparedRun) -> str:
    plate = {"": "", "?": " and a plate"}.get(run.plate, f" and a plate of {run.plate}")
    spoil = "" if run.one_state else ", and a load that changed from hold to hold (spoil, clogs)"
    return f"{'its hose on' if run.hose else 'its port open'}{plate}{spoil}"


def _owner(first: str, later: str) -> str:
    if first == later:
        return "the machine's"
    if "clean_pipe" in (first, later):
        return "the machine's, with what leaks in between the two places of the meter"
    return "the hose's and the machine's"


def _own_tops(said: Comparison, pair: Pair, units: UnitSystem) -> list[str]:
    first, later = said.runs[0], said.runs[pair.later - 1]
    change = highest(later) / highest(first) - 1
    if abs(change) < _SPEEDS_ALIKE:
        return []
    unit = units.volume_flow
    one, other = (
        f"{significant(unit.from_si(run.points[-1].standard_flow_m3_s), 3)} {unit.label} at "
        f"{_rpm(highest(run))}"
        for run in (first, later)
    )
    return [
        f"The fastest holds differ by {_percent(change)} in speed: {_name(said, 1)} {one}, "
        f"{_name(said, pair.later)} {other}, of standard air. What the speed itself takes is not "
        "in the figures at equal speed."
    ]


def remarks(said: Comparison) -> list[str]:
    """What a reader has to know before he trusts the comparison."""
    found = []
    names = list(dict.fromkeys(run.rig_name for run in said.runs))
    if len(names) > 1:
        found.append(
            f"The rigs bear different names: {'; '.join(names)}. If that is one machine, all is "
            "well; if these are several, the change is the difference between the machines."
        )
    for number, run in enumerate(said.runs, 1):
        if run.troubles:
            troubles = ", ".join(kind.replace("_", " ") for kind in run.troubles)
            found.append(
                f"{_name(said, number)} has troubles of its measurement: {troubles}. Its own "
                "report says what they mean; intervals here are as wide as there."
            )
    return found


def hose_sentences(hose: HoseCost, units: UnitSystem) -> list[str]:
    """The hose's own loss and leak, as far as the two runs tell, and what they cannot tell."""
    unit = units.mass_flow
    share = hose.cost_kg_s.value / hose.open_port_kg_s
    said = [
        f"At {_rpm(hose.speed_rpm)} the open port takes in {_mass(hose.open_port_kg_s, unit)}, "
        f"the hose's end {_mass(hose.with_hose_kg_s, unit)}: the hose costs "
        f"{_of(hose.cost_kg_s, unit)}, {_percent(share)} of the open port's flow.",
        *_vacua(hose, units),
    ]
    if hose.taken_kg_s is None or hose.leak_kg_s is None or hose.leak_share is None:
        why = _MISSING[hose.missing] if hose.missing else "nothing tells them apart"
        return [
            *said,
            f"How much of that is the hose's loss, and how much air that leaks into hose or tank "
            f"past the meter, cannot be told: {why}. An absolute-pressure sensor at the blower's "
            "inlet (role blower_air) in both runs would tell.",
        ]
    said.append(
        f"Of that, {_of(hose.taken_kg_s, unit)} is the hose's loss: the vacuum is deeper, so the "
        "blower takes in less."
    )
    leak = hose.leak_share
    if leak.low > 0:
        said.append(
            f"{_of(hose.leak_kg_s, unit)}, {percent_range(leak)} % of what the blower takes in, "
            "leaks in past the meter: into the hose, or into the tank beyond what passes for slip."
        )
    else:
        said.append(
            f"No leak of the hose is shown: {percent_range(leak)} % of what the blower takes in, "
            f"at most {_percent(max(leak.high, 0.0))}."
        )
    said.append(
        "Not told: whether such a leak is in the hose or at the tank; seal one, engine stopped and "
        "locked out, and measure again. What leaks in with the open port as well, at tank, "
        "filter or blower, passes for slip of the blower; of a leaking tank only a part is seen."
    )
    return said


def _vacua(hose: HoseCost, units: UnitSystem) -> list[str]:
    unit, found = units.vacuum, []
    for place, open_port, with_hose in (
        ("at the blower", hose.vacuum_blower_open_port_pa, hose.vacuum_blower_with_hose_pa),
        ("in the tank", hose.vacuum_tank_open_port_pa, hose.vacuum_tank_with_hose_pa),
    ):
        if open_port is not None and with_hose is not None:
            one, other = (significant(unit.from_si(each), 3) for each in (open_port, with_hose))
            found.append(
                f"The vacuum {place} is {one} {unit.label} with the open port and {other} "
                f"{unit.label} with the hose."
            )
        elif with_hose is not None:
            found.append(
                f"The vacuum {place} is {significant(unit.from_si(with_hose), 3)} {unit.label} "
                "with the hose; with the open port it was not measured."
            )
    return found


def caption(said: Comparison, pair: Pair) -> str:
    change = pair.standard_flow
    shape = "more than its uncertainty" if change.certain else "no more than its uncertainty"
    cancels = (
        "Thick bars: 95 % interval of the difference, in which the common meter cancels; thin "
        "bars: if nothing cancelled."
        if pair.same_meter
        else "Bars: 95 % interval of the difference; nothing cancels in it."
    )
    return (
        f"On the mean {_name(said, pair.later)} lies {_told(change)} from {_name(said, 1)}, "
        f"{shape}. Above: both curves with the 95 % interval of each by itself. Below: their "
        f"difference at equal speed, over the flow of run 1. {cancels}"
    )


def alternative(pair: Pair, units: UnitSystem) -> str:
    return (
        f"Two graphs against the speed of the blower's shaft in rpm: above, standard flow in "
        f"{units.volume_flow.label} of run 1 and run {pair.later} with bands of uncertainty; "
        "below, their difference in per cent with its interval. The table below lists both."
    )


def _name(said: Comparison, number: int) -> str:
    return said.runs[number - 1].log_name.removesuffix(".runlog")


def _rpm(speed: float) -> str:
    return f"{speed:.0f}{NO_BREAK}rpm"


def _percent(fraction: float) -> str:
    return percent(fraction, 3 if abs(fraction) >= 0.1 else 2)


def _told(change: Change) -> str:
    number = measured(100 * change.relative, 100 * change.u95)
    return f"{number}{NO_BREAK}%"


def _mass(value: float, unit: DisplayUnit) -> str:
    return f"{significant(unit.from_si(value), 3)}{NO_BREAK}{unit.label}"


def _of(interval: Interval, unit: DisplayUnit) -> str:
    ends = (unit.difference_from_si(e) for e in (interval.value, interval.low, interval.high))
    return f"{ranged(*ends)}{NO_BREAK}{unit.label}"
