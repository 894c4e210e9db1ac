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
from thinstock.words.phrase import phrase


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
        phrase("sheet.furnish.must_be_above_kg_m"),
        phrase("sheet.furnish.give_bone_dry_fibre_per"),
    ),
    "consistency": _Bound(
        0.0,
        0.05,
        False,
        True,
        phrase("sheet.furnish.must_lie_in"),
        phrase("sheet.furnish.headbox_consistency_as_fraction"),
    ),
    "suspension_variation": _Bound(
        0.0,
        1.0,
        True,
        True,
        phrase("sheet.furnish.must_lie_in_2"),
        phrase("sheet.furnish.excellent_headbox_no_dispersion_at"),
    ),
    "retention": _Bound(
        0.0,
        1.0,
        False,
        True,
        phrase("sheet.furnish.must_lie_in_3"),
        phrase("sheet.furnish.first_pass_retention_as_fraction"),
    ),
    "orientation": _Bound(
        0.0,
        1.0,
        True,
        False,
        phrase("sheet.furnish.must_lie_in_4"),
        phrase("sheet.furnish.no_orientation_machine_sheets_to"),
    ),
    "zone": _Bound(
        0.0,
        np.inf,
        True,
        False,
        phrase("sheet.furnish.must_not_be_negative"),
        phrase("sheet.furnish.side_inspection_square_in_metres"),
    ),
    "hole_diameter": _Bound(
        0.0,
        np.inf,
        True,
        False,
        phrase("sheet.furnish.must_not_be_negative"),
        "Diameter in metres; 0 counts all holes.",
    ),
    "density": _Bound(
        0.0, np.inf, False, False, phrase("sheet.furnish.must_be_above_kg_m_2"), phrase("sheet.furnish.stock_close_to")
    ),
    "floc_ratio": _Bound(
        0.0,
        np.inf,
        False,
        False,
        phrase("sheet.furnish.must_be_above"),
        phrase("sheet.furnish.floc_diameter_in_fibre_lengths"),
    ),
    "gel_crowding": _Bound(
        0.0, np.inf, False, False, phrase("sheet.furnish.must_be_above"), phrase("sheet.furnish.for_wood_pulps")
    ),
    "self_healing_factor": _Bound(
        0.0, 1.0, False, True, phrase("sheet.furnish.must_lie_in_3"), phrase("sheet.furnish.no_healing")
    ),
    "excess_reference": _Bound(
        0.0,
        np.inf,
        True,
        False,
        phrase("sheet.furnish.must_not_be_negative"),
        phrase("sheet.furnish.wire_as_even_as_chance"),
    ),
    "decay_exponent": _Bound(
        0.0, np.inf, True, False, phrase("sheet.furnish.must_not_be_negative"), phrase("sheet.furnish.to_in_middle")
    ),
    "grammage_reference": _Bound(
        0.0,
        np.inf,
        False,
        False,
        phrase("sheet.furnish.must_be_above_kg_m"),
        phrase("sheet.furnish.grammage_sheet_whose_excess_known"),
    ),
    "excess_spread": _Bound(0.0, np.inf, False, False, phrase("sheet.furnish.must_be_above_m"), "0.0003 to 0.003 m."),
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
