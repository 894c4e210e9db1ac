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
                faults.append(
                    Fault(
                        field=word,
                        value=as_text(value),
                        bound="must be above 0",
                        remedy="Leave a fibre out rather than give it nothing.",
                    )
                )
            object.__setattr__(self, word, _row(value))
        counts = {word: np.shape(getattr(self, word))[-1] for word in words}
        if len(set(counts.values())) > 1:
            faults.append(
                Fault(
                    field="share",
                    value=", ".join(f"{n} of {word}" for word, n in counts.items()),
                    bound="every quantity needs one value per fibre",
                    remedy="Give as many lengths, widths and coarsenesses as shares.",
                )
            )
        if faults:
            raise Refused(faults)
        total = np.sum(np.asarray(self.share), axis=-1)
        if np.any(np.abs(total - 1.0) > 1e-6):
            faults.append(
                Fault(
                    field="share",
                    value=as_text(total),
                    bound="the shares must add up to 1",
                    remedy="Change a share so that they do.",
                )
            )
        if np.any(np.asarray(self.fibre_width) > np.asarray(self.fibre_length)):
            faults.append(
                Fault(
                    field="fibre_width",
                    value=as_text(self.fibre_width),
                    bound="must not exceed the fibre length",
                    remedy="Width is the short one: about 0.01 to 0.05 mm.",
                )
            )
        if faults:
            raise Refused(faults)

    @cached_property
    def components(self) -> Components:
        """The furnish as arrays, with the fibre grammage of each component."""
        share, length, width, coarse = (
            np.asarray(v) for v in (self.share, self.fibre_length, self.fibre_width, self.coarseness)
        )
        return Components(share, length, width, coarse, suspension.fibre_grammage(coarse, width))


class _Bound(NamedTuple):
    low: float
    high: float
    low_in: bool
    """The lower bound itself is allowed."""
    high_in: bool
    text: str
    remedy: str


_BOUNDS: dict[str, _Bound] = {
    "grammage": _Bound(
        0.0,
        np.inf,
        False,
        False,
        "must be above 0 kg/m²",
        "Give bone-dry fibre per area on the wire, such as 0.014.",
    ),
    "consistency": _Bound(
        0.0, 0.05, False, True, "must lie in (0, 0.05]", "Headbox consistency as a fraction: 0.2 % is 0.002."
    ),
    "suspension_variation": _Bound(
        0.0, 1.0, True, True, "must lie in [0, 1]", "0.06 is an excellent headbox, 0.40 no dispersion at all."
    ),
    "retention": _Bound(0.0, 1.0, False, True, "must lie in (0, 1]", "First-pass retention as a fraction."),
    "orientation": _Bound(
        0.0, 1.0, True, False, "must lie in [0, 1)", "0 is no orientation; machine sheets 0.1 to 0.5."
    ),
    "zone": _Bound(0.0, np.inf, True, False, "must not be negative", "Side of the inspection square in metres."),
    "hole_diameter": _Bound(
        0.0, np.inf, True, False, "must not be negative", "Diameter in metres; 0 counts all holes."
    ),
    "density": _Bound(0.0, np.inf, False, False, "must be above 0 kg/m³", "Stock is close to 1000."),
    "floc_ratio": _Bound(0.0, np.inf, False, False, "must be above 0", "Floc diameter in fibre lengths; 3 to 5."),
    "gel_crowding": _Bound(0.0, np.inf, False, False, "must be above 0", "16 for wood pulps."),
    "self_healing_factor": _Bound(0.0, 1.0, False, True, "must lie in (0, 1]", "1 is no healing."),
    "excess_reference": _Bound(
        0.0, np.inf, True, False, "must not be negative", "0 is a wire as even as chance; handsheets gave 9 at 4 g/m²."
    ),
    "decay_exponent": _Bound(0.0, np.inf, True, False, "must not be negative", "1.4 to 3; 2 in the middle."),
    "grammage_reference": _Bound(
        0.0, np.inf, False, False, "must be above 0 kg/m²", "Grammage of the sheet whose excess is known: 0.004."
    ),
    "excess_spread": _Bound(0.0, np.inf, False, False, "must be above 0 m", "0.0003 to 0.003 m."),
}


def check_ranges(values: dict[str, Num], at: str = "") -> list[Fault]:
    """Faults of the values that leave their range; NaN counts as outside."""
    faults = []
    for field, value in values.items():
        bound = _BOUNDS[field]
        array = np.asarray(value, dtype=float)
        inside = (array >= bound.low) if bound.low_in else (array > bound.low)
        inside &= (array <= bound.high) if bound.high_in else (array < bound.high)
        if not np.all(inside):
            worst = array if array.ndim == 0 else array[~inside]
            faults.append(Fault(field=at + field, value=as_text(worst), bound=bound.text, remedy=bound.remedy))
    return faults
