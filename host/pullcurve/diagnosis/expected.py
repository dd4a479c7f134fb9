"""What each set of readings could tell of a machine, before anybody has measured it.

At the healthy machine everything is taken as linear: readings' uncertainties and priors give
the covariance of all that is unknown, and so the half-width of every step that a ledger would
have (JCGM 100:2008, 5.1.2, and least squares with priors). Each cause may take 40 % of the
flow (standard deviation), as if nothing were known of it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pullcurve.diagnosis.evidence import (
    DISCHARGE_K,
    DISCHARGE_SHARED_K,
    MODEL_FLOW,
    MODEL_VACUUM_PA,
    TACH_U,
    Evidence,
    Quantity,
    Reading,
)
from pullcurve.diagnosis.facts import MachineFacts, machine_facts
from pullcurve.diagnosis.inference import predicted
from pullcurve.diagnosis.priors import Priors, priors
from pullcurve.diagnosis.speeds import Speeds
from pullcurve.diagnosis.unknowns import Machine, Unknowns
from pullcurve.physics.air import DRY_AIR_GAS_CONSTANT, ROOM_TEMPERATURE, standard_pressure
from pullcurve.physics.path import AirPath, Setting, State, operating_point
from pullcurve.rig.models import Rig

Array = NDArray[np.float64]

PRIOR_PERCENT: Final = 40.0  # of the flow, standard deviation of each cause
SPEEDS: Final = (0.5, 0.6, 0.7, 0.8, 0.9, 1.0)  # of the rated one: a sweep
PLATE_HEADS: Final = 22.0
METER_HEADS: Final = 0.7
STEP: Final = 1e-3

CAUSES: Final = ("wear", "leak_behind", "leak_ahead", "intake", "machine", "belt")
# The steps of a ledger as sums of causes.
STEPS: Final[Mapping[str, tuple[str, ...]]] = {
    "wear": ("wear",),
    "leak_behind": ("leak_behind",),
    "wear_and_leak_behind": ("wear", "leak_behind"),
    "leak_ahead": ("leak_ahead",),
    "restriction": ("intake", "machine"),
    "belt": ("belt",),
}


@dataclass(frozen=True)
class Readings:
    """A set of readings that could be taken."""

    name: str
    seen: tuple[Quantity, ...] = ()
    plate: bool = False
    both_tachs: bool = False
    second_meter: bool = False  # in the clean pipe, the same one moved there


SETS: Final = (
    Readings("a sweep"),
    Readings("and the vacuum at the blower", ("inlet_vacuum",)),
    Readings("and a sweep with a plate", ("inlet_vacuum",), plate=True),
    Readings("and the vacuum in the tank", ("inlet_vacuum", "tank_vacuum"), plate=True),
    Readings(
        "and both shafts' speeds", ("inlet_vacuum", "tank_vacuum"), plate=True, both_tachs=True
    ),
    Readings(
        "and the discharge temperature",
        ("inlet_vacuum", "tank_vacuum", "discharge_rise"),
        plate=True,
        both_tachs=True,
    ),
    Readings(
        "or a sweep with the meter in the clean pipe",
        ("inlet_vacuum", "tank_vacuum"),
        plate=True,
        both_tachs=True,
        second_meter=True,
    ),
)


@dataclass(frozen=True)
class Meter:
    """Standard uncertainties of the flow, relative: each point's own, and all points'."""

    own: float = MODEL_FLOW
    gain: float = 0.01


def expected_of_rig(rig: Rig) -> dict[str, dict[str, float]]:
    """`expected_half_widths` of a rig's machine at its altitude; nothing without a blower."""
    facts = machine_facts(rig)
    if isinstance(facts, str):
        return {}
    return expected_half_widths(facts, priors(), float(standard_pressure(rig.site.altitude)))


def expected_half_widths(
    facts: MachineFacts,
    beliefs: Priors,
    ambient_pressure: float,
    meter: Meter = Meter(),
) -> dict[str, dict[str, float]]:
    """95 % half-widths of a ledger's steps under each set of readings, in per cent of the flow
    at full throttle, with the meter on the open port and the pickup on the engine."""
    return {
        readings.name: _half_widths(facts, beliefs, ambient_pressure, readings, meter)
        for readings in SETS
    }


