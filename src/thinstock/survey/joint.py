"""The readings of several rounds as one function of a machine's constants and of each round's settings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from thinstock.formula.label import Array
from thinstock.survey.machine_constants import Unknown
from thinstock.survey.machine_model import MachineModel

STEP = 0.05
"""Change of a fitted variable for a slope, in standard uncertainties of its prior."""


class Joint:
    """The readings of all rounds as a function of constants and settings, in units of their priors."""

    def __init__(self, constants: Sequence[Unknown], rounds: Sequence[tuple[MachineModel, Sequence[Unknown]]]) -> None:
        self.constants = tuple(constants)
        self.rounds = tuple((model, tuple(settings)) for model, settings in rounds)
        self.unknowns = (*self.constants, *(s for _, settings in self.rounds for s in settings))

    def __call__(self, units: Any) -> Array:
        return np.asarray(self.many(np.asarray(units, dtype=float)[None, :])[0], dtype=np.float64)

    def many(self, units: Array) -> Array:
        """Cases x readings, for cases x unknowns."""
        parts = []
        for model, columns, unknowns in self._rounds():
            values = {u.address: u.value(units[:, c]) for u, c in zip(unknowns, columns, strict=True)}
            parts.append(model.readings(values))
        return np.concatenate(parts, axis=1)

    def jacobian(self, units: Any) -> Array:
        """Readings x unknowns at one place."""
        return np.asarray(self.slopes(np.asarray(units, dtype=float)[None, :])[1][0], dtype=np.float64)

    def slopes(self, units: Array) -> tuple[Array, Array]:
        """(Readings, slopes) at many places: cases x readings, cases x readings x unknowns; one run per round."""
        cases, count = units.shape
        values, slopes = [], []
        for model, columns, unknowns in self._rounds():
            k = len(columns)
            trial = np.repeat(units[:, None, :], 2 * k + 1, axis=1)
            for j, c in enumerate(columns):
                trial[:, 2 * j + 1, c] += STEP
                trial[:, 2 * j + 2, c] -= STEP
            flat = trial.reshape(-1, count)
            out = model.readings({u.address: u.value(flat[:, c]) for u, c in zip(unknowns, columns, strict=True)})
            out = out.reshape(cases, 2 * k + 1, -1)
            slope = np.zeros((cases, out.shape[2], count))
            for j, c in enumerate(columns):
                slope[:, :, c] = (out[:, 2 * j + 1] - out[:, 2 * j + 2]) / (2.0 * STEP)
            values.append(out[:, 0])
            slopes.append(slope)
        return np.concatenate(values, axis=1), np.concatenate(slopes, axis=1)

    def _rounds(self) -> Iterable[tuple[MachineModel, list[int], tuple[Unknown, ...]]]:
        first = len(self.constants)
        for model, settings in self.rounds:
            columns = [*range(len(self.constants)), *range(first, first + len(settings))]
            yield model, columns, (*self.constants, *settings)
            first += len(settings)
