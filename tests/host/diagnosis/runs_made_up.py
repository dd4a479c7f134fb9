"""Reduced runs without a log: what a tube whose truth is known shows of a given flow.

The tube is the bench's, written from other equations than the reduction's.
"""

from dataclasses import dataclass, replace
from functools import cache
from itertools import count
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullcurve.bench.instrument import Meter as TrueMeter
from pullcurve.bench.moist_air import density, specific_gas_constant, vapour_fraction
from pullcurve.bench.tube import differential_pressure, discharge_coefficient, upstream_state
from pullcurve.examine import Run
from pullcurve.measure import flow
from pullcurve.measure.air_state import Known, Surroundings
from pullcurve.rig.loading import load_rig
from pullcurve.rig.models import Rig
from pullcurve.rig.sensor_parts import SENSOR_PARTS

Array = NDArray[np.float64]
ROOT = Path(__file__).parents[3]
P0, T0, HUMIDITY = 94_100.0, 285.15, 0.55
ZERO_PA, SCATTER_PA, SPAN_PA = 12.0, 2.0, 2 * 6894.757
PRESSURE_PA, TEMPERATURE_K = 100.0, 0.5
C, C_U95 = 0.975, 0.02
_numbers = count()


@dataclass(frozen=True)
class Tube:
    """Errors of one meter, the same in all its runs; 0 is none."""

    c: float = 0.0  # relative
    gain: float = 0.0
    throat_m: float = 0.0
    pipe_m: float = 0.0
    inlet_loss: float = 0.5
    fall: float = 0.006
    board: str = "one"

    @classmethod
    def drawn(cls, dice: np.random.Generator, board: str = "one") -> "Tube":
        """As wrong as the rig and the data sheet allow."""
        gain = accuracy().gain_bound
        return cls(
            c=C_U95 / 2 * dice.standard_normal(),
            gain=dice.uniform(-gain, gain),
            throat_m=1e-4 * dice.standard_normal(),
            pipe_m=1e-4 * dice.standard_normal(),
            inlet_loss=max(0.05, 0.5 + 0.25 * dice.standard_normal()),
            fall=dice.uniform(0.0, 0.012),
            board=board,
        )


@dataclass(frozen=True)
class Day:
    """The open air as it truly is, and the errors of one run."""

    pressure: float = P0
    temperature: float = T0
    pressure_error: float = 0.0
    temperature_error: float = 0.0
    zero_pa: float = 0.0
    linearity_pa: float = 0.0

    @classmethod
    def drawn(cls, dice: np.random.Generator) -> "Day":
        bend = accuracy().nonlinearity * SPAN_PA
        return cls(
            pressure=P0 + 800 * dice.standard_normal(),
            temperature=T0 + 6 * dice.standard_normal(),
            pressure_error=dice.uniform(-PRESSURE_PA, PRESSURE_PA),
            temperature_error=dice.uniform(-TEMPERATURE_K, TEMPERATURE_K),
            zero_pa=dice.uniform(-ZERO_PA, ZERO_PA),
            linearity_pa=dice.uniform(-bend, bend),
        )


def accuracy() -> Any:
    return SENSOR_PARTS["HSC"].differential_pressure


@cache
def rig(name: str) -> Rig:
    found = load_rig(ROOT / f"hardware/rigs/{name}.toml")
    stated = {
        "discharge_coefficient": C,
        "discharge_coefficient_uncertainty": C_U95,
        "discharge_coefficient_source": "certificate",
    }
    return found.model_copy(update={"meter": found.meter.model_copy(update=stated)})


