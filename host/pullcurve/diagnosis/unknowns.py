"""From standard normal variables to machines whose path can be solved.

Every scatter and every fault's size is one variable; the last two are the sizes of the first
and the second fault, whichever these are in a set of faults.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pullcurve.diagnosis.evidence import Evidence
from pullcurve.diagnosis.priors import Priors

Array = NDArray[np.float64]
Integers = NDArray[np.int64]
Machine = dict[str, Array]

UNSTATED_FILTER_PA = 1500.0  # a clean filter's loss at the rated flow, where nobody stated it
MOST_LAMINAR = 0.9
BENT = {
    "intake_law": ("intake_term", "hose_loss", "healthy_intake_term", "healthy_hose_loss"),
    "machine_law": ("pipe_term", "filter_square", "healthy_pipe_term", "healthy_filter_square"),
}


class Unknowns:
    """What is not known of a machine, under each of several sets of faults."""

    def __init__(self, evidence: Evidence, priors: Priors, sets: Sequence[tuple[str, ...]]) -> None:
        self._evidence, self._priors = evidence, priors
        facts, setting = evidence.facts, evidence.setting
        names = ["displacement", "slip", "leak_a", "leak_b", "leak_c", "filter_linear"]
        names += ["filter" if facts.filter_loss else "filter_unstated", "pipe", "port"]
        names += [
            "intake_law",
            "machine_law",
            "meter_loss",
            "outlet",
            "warming",
            "sheet_1",
            "sheet_2",
            "sheet_3",
        ]
        if setting.hose_on.any():
            names.append("hose" if facts.hose_loss is not None else "hose_unstated")
        if setting.belt_between.any():
            names += ["belt", "belt_with_load"]
        if any(reading.quantity == "discharge_rise" for reading in evidence.readings):
            names.append("heat_loss")
        if any(reading.quantity == "pipe_vacuum" for reading in evidence.readings):
            names.append("tap")
        if not evidence.judged.all():
            names.append("filter_then")
        names += [f"plate_{i}" for i in range(len(evidence.plate_terms))]
        self._at = {name: i for i, name in enumerate(names)}
        self.size = len(names) + 2
        self._faults = [priors.faults[name] for name in sorted({f for s in sets for f in s})]
        place = {fault.name: i for i, fault in enumerate(self._faults)}
        self._slots = [
            np.array([place[faults[slot]] if len(faults) > slot else -1 for faults in sets])
            for slot in (0, 1)
        ]

    @property
    def size_columns(self) -> tuple[int, int]:
        """Where the sizes of the two faults stand among the variables."""
        return self.size - 2, self.size - 1

    def machines(self, z: Array, of: Integers) -> Machine:
        """Fields of `AirPath`, each (machines, 1) or (machines, points).

        z: (machines, size); of: each machine's set of faults. `healthy_` before a name is the
        same without faults.
        """
        x = self._healthy(z)
        for name in ("filter_linear", "filter_square", "pipe_term", "intake_term", "hose_loss"):
            x[f"healthy_{name}"] = x[name]
        for slot, column in zip(self._slots, self.size_columns, strict=True):
            for number, fault in enumerate(self._faults):
                has = (slot[of] == number)[:, None]
                if has.any():
                    self._add(x, fault.on, has, fault.size.value(z[:, [column]]))
        self._bend(x, z)
        return x

    def _bend(self, x: Machine, z: Array) -> None:
        """Let the losses change with speed as no plain square does."""
        shaft = self._evidence.setting.shaft_rpm
        halvings = np.log2(shaft.max() / shaft)
        for side, names in BENT.items():
            factor = self._priors.scatter[side].value(z[:, [self._at[side]]]) ** halvings
            for name in names:
                x[name] = x[name] * factor

    def _healthy(self, z: Array) -> Machine:
        evidence, facts = self._evidence, self._evidence.facts
        area = facts.port_area_m2

        def scatter(name: str, law: str | None = None) -> Array:
            if name not in self._at:
                return np.zeros((len(z), 1))
            return self._priors.scatter[law or name].value(z[:, [self._at[name]]])

        sheet = z[:, [self._at[f"sheet_{i}"] for i in (1, 2, 3)]] @ facts.sheet_spread.T
        if facts.filter_loss is not None:
            filter_pa, filter_flow = facts.filter_loss[0] * scatter("filter"), facts.filter_loss[1]
        else:
            filter_pa = UNSTATED_FILTER_PA * scatter("filter_unstated")
            filter_flow = facts.rated_flow_m3_s
        if "filter_then" in self._at:
            filter_pa = filter_pa * np.where(evidence.judged, 1.0, scatter("filter_then"))
        linear = scatter("filter_linear")
        intake = np.zeros((len(z), evidence.judged.size)) + scatter("port") / area**2
        for i, term in enumerate(self._evidence.plate_terms):
            loss = (
                scatter(f"plate_{i}", "plate_unstated") / area**2
                if term is None
                else term * scatter(f"plate_{i}", "plate")
            )
            intake = intake + np.where(self._evidence.plate == i, loss, 0.0)
        hose = scatter("hose_unstated")
        if facts.hose_loss is not None:
            hose = facts.hose_loss * scatter("hose", f"hose_{facts.hose_wall}")
        return {
            "displacement": facts.displacement_m3 * scatter("displacement") * np.exp(sheet[:, [0]]),
            "slip_speed": facts.slip_speed_rpm * scatter("slip") * np.exp(sheet[:, [1]]),
            "slip_scatter": scatter("slip"),
            "laminar_share": np.clip(facts.laminar_share + sheet[:, [2]], 0.0, MOST_LAMINAR),
            "wear": np.ones((len(z), 1)),
            "belt": scatter("belt"),
            "belt_with_load": scatter("belt_with_load"),
            "leak_a": area * scatter("leak_a"),
            "leak_b": area * scatter("leak_b"),
            "leak_c": area * scatter("leak_c"),
            "filter_linear": filter_pa / filter_flow * linear,
            "filter_square": filter_pa / filter_flow**2 * (1 - linear),
            "pipe_term": scatter("pipe") / area**2,
            "intake_term": intake,
            "hose_loss": hose,
            "meter_term": evidence.meter_term * scatter("meter_loss"),
            "outlet": scatter("outlet") / facts.rated_flow_m3_s**2,
            "warming": scatter("warming"),
            "heat_loss": scatter("heat_loss"),
            "tap": scatter("tap"),
        }

    def _add(self, x: Machine, on: str, has: NDArray[np.bool_], size: Array) -> None:
        """Put a fault into the machines that have it, at the points that are judged."""
        evidence, facts, setting = self._evidence, self._evidence.facts, self._evidence.setting
        here = has & evidence.judged
        if on == "slip":
            x["wear"] = np.where(here, size, x["wear"])
        elif on == "belt":
            x["belt"] = np.where(here, size, x["belt"])
        elif on == "filter":
            for name in ("filter_linear", "filter_square"):
                x[name] = np.where(here, size, 1.0) * x[name]
        elif on == "pipe":
            x["pipe_term"] = x["pipe_term"] + np.where(here, size / facts.port_area_m2**2, 0.0)
        elif on == "intake" and (setting.hose_on & evidence.judged).any():
            # What chokes a hose goes away with it.
            hose_area = np.pi / 4 * setting.hose_bore**2
            more = size * (hose_area / facts.port_area_m2) ** 2
            x["hose_loss"] = x["hose_loss"] + np.where(here, more, 0.0)
        elif on == "intake":
            more = np.where(here, size / facts.port_area_m2**2, 0.0)
            x["intake_term"] = x["intake_term"] + more
        else:
            x[on] = np.where(here, facts.port_area_m2 * size, x[on])
