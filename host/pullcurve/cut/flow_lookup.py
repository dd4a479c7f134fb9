"""Flow through the rig's meter, quick enough for every sample: the meter's own solution,
tabled once over differential and tap pressure."""

import math

import numpy as np

from pullcurve.measure import meter as the_meter
from pullcurve.measure.inputs import Source
from pullcurve.physics import air
from pullcurve.rig.models import Rig

STEPS = 24
LEAST_PA, GREATEST_PA = 2.0, 30e3  # of the differential pressure; below, there is no flow to tell
LEAST_TAP_PA, GREATEST_TAP_PA = 30e3, 112e3
WARMED_K = 4.0  # of the open air; then the table is made anew
UNKNOWN_HUMIDITY = 0.5


class QuickFlow:
    """Mass flow over the root of (differential pressure times tap pressure over temperature)
    changes by a few per cent over the whole range, so a straight line between tabled values is
    within 1e-3 of the solution from 50 Pa on."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._inputs = {
            entry.name: np.asarray(entry.value, float)
            for entry in the_meter.meter_inputs(rig.meter)
        }
        self._at_k = math.nan
        self._factor: list[list[float]] = []

    def mass_flow(
        self,
        differential_pa: float,
        tap_pa: float,
        ambient_pa: float,
        ambient_k: float,
        humidity: float = UNKNOWN_HUMIDITY,
    ) -> float:
        """kg/s; 0 where the differential pressure tells of no flow, NaN where one is unknown."""
        if not (math.isfinite(differential_pa) and LEAST_TAP_PA < tap_pa < GREATEST_TAP_PA):
            return math.nan
        if differential_pa < LEAST_PA:
            return 0.0
        if not abs(ambient_k - self._at_k) < WARMED_K:
            self._make(ambient_pa, ambient_k, humidity)
        root = math.sqrt(differential_pa * tap_pa / ambient_k)
        across = math.sqrt((min(differential_pa, GREATEST_PA) - LEAST_PA) / self._span) * (
            STEPS - 1
        )
        along = (tap_pa - LEAST_TAP_PA) / (GREATEST_TAP_PA - LEAST_TAP_PA) * (STEPS - 1)
        i, j = min(int(across), STEPS - 2), min(int(along), STEPS - 2)
        u, v = across - i, along - j
        low, high = self._factor[i], self._factor[i + 1]
        factor = (1 - u) * ((1 - v) * low[j] + v * low[j + 1]) + u * (
            (1 - v) * high[j] + v * high[j + 1]
        )
        return factor * root

    _span = GREATEST_PA - LEAST_PA

    def _make(self, ambient_pa: float, ambient_k: float, humidity: float) -> None:
        self._at_k = ambient_k
        share = np.linspace(0, 1, STEPS) ** 2
        differential, tap = np.meshgrid(
            LEAST_PA + share * self._span,
            np.linspace(LEAST_TAP_PA, GREATEST_TAP_PA, STEPS),
            indexing="ij",
        )
        vapour = air.vapour_fraction(ambient_pa, ambient_k, min(max(humidity, 0.0), 1.0))
        inputs = self._inputs | {
            Source.STATION_PRESSURE: np.asarray(ambient_pa),
            Source.AIR_TEMPERATURE: np.asarray(ambient_k),
            Source.ISENTROPIC_EXPONENT: np.asarray(air.ISENTROPIC_EXPONENT),
        }
        state = the_meter.solve(
            self._rig.meter, inputs, differential, vapour=vapour, tap_pressure=tap
        )
        factor = state.mass_flow / np.sqrt(differential * tap / ambient_k)
        self._factor = np.nan_to_num(factor, nan=float(np.nanmedian(factor))).tolist()
