"""Machines for the diagnosis study, sound and faulty, and what of them is read and written."""

from dataclasses import dataclass

from dice import Dice
from machines import POSITIONS, Tree, draw_machine
from pullcurve.diagnosis.priors import CAUSE_OF, CAUSES
from pullcurve.physics.hose import plate_loss

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
MOST_BELT_AT_LOAD = 0.19
PLATE_SCATTER = 0.05
SENSORS = {"blower_air": 0.6, "tank_air": 0.3, "discharge_temperature": 0.3}  # how often there
GAUGES = {"blower inlet": "blower_air", "tank": "tank_air"}  # and the sensor that makes it idle
SHAFTS = {
    "blower": ("blower_shaft",),
    "engine": ("engine_shaft",),
    "both": ("blower_shaft", "engine_shaft"),
    "typed": ("blower_shaft",),
}


@dataclass(frozen=True)
class Subject:
    """A machine as it is and as it was in good order, its instruments, and its rig's tables.

    `machine` and `sound` are tables of a scenario, without the engine's throttle. `engine_rpm`
    is full throttle. `tach`: the shafts with a pickup, or "typed" for an engine speed read off.
    """

    wide: bool
    faults: tuple[str, ...]
    position: str
    site: Tree
    meter: Tree
    plastic: bool
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
    rig: Tree  # with pickups of two marks and one

    @property
    def causes(self) -> tuple[str, ...]:
        there = {CAUSE_OF[fault] for fault in self.faults}
        return tuple(cause for cause in CAUSES if cause in there)


def draw_subject(seed: int, number: int, *, wide: bool) -> Subject:
    """Machine `number`; the same for the same arguments. Positions take turns."""
    dice = Dice(seed, number, int(wide))
    position = POSITIONS[number % len(POSITIONS)]
    faults = _faults(dice)
    drawn = draw_machine(dice, number, position, wide=wide)
    # A speed that gives way under load is a fault here.
    sound = drawn.tree | {"engine": drawn.tree["engine"] | {"droop": 0.0}}
    now, engine_share = dict(sound), dice.between(0.99, 1.01)
    fault_share, choke = 1.0, 0.0
    for fault in faults:
        if fault == "low_speed":
            fault_share = 1 - dice.between(0.05, 0.3)
        elif fault == "slipping_belt":
            slip, with_load = dice.between(0.03, 0.3), dice.between(0, 0.5)
            now["belt_slip"] = slip * (1 - with_load)
            now["belt_slip_at_load"] = min(slip * with_load, MOST_BELT_AT_LOAD)
        elif fault == "worn_clearances":
            now["blower"] = dict(sound["blower"])
            now["blower"]["slip_factor"] *= dice.ratio(LEAST_WEAR[wide], 8)
        elif fault == "restriction_filter":
            times = dice.ratio(2, 10)
            now["filter"] = {name: times * loss for name, loss in sound["filter"].items()}
        elif fault == "restriction_intake":
            choke = dice.ratio(3, 30)
        else:
            leak = drawn.port_area * dice.ratio(0.015, 0.2)
            now["leaks"] = sound["leaks"] | {f"{fault[-1]}_m2": leak}
    plate = dice.one_of(("none", "none", "none", "known", "unknown"))
    hole = dice.between(0.45, 0.62)  # of the port's bore
    words = f"plate on, bore {1e3 * hole * sound['port_bore_m']:.1f} mm"
    sensors = {role for role, share in SENSORS.items() if dice.chance(share)}
    tach = dice.one_of(("blower", "blower", "engine", "engine", "both", "typed"))
    gauges = [place for place, role in GAUGES.items() if role not in sensors]
    marks = {"blower_shaft": 2, "engine_shaft": 1}
    pickups = {shaft: {"marks_per_turn": marks[shaft]} for shaft in SHAFTS[tach]}
    return Subject(
        wide=wide,
        faults=faults,
        position=position,
        site=drawn.site,
        meter=drawn.meter,
        plastic=drawn.plastic,
        machine=now,
        sound=sound,
        engine_rpm=drawn.engine_rpm * engine_share * fault_share,
        sound_engine_rpm=drawn.engine_rpm * engine_share,
        choke=choke,
        plate=plate,
        plate_loss=float(plate_loss(hole)) * (1 + dice.normal(PLATE_SCATTER)),
        plate_words=words if plate == "known" else "plate on",
        tach=tach,
        sensors=frozenset(sensors),
        gauge=dice.one_of(gauges) if gauges and dice.chance(0.3) else "",
        earlier=dice.chance(0.2),
        rig=drawn.rig | {"pickups": pickups},
    )


def _faults(dice: Dice) -> tuple[str, ...]:
    if dice.chance(SOUND):
        return ()
    first = dice.one_of(tuple(FAULTS))
    causes = [first]
    if dice.chance(PAIRS):
        causes.append(dice.one_of([cause for cause in FAULTS if cause != first]))
    return tuple(dice.one_of(FAULTS[cause]) for cause in causes)
