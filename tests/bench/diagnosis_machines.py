"""Random machines for the diagnosis study, sound and faulty, and what their rigs say of them.

All of them are invented. The plain population and the wide one differ in what counts as sound,
in the laws of blower and filter, in the data sheets and in the meters.
"""

from dataclasses import dataclass
from math import pi

from diagnosis_rigs import rig_text
from population_dice import Dice
from population_machines import POSITIONS, Tree, draw_meter, draw_site
from pullcurve.diagnosis.priors import CAUSE_OF, CAUSES
from pullcurve.physics.hose import COUPLING_LOSS, FRICTION, JET_LOSS, plate_loss

SOUND = 0.25  # of the machines
PAIRS = 0.25  # of the faulty ones
FAULTS = {  # by cause; each is as likely as the others
    "low_speed": ("low_speed",),
    "slipping_belt": ("slipping_belt",),
    "worn_clearances": ("worn_clearances",),
    "leak": ("leak_a", "leak_b", "leak_c"),
    "restriction": ("restriction_intake", "restriction_filter"),
}
LEAST_WEAR = {False: 1.8, True: 2.2}  # times the sound slip, plain and wide
MOST_LEAK = 0.003  # of a sound machine, each place, of the port's area
MOST_BELT = 0.012
PLATE_SCATTER = 0.05


@dataclass(frozen=True)
class Subject:
    """A machine as it is and as it was in good order, its instruments, and its rig's text.

    `machine` and `sound` are tables of a scenario, without the engine's throttle. `engine_rpm`
    is full throttle. `tach`: the shafts with a pickup, or "typed" for an engine speed read off.
    """

    wide: bool
    faults: tuple[str, ...]
    position: str
    site: Tree
    meter: Tree
    rig_meter: Tree
    machine: Tree
    sound: Tree
    engine_rpm: float
    sound_engine_rpm: float
    choke: float  # in hose or port
    plate: str  # none, known, unknown
    plate_loss: float
    plate_words: str
    tach: str
    sensors: frozenset[str]
    gauge: str  # where a gauge is read, or nothing
    earlier: bool
    rig: str

    @property
    def causes(self) -> tuple[str, ...]:
        there = {CAUSE_OF[fault] for fault in self.faults}
        return tuple(cause for cause in CAUSES if cause in there)

    @property
    def area(self) -> float:
        return float(pi / 4 * self.machine["port_bore_m"] ** 2)


def draw_subject(seed: int, number: int, *, wide: bool) -> Subject:
    """Machine `number`; the same for the same arguments. Positions take turns."""
    dice = Dice(seed, number, int(wide))
    position = POSITIONS[number % len(POSITIONS)]
    faults = _faults(dice)
    site = draw_site(dice, 0.0)
    density = site["pressure_pa"] / (287.05 * site["temperature_k"])
    rated_rpm, belt_ratio = dice.between(2000, 3700), dice.between(0.8, 1.5)
    displacement = dice.ratio(0.004, 0.016)
    flow = 0.88 * displacement * rated_rpm / 60
    lobes = dice.one_of((2, 2, 3))
    meter, rig_meter = draw_meter(
        *(dice, position, flow, density, 2 * lobes * rated_rpm / 60),
        plastics=1 / 3 if wide else 0.0,
    )
    port = meter["pipe_bore_m"] * dice.between(0.95, 1.1)
    area = pi / 4 * port**2
    hose = _hose(dice, position, port)
    clean_pa = dice.between(700, 2500)
    linear = dice.one_of((0.0, 1.0, dice.between(0, 1))) if wide else 0.0
    wide_slip = wide and dice.chance(0.3)
    sound = {
        "belt_ratio": belt_ratio,
        "belt": dice.between(0, MOST_BELT),
        "displacement": displacement * (1 + dice.normal(0.003)),
        "slip_speed": rated_rpm * dice.ratio(0.018, 0.055),
        "slip_factor": dice.between(0.8, 1.5) if wide_slip else dice.between(0.85, 1.15),
        "laminar": dice.between(0, 0.25) if wide and dice.chance(0.4) else 0.0,
        "lobes": lobes,
        "heat_loss": dice.between(0.05, 0.15),
        "outlet": dice.between(300, 3000) / (flow * density) ** 2,
        "linear": clean_pa / flow * linear,
        "square": clean_pa / flow**2 * (1 - linear),
        "filter": dice.between(0.8, 1.4),
        "tank": dice.between(3, 8) * flow,
        "port": port,
        "port_loss": dice.between(0.2, 0.7),
        "pipe_loss": dice.between(0.8, 3),
        "leaks": {place: area * dice.between(0, MOST_LEAK) for place in "abc"},
        "relief": dice.between(40e3, 55e3),
        "hose": hose,
        "load_w": dice.between(0.8, 2) * displacement * rated_rpm / 60 * 15e3,
        "belt_with_load": dice.between(0, 0.5),
        "engine_rpm": rated_rpm / belt_ratio,
    }
    now, engine_share = dict(sound), dice.between(0.99, 1.01)
    fault_share, choke = 1.0, 0.0
    for fault in faults:
        if fault == "low_speed":
            fault_share = 1 - dice.between(0.05, 0.3)
        elif fault == "slipping_belt":
            now["belt"] = dice.between(0.03, 0.3)
        elif fault == "worn_clearances":
            now["slip_factor"] = sound["slip_factor"] * dice.ratio(LEAST_WEAR[wide], 8)
        elif fault == "restriction_filter":
            now["filter"] = sound["filter"] * dice.ratio(2, 10)
        elif fault == "restriction_intake":
            choke = dice.ratio(3, 30)
        else:
            now["leaks"] = sound["leaks"] | {fault[-1]: area * dice.ratio(0.015, 0.2)}
    plate = dice.one_of(("none", "none", "none", "known", "unknown"))
    hole = port * dice.between(0.45, 0.62)
    sensors = {role for role, share in _SENSORS.items() if dice.chance(share)}
    tach = dice.one_of(("blower", "blower", "engine", "engine", "both", "typed"))
    earlier = dice.chance(0.2)
    gauges = [place for place, role in _GAUGES.items() if role not in sensors]
    gauge = dice.one_of(gauges) if gauges and dice.chance(0.3) else ""
    subject = Subject(
        wide=wide,
        faults=faults,
        position=position,
        site=site,
        meter=meter,
        rig_meter=rig_meter,
        machine=_machine(now),
        sound=_machine(sound),
        engine_rpm=rated_rpm / belt_ratio * engine_share * fault_share,
        sound_engine_rpm=rated_rpm / belt_ratio * engine_share,
        choke=choke,
        plate=plate,
        plate_loss=float(plate_loss(hole / port)) * (1 + dice.normal(PLATE_SCATTER)),
        plate_words=f"plate on, bore {1e3 * hole:.1f} mm" if plate == "known" else "plate on",
        tach=tach,
        sensors=frozenset(sensors),
        gauge=gauge,
        earlier=earlier,
        rig="",
    )
    rig = rig_text(dice, subject, displacement, rated_rpm, clean_pa, flow)
    return Subject(**{**subject.__dict__, "rig": rig})


