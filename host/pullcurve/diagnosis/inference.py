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

from pullcurve.diagnosis import path_model
from pullcurve.diagnosis.evidence import Evidence, Reading
from pullcurve.diagnosis.path_model import State
from pullcurve.diagnosis.priors import Priors
from pullcurve.diagnosis.unknowns import Unknowns

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

CHAINS, STEPS, THIN = 400, 40, 5
STARTS = (-1.3, -0.4, 0.4, 1.3)  # of a fault's size, as standard normal
ITERATIONS = 24
STEP = 1e-4

TAP_HEADS = 1.3  # from rest behind the filter to the tap (judgement)


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

    def state(self, z: Array, of: Integers, start: Array | None = None) -> State:
        """The air in every machine: z its variables, `of` its set of faults."""
        return path_model.solve(self.evidence.setting, self.unknowns.machines(z, of), start)

    def residuals(self, state: State) -> Array:
        """Whitened misfit of the readings: (machines, rows)."""
        return np.concatenate(
            [
                (predicted(reading, self.evidence, state) - reading.value) @ whiten.T
                for reading, whiten in zip(self.evidence.readings, self._whiten, strict=True)
            ],
            axis=1,
        )


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
        # At the upstream tap, where the air already runs: its head, and what the mouth costs.
        setting = evidence.setting
        rt = setting.gas_constant * setting.temperature
        head = (state.pipe_flow / setting.meter_area) ** 2 * rt / (2 * state.pipe_pressure)
        value = p0 - state.pipe_pressure + TAP_HEADS * head
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
    mode, root, start = fits.mode[of], fits.root[of], fits.start[of]

    def target(z: Array) -> Array:
        state = problem.state(z, of, start)
        misfit = np.sum(problem.residuals(state) ** 2, axis=1)
        good = state.converged.all(axis=1) & np.isfinite(misfit)
        return np.where(good, -(misfit + np.sum(z**2, axis=1)) / 2, -np.inf)

    z = mode + np.einsum("nij,nj->ni", root, generator.standard_normal(mode.shape))
    log = target(z)
    kept = []
    for step in range(STEPS):
        length = 2.38 / np.sqrt(problem.size) * np.exp(generator.normal(-0.3, 0.8, (CHAINS, 1)))
        move = np.einsum("nij,nj->ni", root, generator.standard_normal(z.shape))
        new = z + length * move
        new_log = target(new)
        accept = np.log(generator.uniform(size=CHAINS)) < new_log - log
        z = np.where(accept[:, None], new, z)
        log = np.where(accept, new_log, log)
        if (STEPS - 1 - step) % THIN == 0 and step >= STEPS // 2:
            kept.append(z)
    stacked, every = np.concatenate(kept), np.tile(of, len(kept))
    x = problem.unknowns.machines(stacked, every)
    state = path_model.solve(problem.evidence.setting, x, np.tile(start, (len(kept), 1)))
    misfit = np.sum(problem.residuals(state) ** 2, axis=1)
    return Machines(every, x, state, misfit / problem.rows)


def fit(problem: Problem) -> Fits:
    """The best machine of every set of faults, and the set's evidence by Laplace."""
    number, d = len(problem.sets), problem.size
    mode, start = _starts(problem)
    every = np.arange(number)
    damping = np.full(number, 1e-3)
    cost, jacobian, residual = np.full(number, np.inf), np.empty(0), np.empty(0)
    trial = mode
    for turn in range(ITERATIONS):
        moved = np.repeat(trial[:, None, :], d + 1, axis=1)
        moved[:, 1:][:, np.arange(d), np.arange(d)] += STEP
        flat = moved.reshape(-1, d)
        state = problem.state(flat, np.repeat(every, d + 1), np.repeat(start, d + 1, axis=0))
        start_new = state.inlet_pressure.reshape(number, d + 1, -1)[:, 0]
        start_new = start_new / problem.evidence.setting.ambient_pressure
        rows = problem.residuals(state).reshape(number, d + 1, -1)
        new_cost = np.sum(rows[:, 0] ** 2, axis=1) + np.sum(trial**2, axis=1)
        new_jacobian = np.swapaxes(rows[:, 1:] - rows[:, :1], 1, 2) / STEP
        if turn == 0:
            jacobian, residual = new_jacobian, rows[:, 0]
            cost, start = new_cost, start_new
        else:
            better = new_cost <= cost
            mode = np.where(better[:, None], trial, mode)
            jacobian = np.where(better[:, None, None], new_jacobian, jacobian)
            residual = np.where(better[:, None], rows[:, 0], residual)
            start = np.where(better[:, None], start_new, start)
            cost = np.where(better, new_cost, cost)
            damping = np.where(better, damping / 5, damping * 4)
        normal = np.swapaxes(jacobian, 1, 2) @ jacobian + np.eye(d)
        gradient = np.einsum("hrd,hr->hd", jacobian, residual) + mode
        damped = normal + damping[:, None, None] * np.eye(d) * np.einsum("hii->hi", normal)[:, None]
        step = np.linalg.solve(damped, -gradient[:, :, None])[:, :, 0]
        trial = np.clip(mode + np.clip(step, -1.5, 1.5), -5, 5)
    precision = np.swapaxes(jacobian, 1, 2) @ jacobian + np.eye(d)
    root = np.linalg.cholesky(np.linalg.inv(precision))
    log_z = problem.log_norm - cost / 2 + np.log(np.einsum("hii->hi", root)).sum(axis=1)
    return Fits(mode, root, start, log_z)


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
