"""The machine of a scenario as it truly is.

Restrictions are loss coefficients K on the named bore: K rho v^2 / 2.
"""

from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from pullcurve.bench.fields import NotNegative, Positive, Table


class Engine(Table):
    """A governed engine: first-order lag, droop under load, wander about its speed.

    `throttle` is a list of [time_s, speed_rpm], joined by straight lines. 0 is off; anything
    else is held between idle and governed speed. At `full_load_w` of gas power the governor
    gives way by `droop` of the speed. Wander has a quick and a slow part, both random, and
    the governor may hunt: a sine of amplitude `hunting_rpm`.
    """

    idle_rpm: Positive
    governed_rpm: Positive
    droop: Annotated[float, Field(ge=0, lt=0.5)] = 0.0
    full_load_w: Positive = 25e3
    lag_s: Positive
    wander_rpm: NotNegative = 0.0  # standard deviation
    wander_time_s: Positive = 1.0  # correlation time
    slow_wander_rpm: NotNegative = 0.0
    slow_wander_time_s: Positive = 15.0
    hunting_rpm: NotNegative = 0.0
    hunting_period_s: Positive = 3.0
    throttle: Annotated[tuple[tuple[NotNegative, NotNegative], ...], Field(min_length=2)]

    @model_validator(mode="after")
    def _check(self) -> Self:
        times = [time for time, _ in self.throttle]
        if any(b <= a for a, b in pairwise(times)):
            raise ValueError("the times of 'throttle' must rise from point to point")
        if self.idle_rpm >= self.governed_rpm:
            raise ValueError("'idle_rpm' must be below 'governed_rpm'")
        return self


class Blower(Table):
    """A rotary-lobe blower.

    `slip_speed_rpm` is what just holds 1 psi with the port closed; `slip_factor` multiplies
    it for a worn machine. `laminar_share` is the part of that slip that runs through gaps
    so narrow that it follows the pressure and not its root.
    """

    displacement_m3: Positive  # a turn
    slip_speed_rpm: NotNegative
    slip_factor: Positive = 1.0
    laminar_share: Annotated[float, Field(ge=0, lt=1)] = 0.0
    lobes: Literal[2, 3] = 2
    heat_loss: Annotated[float, Field(ge=0, lt=1)] = 0.0  # share of the gas power, by the casing
    warm_up_s: Positive = 60.0  # time constant of the discharge temperature
    outlet_pa_s2_kg2: NotNegative = 0.0  # silencer: loss over mass flow squared


class Filter(Table):
    """Pressure loss: `linear` times local flow plus `square` times its square."""

    linear_pa_s_m3: Positive
    square_pa_s2_m6: NotNegative = 0.0
    loading_pa_s_m3_per_s: NotNegative = 0.0  # growth of `linear` while the scenario runs


class Leaks(Table):
    """Effective areas. A: into the tank. B: behind the filter. C: at the blower's inlet."""

    a_m2: NotNegative = 0.0
    b_m2: NotNegative = 0.0
    c_m2: NotNegative = 0.0


class Relief(Table):
    """A relief valve: shut below its setting, then open in proportion to the excess."""

    vacuum_pa: Positive
    slope_kg_s_pa: Positive


class Hose(Table):
    """`friction_factor` is that of the governed speed; it falls as the Reynolds number rises,
    here with the blower's speed to the power `friction_power`."""

    length_m: Positive
    bore_m: Positive
    friction_factor: Positive  # Darcy
    friction_power: Annotated[float, Field(ge=0, lt=0.5)] = 0.0
    loss: NotNegative  # fittings, mouth and the jet lost in the tank


class Machine(Table):
    engine: Engine
    belt_ratio: Positive  # blower turns to an engine turn, without slip
    belt_slip: Annotated[float, Field(ge=0, lt=0.5)] = 0.0
    belt_slip_at_load: Annotated[float, Field(ge=0, lt=0.2)] = 0.0  # more of it at full_load_w
    blower: Blower
    filter: Filter
    tank_volume_m3: Positive
    port_bore_m: Positive
    port_loss: Positive  # on the port's bore
    clean_pipe_loss: NotNegative  # filter to blower, on the port's bore
    leaks: Leaks = Leaks()
    relief: Relief | None = None
    hose: Hose | None = None