_SENSORS = {"blower_air": 0.6, "tank_air": 0.3, "discharge_temperature": 0.3}
_GAUGES = {"blower inlet": "blower_air", "tank": "tank_air"}


def _faults(dice: Dice) -> tuple[str, ...]:
    if dice.chance(SOUND):
        return ()
    first = dice.one_of(tuple(FAULTS))
    causes = [first]
    if dice.chance(PAIRS):
        causes.append(dice.one_of([cause for cause in FAULTS if cause != first]))
    return tuple(dice.one_of(FAULTS[cause]) for cause in causes)


def _hose(dice: Dice, position: str, port: float) -> Tree | None:
    if position == "port" or (position == "clean_pipe" and dice.chance(0.4)):
        return None
    wall = dice.one_of(("smooth", "corrugated", "unknown"))
    median, factor = FRICTION[wall]
    couplings = dice.whole(0, 3)
    mouth = 0.0 if position == "hose_end" else dice.between(0.3, 0.7)
    return {
        "length_m": dice.between(5, 20) if wall != "corrugated" else dice.between(4, 10),
        "bore_m": port * dice.between(0.95, 1.2),
        "friction_factor": median * dice.ratio(1 / factor, factor),
        "friction_power": dice.between(0, 0.2) if wall == "smooth" else dice.between(0, 0.08),
        "loss": JET_LOSS + mouth + couplings * dice.between(*COUPLING_LOSS),
        "wall": wall,
        "couplings": couplings,
    }


def _machine(now: Tree) -> Tree:
    """A scenario's machine; what only the rig's text needs of the hose stands under `said`."""
    engine_rpm, with_load = now["engine_rpm"], now["belt_with_load"]
    hose = now["hose"] and {k: v for k, v in now["hose"].items() if k not in ("wall", "couplings")}
    tree = {
        "engine": {
            "idle_rpm": 0.3 * engine_rpm,
            "governed_rpm": 1.03 * engine_rpm,
            "full_load_w": now["load_w"],
            "lag_s": 0.5,
        },
        "belt_ratio": now["belt_ratio"],
        "belt_slip": now["belt"] * (1 - with_load),
        "belt_slip_at_load": min(now["belt"] * with_load, 0.19),
        "blower": {
            "displacement_m3": now["displacement"],
            "slip_speed_rpm": now["slip_speed"],
            "slip_factor": now["slip_factor"],
            "laminar_share": now["laminar"],
            "lobes": now["lobes"],
            "heat_loss": now["heat_loss"],
            "outlet_pa_s2_kg2": now["outlet"],
        },
        "filter": {
            "linear_pa_s_m3": max(now["linear"] * now["filter"], 1e-3),
            "square_pa_s2_m6": now["square"] * now["filter"],
        },
        "tank_volume_m3": now["tank"],
        "port_bore_m": now["port"],
        "port_loss": now["port_loss"],
        "clean_pipe_loss": now["pipe_loss"],
        "leaks": {f"{place}_m2": leak for place, leak in now["leaks"].items()},
        # It weeps a little from a tenth below its setting.
        "relief": {"vacuum_pa": 0.9 * now["relief"], "slope_kg_s_pa": 2e-6},
        "said": {"relief": now["relief"], "hose": now["hose"]},
    }
    return tree | ({"hose": hose} if hose else {})
