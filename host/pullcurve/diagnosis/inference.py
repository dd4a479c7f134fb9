"""Which faults explain a run, and how large they are.

Each hypothesis (no fault, one, a pair) is fitted by itself: readings and priors are rows of
one least-squares problem. Laplace's approximation gives the hypothesis' evidence; Markov
chains from there, mixed by probability, the distribution of everything that follows from the
machine: no interval knows of only one explanation. Sources: Laplace's approximation and the
Metropolis algorithm, as in any textbook of Bayesian computation (from memory).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pullcurve.diagnosis.evidence import Evidence, Reading
from pullcurve.diagnosis.priors import Priors
from pullcurve.diagnosis.unknowns import Unknowns
from pullcurve.physics.path import FINE, ROUGH, AirPath, State, operating_point

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

CHAINS, STEPS, THIN = 400, 40, 5
STARTS = (-1.3, -0.4, 0.4, 1.3)  # of a fault's size, as standard normal
ITERATIONS = 60
PATIENCE, HOPELESS = 12, 60.0  # turns before a set is given up, when its chi square is that far off
DAMPINGS = (1e-4, 1e-2, 0.1, 0.5, 3.0)
LONGEST, FARTHEST = 1.5, 5.0  # of a step, and from the prior's middle
ENOUGH = 1e-2  # of chi square: less is no gain
STEP = 1e-4


@dataclass(frozen=True)
class Fits:
    """Of every set of faults the best machine, the root of its covariance, its inlet over
    ambient pressure, and the log evidence."""

    mode: Array
    root: Array
    start: Array
    log_evidence: Array


@dataclass(frozen=True)
class Machines:
    """Samples of the machine, equally likely; `faults` is each one's index into the sets."""

    faults: Integers
    x: Mapping[str, Array]
    state: State
    misfit: Array  # chi square over the number of readings


class Problem:
    """A run's evidence under the priors, for sets of faults on the air's path."""

    def __init__(self, evidence: Evidence, priors: Priors, sets: Sequence[tuple[str, ...]]) -> None:
        self.evidence = evidence
        self.sets = sets
        self.unknowns = Unknowns(evidence, priors, sets)
        self.size = self.unknowns.size
        roots = [np.linalg.cholesky(reading.covariance) for reading in evidence.readings]
        self._whiten = [np.linalg.inv(root) for root in roots]
        self.log_norm = -sum(
            float(np.log(np.diag(root)).sum()) + len(root) * np.log(2 * np.pi) / 2 for root in roots
        )
        self.rows = sum(len(root) for root in roots)

    def state(
        self,
        z: Array,
        of: Integers,
        start: Array | None = None,
        tolerance: float = FINE,
    ) -> State:
        """The air in every machine: z its variables, `of` its set of faults."""
        machines = self.unknowns.machines(z, of)
        return operating_point(AirPath.of(machines), self.evidence.setting, start, tolerance)

    def residuals(self, state: State) -> Array:
        """Whitened misfit of the readings: (machines, rows). Not finite where no air flows."""
        with np.errstate(invalid="ignore"):
            each = [
                (predicted(reading, self.evidence, state) - reading.value) @ whiten.T
                for reading, whiten in zip(self.evidence.readings, self._whiten, strict=True)
            ]
        return np.concatenate(each, axis=1)


def predicted(reading: Reading, evidence: Evidence, state: State) -> Array:
    """What a reading would be: (machines, its points)."""
    p0 = evidence.setting.ambient_pressure
    if reading.quantity == "metered_flow":
        value = np.log(np.maximum(state.metered_flow, 1e-6))
    elif reading.quantity == "inlet_vacuum":
        value = p0 - state.inlet_pressure
    elif reading.quantity == "tank_vacuum":
        value = p0 - state.tank_pressure
    elif reading.quantity == "pipe_vacuum":
        value = p0 - state.tap_pressure
    else:
        value = state.discharge_rise
    return value[:, reading.points]


def sample(problem: Problem, fits: Fits, probability: Array, seed: int) -> Machines:
    """Samples of the machine under every set of faults, by its probability.

    Chains are shared out to the sets. Each begins at a draw from its set's Gaussian and takes
    Metropolis steps along it, large and small.
    """
    generator = np.random.default_rng(seed)
    # Systematic resampling: every set gets its share of the chains, give or take one.
    marks = (np.arange(CHAINS) + generator.uniform()) / CHAINS
    edges = np.cumsum(probability) / np.sum(probability)
    of = np.minimum(np.searchsorted(edges, marks), len(edges) - 1)
    mode, root = fits.mode[of], fits.root[of]
    ambient = problem.evidence.setting.ambient_pressure

    def target(z: Array, start: Array) -> tuple[Array, Array]:
        state = problem.state(z, of, start, ROUGH)
        misfit = np.sum(problem.residuals(state) ** 2, axis=1)
        good = state.converged.all(axis=1) & np.isfinite(misfit)
        log = np.where(good, -(misfit + np.sum(z**2, axis=1)) / 2, -np.inf)
        return log, state.inlet_pressure / ambient

    z = mode + np.einsum("nij,nj->ni", root, generator.standard_normal(mode.shape))
    log, ratio = target(z, fits.start[of])
    kept = []
    for step in range(STEPS):
        length = 2.38 / np.sqrt(problem.size) * np.exp(generator.normal(-0.3, 0.8, (CHAINS, 1)))
        move = np.einsum("nij,nj->ni", root, generator.standard_normal(z.shape))
        new = z + length * move
        new_log, new_ratio = target(new, ratio)
        accept = np.log(generator.uniform(size=CHAINS)) < new_log - log
        z = np.where(accept[:, None], new, z)
        ratio = np.where(accept[:, None], new_ratio, ratio)
        log = np.where(accept, new_log, log)
        if (STEPS - 1 - step) % THIN == 0 and step >= STEPS // 2:
            kept.append(z)
    stacked, every = np.concatenate(kept), np.tile(of, len(kept))
    x = problem.unknowns.machines(stacked, every)
    start = np.tile(ratio, (len(kept), 1))
    state = operating_point(AirPath.of(x), problem.evidence.setting, start)
    misfit = np.sum(problem.residuals(state) ** 2, axis=1)
    return Machines(every, x, state, misfit / problem.rows)