def made_up(
    speed: Array,
    mass_flow: Array,
    *,
    position: str = "port",
    tube: Tube = Tube(),
    day: Day = Day(),
    dice: np.random.Generator | None = None,
    sweep: Array | None = None,
    shaft: str = "blower_shaft",
    vacuum: Array | None = None,
    name: str = "",
    on: Rig | None = None,
) -> Run:
    """The run of a machine that moves this mass flow at these speeds. vacuum: at the blower."""
    used = on or rig(position)
    number, one = len(speed), np.ones(len(speed))
    dp = _shown(mass_flow, used, tube, day)
    if dice is not None:
        dp = dp + SCATTER_PA * dice.standard_normal(number)
    around = Surroundings(
        Known((day.pressure + day.pressure_error) * one, PRESSURE_PA * one, "measured"),
        Known((day.temperature + day.temperature_error) * one, TEMPERATURE_K * one, "measured"),
        Known(HUMIDITY * one, 0.03 * one, "measured"),
        {},
    )
    flows = flow.solve(
        flow.Pressure(
            mean=dp,
            scatter=SCATTER_PA * one,
            scatter_freedom=9,
            pulsation=0.0 * one,
            pulsation_u=0.0005 * one,
            aliasing_u=0.0 * one,
            zero_half_width=ZERO_PA,
            span=SPAN_PA,
            accuracy=accuracy(),
        ),
        around,
        used,
    )
    serial = next(_numbers)
    none = np.full(number, np.nan)
    points = pd.DataFrame(
        {
            "point": range(1, number + 1),
            "sweep": np.ones(number, dtype=np.int64) if sweep is None else sweep,
            "hold": range(1, number + 1),
            "start_s": 40.0 * np.arange(number) + 30,
            "end_s": 40.0 * np.arange(number) + 60,
            "speed_rpm": speed,
            "speed_u_rpm": 1e-4 * speed,
            "speed_u95_rpm": 2e-4 * speed,
            "ambient_pressure_pa": around.pressure.value,
            "ambient_temperature_k": around.temperature.value,
            "ambient_humidity": around.humidity.value,
            "vacuum_blower_pa": none if vacuum is None else vacuum,
            "vacuum_blower_u95_pa": none if vacuum is None else 70.0 * one,
            "vacuum_tank_pa": none,
            "withheld": "",
        }
    )
    sensor = SimpleNamespace(part="HSC", channels=(SPAN_PA,))
    header = SimpleNamespace(board_id=tube.board, sensor=lambda role: sensor)
    made: dict[str, Any] = {
        "log": SimpleNamespace(path=Path(name or f"run_{serial}.runlog"), received=[serial]),
        "rig": used,
        "records": SimpleNamespace(header=header),
        "channels": SimpleNamespace(blower_shaft_from=shaft),
        "zeros": None,
        "flows": flows,
        "around": around,
        "points": points,
        "rejected": [],
        "notes": pd.DataFrame(columns=["time_s", "what", "value", "value_si", "place", "at"]),
        "offsets": [],
        "findings": (),
    }
    return Run(**made)


def copy_of(run: Run) -> Run:
    """The same measurement, as if it had been made a second time."""
    log: Any = SimpleNamespace(path=run.log.path, received=[next(_numbers)])
    return replace(run, log=log)


def with_notes(run: Run, *notes: tuple[str, str, str]) -> Run:
    """Notes of (what, value, at)."""
    rows = [
        {"time_s": 0.0, "what": what, "value": value, "value_si": np.nan, "place": "", "at": at}
        for what, value, at in notes
    ]
    return replace(run, notes=pd.DataFrame(rows))


def _shown(mass_flow: Array, used: Rig, tube: Tube, day: Day) -> Array:
    """What the sensor shows of a true flow."""
    meter = TrueMeter(
        position=used.meter.position,
        pipe_bore_m=used.meter.pipe_bore + tube.pipe_m,
        throat_bore_m=used.meter.throat_bore + tube.throat_m,
        discharge_coefficient=C * (1 + tube.c),
        coefficient_fall=tube.fall,
        inlet_loss=tube.inlet_loss,
        recovery_loss=0.3,
    )
    one = np.ones(len(mass_flow))
    pressure, temperature = day.pressure * one, day.temperature * one
    vapour = vapour_fraction(pressure, temperature, HUMIDITY * one)
    gas = specific_gas_constant(pressure, temperature, vapour)
    p1, t1 = upstream_state(mass_flow, pressure, temperature, gas, meter)
    coefficient = discharge_coefficient(mass_flow, t1, meter)
    dp = differential_pressure(mass_flow, p1, density(p1, t1, vapour), coefficient, meter)
    return np.asarray(dp * (1 + tube.gain) + day.zero_pa + day.linearity_pa)
