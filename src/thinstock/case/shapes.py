"""What may stand in a field of the machine file: a value, a choice, words, a part, a list of parts.

Derived from the sections' own classes; only the words for kinds of parts, and which fields may be looked up in the
library by a name, are told here.
"""

from __future__ import annotations

import types
import typing
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

from thinstock.machine.elements import KINDS
from thinstock.machine.felt import FeltBoxes
from thinstock.machine.forming import Forming
from thinstock.machine.line import Machine
from thinstock.machine.nips import NIPS, RollNip, ShoeNip
from thinstock.machine.press import PressSection
from thinstock.machine.press_law import DecreasingPermeability
from thinstock.machine.pumps import PUMPS
from thinstock.machine.stock import Stock
from thinstock.machine.surfaces import SURFACES
from thinstock.machine.vacuum import Slot, VacuumSection
from thinstock.words.quantity import Choice, Declared, Fields, Q, Words, declared

Sort = Literal["quantity", "choice", "words", "flag", "part", "parts"]

_TABLES: dict[tuple[type, str], dict[str, Any]] = {
    (Forming, "element"): KINDS,
    (PressSection, "nip"): NIPS,
    (PressSection, "dewatering"): {"decreasing permeability": DecreasingPermeability},
    (RollNip, "surface"): SURFACES,
    (ShoeNip, "surface"): SURFACES,
    (VacuumSection, "pump"): PUMPS,
}


RETIRED: dict[tuple[type, str], str] = {
    (Slot, "residual_saturation"): "entry",
    (Slot, "time_constant"): "entry",
    (Slot, "felt_end_ratio"): "felt_end",
    (Slot, "felt_time_constant"): "felt_time",
    (DecreasingPermeability, "water_retention_value"): "water_retention",
    (FeltBoxes, "felt_end_ratio"): "felt_end",
    (FeltBoxes, "time_constant"): "felt_time",
}
"""Fields of older files that are read and not used: the phrase that names the successor."""


@dataclass(frozen=True)
class Lookup:
    """A field whose values may come from a library file, by name."""

    key: str
    """The key that holds the name."""
    table: str
    needs: str
    """A row without this value is about something else."""


LOOKUPS: dict[tuple[type, str], Lookup] = {
    (Stock, "furnish"): Lookup("fibre", "furnishes", "coarseness"),
    (Forming, "wire"): Lookup("fabric", "fabrics", "air_permeability"),
    (PressSection, "felt"): Lookup("felt", "felts", "felt_grammage"),
}


@dataclass(frozen=True)
class Shape:
    """One field of a part as the file holds it."""

    field: Declared
    sort: Sort
    kinds: dict[str, type[Fields]]
    """Parts by their word; the single class of a field without choice has the word ""."""
    optional: bool
    lookup: Lookup | None

    @property
    def name(self) -> str:
        """Name of the field."""
        return self.field.name

    @property
    def q(self) -> Q:
        """The declaration of a quantity."""
        assert isinstance(self.field.about, Q)
        return self.field.about

    @property
    def required(self) -> bool:
        """True where a file must say it: no default, or a default that only stands in for a form."""
        about = self.field.about
        return self.field.required or (isinstance(about, Q) and about.status == "required")

    def kind_of(self, part: Fields) -> str:
        """The word for the class of a part."""
        return next(word for word, cls in self.kinds.items() if type(part) is cls)


def shapes(part: type) -> dict[str, Shape]:
    """The fields of a part in order; what is bookkeeping of the machine is left out."""
    return _shapes(part)


@cache
def _shapes(part: Any) -> dict[str, Shape]:
    return {d.name: _shape(part, d) for d in declared(part) if not (part is Machine and d.name == "given")}


def _shape(owner: type, field: Declared) -> Shape:
    if isinstance(field.about, Q):
        optional = field.about.optional or field.about.limit
        return Shape(field, "quantity", {}, optional, None)
    if isinstance(field.about, Choice):
        return Shape(field, "choice", {}, False, None)
    if isinstance(field.about, Words):
        return Shape(field, "words", {}, False, None)
    if field.type is bool:
        return Shape(field, "flag", {}, False, None)
    hint, sort = field.type, "part"
    if typing.get_origin(hint) is tuple:
        hint, sort = typing.get_args(hint)[0], "parts"
    classes = typing.get_args(hint) if typing.get_origin(hint) in (typing.Union, types.UnionType) else (hint,)
    optional = type(None) in classes
    found = [c for c in classes if c is not type(None)]
    kinds = _TABLES.get((owner, field.name))
    if kinds is None:
        if len(found) != 1:
            raise TypeError(f"{owner.__name__}.{field.name}: parts of several kinds need a table of their words")
        kinds = {"": found[0]}
    return Shape(field, typing.cast(Sort, sort), dict(kinds), optional, LOOKUPS.get((owner, field.name)))