def _half_widths(
    facts: MachineFacts, beliefs: Priors, p0: float, readings: Readings, meter: Meter
) -> dict[str, float]:
    evidence = _imagined(facts, p0, readings, meter)
    unknowns = Unknowns(evidence, beliefs, [()])
    base = unknowns.machines(np.zeros((1, unknowns.size)), np.zeros(1, dtype=np.int64))
    top = len(SPEEDS) - 1

    def solved(x: Machine) -> State:
        return operating_point(AirPath.of(x), evidence.setting)

    healthy = solved(base)
    effect = {
        cause: float(
            healthy.metered_flow[0, top]
            - solved(_with(base, cause, STEP, facts)).metered_flow[0, top]
        )
        / float(healthy.metered_flow[0, top])
        for cause in CAUSES
    }

    def rows(state: State) -> Array:
        return np.concatenate([predicted(r, evidence, state)[0] for r in evidence.readings])

    still = rows(healthy)
    columns, prior = [], []
    for number in range(unknowns.size - 2):
        z = np.zeros((1, unknowns.size))
        z[0, number] = 0.1
        x = unknowns.machines(z, np.zeros(1, dtype=np.int64))
        columns.append((rows(solved(x)) - still) / 0.1)
        prior.append(1.0)
    for cause in CAUSES:
        # In per cent of the flow at full throttle that it takes.
        x = _with(base, cause, STEP, facts)
        columns.append((rows(solved(x)) - still) / (100 * effect[cause]))
        known = cause == "belt" and readings.both_tachs
        prior.append(100 * TACH_U if known else PRIOR_PERCENT)
    jacobian = np.stack(columns, axis=1)
    covariance = np.zeros((len(still),) * 2)
    at = 0
    for reading in evidence.readings:
        size = len(reading.points)
        covariance[at : at + size, at : at + size] = reading.covariance
        at += size
    information = jacobian.T @ np.linalg.solve(covariance, jacobian)
    posterior = np.linalg.inv(information + np.diag(1 / np.square(prior)))
    first = len(columns) - len(CAUSES)
    found = {}
    for step, causes in STEPS.items():
        weights = np.zeros(len(columns))
        weights[[first + CAUSES.index(cause) for cause in causes]] = 1.0
        found[step] = float(2 * np.sqrt(weights @ posterior @ weights))
    return found


def _imagined(facts: MachineFacts, p0: float, readings: Readings, meter: Meter) -> Evidence:
    """Sweeps with a meter on the open port, then with it in the clean pipe, if that is asked."""
    sweeps = [(False, False), *([(False, True)] if readings.plate else [])]
    if readings.second_meter:
        sweeps += [(True, plate) for _, plate in sweeps]
    in_pipe = np.repeat([pipe for pipe, _ in sweeps], len(SPEEDS))
    plated = np.repeat([plate for _, plate in sweeps], len(SPEEDS))
    number = len(in_pipe)
    one, everywhere = np.ones(number), np.arange(number)
    speed = np.tile(SPEEDS, len(sweeps)) * facts.rated_rpm

    def reading(quantity: Quantity, own: float, shared: float) -> Reading:
        covariance = shared**2 * np.ones((number, number)) + own**2 * np.eye(number)
        return Reading(quantity, everywhere, 0 * one, covariance)

    taken = {
        "inlet_vacuum": (MODEL_VACUUM_PA, 40.0),
        "tank_vacuum": (MODEL_VACUUM_PA, 40.0),
        "discharge_rise": (DISCHARGE_K, DISCHARGE_SHARED_K),
    }
    area = facts.port_area_m2
    return Evidence(
        setting=Setting(
            shaft_rpm=speed,
            belt_between=np.full(number, fill_value=True),
            ambient_pressure=p0 * one,
            temperature=ROOM_TEMPERATURE * one,
            gas_constant=DRY_AIR_GAS_CONSTANT * one,
            mass_ratio=one,
            in_pipe=in_pipe,
            meter_area=area * one,
            hose_on=np.full(number, fill_value=False),
            hose_bore=facts.hose_bore_m * one,
        ),
        judged=np.full(number, fill_value=True),
        meter_term=METER_HEADS / area**2 * one,
        sweep=np.repeat(np.arange(len(sweeps)) + 1, len(SPEEDS)),
        plate=np.where(plated, 0, -1),
        plate_terms=(PLATE_HEADS / area**2,) if readings.plate else (),
        readings=(
            reading("metered_flow", meter.own, meter.gain),
            *(reading(quantity, *taken[quantity]) for quantity in readings.seen),
        ),
        facts=facts,
        speeds=Speeds(1.0, 3e-4, None, 3e-4),
        top=len(SPEEDS) - 1,
    )


def _with(base: Machine, cause: str, size: float, facts: MachineFacts) -> Machine:
    """The machine with a little of one cause."""
    area = facts.port_area_m2
    changed = {
        "wear": {"wear": base["wear"] + 100 * size},
        "leak_behind": {"leak_c": base["leak_c"] + area * size},
        "leak_ahead": {"leak_a": base["leak_a"] + area * size},
        "intake": {"intake_term": base["intake_term"] + 100 * size / area**2},
        "machine": {"filter_linear": base["filter_linear"] * (1 + 100 * size)},
        "belt": {"belt": base["belt"] + size},
    }
    return base | changed[cause]
