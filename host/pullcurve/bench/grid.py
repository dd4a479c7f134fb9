"""Values on the plant's time grid, read at any time."""

from typing import Any, Generic, TypeVar, overload

import numpy as np
from numpy.typing import NDArray

from pullcurve.bench.moist_air import Array

STEP_S = 0.01

Number = TypeVar("Number", float, complex)


class Signal(Generic[Number]):
    """Values STEP_S apart, joined by straight lines; held at the ends."""

    def __init__(self, values: NDArray[Any]) -> None:
        self.values = values
        self._list: list[Number] = values.tolist()
        self._last = len(self._list) - 1

    @overload
    def __call__(self, time_s: float) -> Number: ...
    @overload
    def __call__(self, time_s: Array) -> NDArray[Any]: ...
    def __call__(self, time_s: float | Array) -> Number | NDArray[Any]:
        if isinstance(time_s, np.ndarray):
            grid = np.arange(self._last + 1) * STEP_S
            return np.asarray(np.interp(time_s, grid, self.values))
        place = time_s / STEP_S
        index = int(place)
        if index >= self._last:
            return self._list[-1]
        if place <= 0:
            return self._list[0]
        low = self._list[index]
        return low + (self._list[index + 1] - low) * (place - index)
