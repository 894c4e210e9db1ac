"""What a sheet is made of, and the ranges in which the sheet model takes its inputs.

A furnish is checked when it is made; the other inputs are checked where they are used, all faults at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from thinstock.errors import Fault, Refused
from thinstock.formula.label import Array, Num
from thinstock.relations import suspension
from thinstock.words.fault import fault_in


def as_text(value: Num) -> str:
    """A number, or the ends of an array, for a message."""
    array = np.asarray(value, dtype=float).ravel()
    if array.size == 0:
        return "nothing"
    if array.size == 1:
        return f"{array[0]:.6g}"
    if array.size <= 6:
        return "(" + ", ".join(f"{v:.6g}" for v in array) + ")"
    return f"{np.min(array):.6g} to {np.max(array):.6g}"


class Components(NamedTuple):
    """A furnish as arrays, components on the last axis."""

    share: Array
    fibre_length: Array
    fibre_width: Array
    coarseness: Array
    fibre_grammage: Array


def _row(value: Num) -> Any:
    """A tuple of floats for one case, a read-only array for many."""
    array = np.atleast_1d(np.asarray(value, dtype=float))
    if array.ndim == 1:
        return tuple(array.tolist())
    array = array.copy()
    array.flags.writeable = False
    return array


@dataclass(frozen=True, eq=False)
class Furnish:
    """What the sheet is made of: one value per fibre and quantity, shares by dry mass; cases first."""

    name: str
    share: Num
    fibre_length: Num
    fibre_width: Num
    coarseness: Num

    def __post_init__(self) -> None:
        faults: list[Fault] = []
        words = ("share", "fibre_length", "fibre_width", "coarseness")
        for word in words:
            value = np.asarray(getattr(self, word), dtype=float)
            if not np.all(np.isfinite(value) & (value > 0.0)):
                faults.append(fault_in("sheet.furnish.leave_fibre_out_rather_than", word, as_text(value)))
            object.__setattr__(self, word, _row(value))
        counts = {word: np.shape(getattr(self, word))[-1] for word in words}
        if len(set(counts.values())) > 1:
            faults.append(
                fault_in("sheet.furnish.share", "share", ", ".join(f"{n} of {word}" for word, n in counts.items()))
            )
        if faults:
            raise Refused(faults)
        total = np.sum(np.asarray(self.share), axis=-1)
        if np.any(np.abs(total - 1.0) > 1e-6):
            faults.append(fault_in("sheet.furnish.shares_must_add_up_to", "share", as_text(total)))
        if np.any(np.asarray(self.fibre_width) > np.asarray(self.fibre_length)):
            faults.append(fault_in("sheet.furnish.fibre_width", "fibre_width", as_text(self.fibre_width)))
        if faults:
            raise Refused(faults)

    @cached_property
    def components(self) -> Components:
        """The furnish as arrays, with the fibre grammage of each component."""
        share, length, width, coarse = (
            np.asarray(v) for v in (self.share, self.fibre_length, self.fibre_width, self.coarseness)
        )
        return Components(share, length, width, coarse, suspension.fibre_grammage(coarse, width))


class _Range(NamedTuple):
    """What a value may be; the phrases `sheet.range` say it, and what is usual."""

    low: float
    high: float
    low_in: bool = False
    """The lower bound itself is allowed."""
    high_in: bool = False


_RANGES = {
    "grammage": _Range(0.0, np.inf),
    "consistency": _Range(0.0, 0.05, high_in=True),
    "suspension_variation": _Range(0.0, 1.0, low_in=True, high_in=True),
    "retention": _Range(0.0, 1.0, high_in=True),
    "orientation": _Range(0.0, 1.0, low_in=True),
    "zone": _Range(0.0, np.inf, low_in=True),
    "hole_diameter": _Range(0.0, np.inf, low_in=True),
    "density": _Range(0.0, np.inf),
    "floc_ratio": _Range(0.0, np.inf),
    "gel_crowding": _Range(0.0, np.inf),
    "self_healing_factor": _Range(0.0, 1.0, high_in=True),
    "excess_reference": _Range(0.0, np.inf, low_in=True),
    "decay_exponent": _Range(0.0, np.inf, low_in=True),
    "grammage_reference": _Range(0.0, np.inf),
    "excess_spread": _Range(0.0, np.inf),
}


def check_ranges(values: dict[str, Num], at: str = "") -> list[Fault]:
    """Faults of the values that leave their range; NaN counts as outside."""
    faults = []
    for field, value in values.items():
        bound = _RANGES[field]
        array = np.asarray(value, dtype=float)
        inside = (array >= bound.low) if bound.low_in else (array > bound.low)
        inside &= (array <= bound.high) if bound.high_in else (array < bound.high)
        if not np.all(inside):
            worst = array if array.ndim == 0 else array[~inside]
            faults.append(fault_in(f"sheet.range.{field}", at + field, as_text(worst)))
    return faults