def fit(problem: Problem) -> Fits:
    """The best machine of every set of faults, and the set's evidence by Laplace.

    Gauss and Newton's method for all sets at once. Of several damped steps the best is taken
    (Levenberg, Marquardt), until a set gains no more or has no hope beside the best.
    """
    d = problem.size
    mode, start = _starts(problem)
    cost = np.full(len(mode), np.inf)
    precision = np.repeat(np.eye(d)[None], len(mode), axis=0)
    active = np.arange(len(mode))
    for turn in range(ITERATIONS):
        at = mode[active]
        moved = np.repeat(at[:, None, :], d + 1, axis=1)
        moved[:, 1:][:, np.arange(d), np.arange(d)] += STEP
        rows, start[active] = _solved(problem, moved, active, start[active])
        residual = rows[:, 0]
        jacobian = np.swapaxes(rows[:, 1:] - rows[:, :1], 1, 2) / STEP
        cost[active] = np.sum(residual**2, axis=1) + np.sum(at**2, axis=1)
        normal = np.swapaxes(jacobian, 1, 2) @ jacobian + np.eye(d)
        precision[active] = normal
        gradient = np.einsum("hrd,hr->hd", jacobian, residual) + at
        trials = np.stack([_step(normal, gradient, damping) for damping in DAMPINGS], axis=1)
        trials = np.clip(at[:, None, :] + trials, -FARTHEST, FARTHEST)
        tried, _ = _solved(problem, trials, active, start[active])
        costs = np.sum(tried**2, axis=2) + np.sum(trials**2, axis=2)
        costs = np.where(np.isfinite(costs), costs, np.inf)
        best = np.argmin(costs, axis=1)
        rank = np.arange(len(active))
        gain = cost[active] - costs[rank, best]
        better = gain > 0
        mode[active[better]] = trials[rank, best][better]
        after = np.where(better, costs[rank, best], cost[active])
        hope = np.full(len(active), True)
        if turn >= PATIENCE:
            hope = after < cost.min() + HOPELESS
        active = active[(gain > ENOUGH) & hope]
        if not len(active):
            break
    root = np.linalg.cholesky(np.linalg.inv(precision))
    log_z = problem.log_norm - cost / 2 + np.log(np.einsum("hii->hi", root)).sum(axis=1)
    return Fits(mode, root, start, log_z)


def _solved(problem: Problem, z: Array, of: Integers, start: Array) -> tuple[Array, Array]:
    """Residuals of several machines of each set, (sets, machines, rows), and the inlet over
    ambient pressure of each set's first machine."""
    sets, number, d = z.shape
    state = problem.state(z.reshape(-1, d), np.repeat(of, number), np.repeat(start, number, axis=0))
    first = state.inlet_pressure.reshape(sets, number, -1)[:, 0]
    return (
        problem.residuals(state).reshape(sets, number, -1),
        first / problem.evidence.setting.ambient_pressure,
    )


def _step(normal: Array, gradient: Array, damping: float) -> Array:
    """A damped step, not longer than LONGEST along any variable."""
    size = np.einsum("hii->hi", normal)
    damped = normal + damping * size[:, :, None] * np.eye(size.shape[1])
    step = np.linalg.solve(damped, -gradient[:, :, None])[:, :, 0]
    longest = np.abs(step).max(axis=1, keepdims=True)
    return np.asarray(step * np.minimum(1.0, LONGEST / np.maximum(longest, 1e-12)))


def _starts(problem: Problem) -> tuple[Array, Array]:
    """The best of a grid of fault sizes for every set, and its inlet over ambient pressure."""
    number = len(problem.sets)
    grid = np.array([(a, b) for a in STARTS for b in STARTS])
    first, second = problem.unknowns.size_columns
    rows, z = [], []
    for index, faults in enumerate(problem.sets):
        sizes = grid if len(faults) == 2 else grid[:: len(STARTS)][: max(1, 4 * len(faults))]
        block = np.zeros((len(sizes), problem.size))
        if faults:
            block[:, first] = sizes[:, 0]
        if len(faults) == 2:
            block[:, second] = sizes[:, 1]
        z.append(block)
        rows += [index] * len(sizes)
    stacked, hypothesis = np.concatenate(z), np.array(rows)
    state = problem.state(stacked, hypothesis)
    cost = np.sum(problem.residuals(state) ** 2, axis=1) + np.sum(stacked**2, axis=1)
    cost = np.where(np.isfinite(cost), cost, np.inf)
    best = [
        int(np.flatnonzero(hypothesis == h)[np.argmin(cost[hypothesis == h])])
        for h in range(number)
    ]
    ratio = state.inlet_pressure / problem.evidence.setting.ambient_pressure
    return stacked[best], ratio[best]
