"""Grades by name: what is sold, what lies on the wire, how dilute the trade runs it, and a bundled machine that suits.

Consistencies are common practice without a source; the lowest quoted ones are what one hears, not what a machine of
today supplies.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any, NamedTuple

from thinstock.errors import Fault, Refused
from thinstock.library.former_files import library_file
from thinstock.words import units
from thinstock.words.address import nearest
from thinstock.words.phrase import phrase


class GradeRow(NamedTuple):
    """One grade, SI."""

    name: str
    description: str
    wire_grammage: float
    """Bone-dry fibre on the wire, kg/m²."""
    reel_grammage: float
    """As sold, with its moisture and filler."""
    reel_dryness: float
    crepe: float
    filler_share: float
    """Of the solids at the reel; filler is not modelled."""
    furnish: tuple[tuple[str, float], ...]
    """Fibres of the library and their shares."""
    consistency: float
    """Taken where none is given."""
    usual: tuple[float, float]
    trade_rule: float
    lowest_quoted: float
    notes: dict[str, str]
    machine: str
    """Name of the bundled machine that suits the grade."""

    @property
    def reel_grammage_of_fibre(self) -> float:
        """Reel grammage without its filler, which is what a machine file holds."""
        return self.reel_grammage * (1.0 - self.filler_share)


def grade_names() -> tuple[str, ...]:
    """The grades of the library."""
    return tuple(library_file("grades"))


@lru_cache(maxsize=32)
def grade(key: str) -> GradeRow:
    """A grade by its name, such as "facial" or "tea-bag type"."""
    rows = library_file("grades")
    if key not in rows:
        near = nearest(str(key), rows)
        remedy = f"Nearest: {', '.join(near)}." if near else f"Known: {', '.join(rows)}."
        raise Refused(
            Fault(
                field="grade",
                value=repr(key),
                bound=phrase("library.grade_rows.library_has_no_such_grade"),
                remedy=remedy,
            )
        )
    row = rows[key]

    def number(name: str, kind: str, default: str = "0") -> float:
        return units.parse(row.get(name, {"value": default})["value"], kind, field=f"{key}.{name}")

    return GradeRow(
        name=key,
        description=row["description"],
        wire_grammage=number("wire_grammage", "grammage"),
        reel_grammage=number("reel_grammage", "grammage"),
        reel_dryness=number("reel_dryness", "fraction"),
        crepe=number("crepe", "fraction"),
        filler_share=number("filler_share", "fraction"),
        furnish=tuple((part["fibre"], units.parse(part["share"], "fraction")) for part in row["furnish"]),
        consistency=number("consistency", "fraction"),
        usual=(units.parse(row["usual"]["low"], "fraction"), units.parse(row["usual"]["high"], "fraction")),
        trade_rule=number("trade_rule", "fraction"),
        lowest_quoted=number("lowest_quoted", "fraction"),
        notes={name: _note(entry) for name, entry in row.items() if _note(entry)},
        machine=row["machine"],
    )


def _note(entry: Any) -> str:
    return str(entry.get("note", "")) if isinstance(entry, dict) else ""
