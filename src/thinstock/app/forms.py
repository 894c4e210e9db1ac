"""The form of a machine, made from the declarations of its fields: nothing here knows a single field but the twelve.

A row says what a value is, in which unit it is read, what is possible and usual, where it comes from, and how it was
before it was changed. Numbers are texts with the digits a box needs; what is typed comes back as text.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.app.state import edge_unit_of
from thinstock.case.shapes import Shape, shapes
from thinstock.machine.line import Machine
from thinstock.words import address, nomenclature, units
from thinstock.words.quantity import NOT_GIVEN, Choice, Fields, Q, Words

STEPS = 300
"""About so many positions of a slider."""
NEAR = 2.5
"""A slider reaches from so many times less to so many times more than the value, inside the usual range."""


@dataclass(frozen=True, kw_only=True)
class Row:
    """One value of the form."""

    address: str
    name: str
    """The field in plain words."""
    meaning: str
    sort: str
    """quantity, choice, words or flag."""
    text: str
    base: str
    """The text before any change."""
    unit: str = ""
    low: str = ""
    high: str = ""
    step: str = ""
    """Bounds of a slider in the unit; empty where there is none."""
    usual: str = ""
    possible: str = ""
    remedy: str = ""
    status: str = ""
    source: str = ""
    note: str = ""
    options: tuple[str, ...] = ()
    empty: str = ""
    """What an empty box means, where it may be empty."""
    changed: bool = False
    uncertainty: str = ""

    @property
    def key(self) -> str:
        """The address as an element's name."""
        return "".join(c if c.isalnum() or c == "_" else "-" for c in self.address)


@dataclass(frozen=True, kw_only=True)
class Group:
    """A part of the machine: its rows and the parts in it."""

    title: str
    address: str
    rows: tuple[Row, ...]
    groups: tuple[Group, ...]

    @property
    def changed(self) -> int:
        """How many values below here are changed."""
        return sum(row.changed for row in self.rows) + sum(group.changed for group in self.groups)

    @property
    def count(self) -> int:
        """How many values there are."""
        return len(self.rows) + sum(group.count for group in self.groups)


class Form:
    """All rows of one machine beside the machine it was before the changes."""

    def __init__(self, machine: Machine, base: Machine, unit_set: units.UnitSet) -> None:
        self.machine, self.base, self.unit_set = machine, base, unit_set
        self.air = float(machine.site.atmospheric_pressure())
        self.base_air = float(base.site.atmospheric_pressure())

    def row(self, where: str) -> Row:
        """The row of one address."""
        owner, last = _owner(self.machine, where)
        return self._row(shapes(type(owner))[last], where, getattr(owner, last))

    def group(self) -> Group:
        """Everything."""
        return self._group(self.machine, "", "")

    def _group(self, part: Fields, at: str, title: str) -> Group:
        rows: list[Row] = []
        inner: list[Group] = []
        for name, shape in shapes(type(part)).items():
            value = getattr(part, name)
            where = f"{at}.{name}" if at else name
            if shape.sort == "part":
                if value is not None:
                    inner.append(self._group(value, where, in_words(name)))
            elif shape.sort == "parts":
                for number, (item, one) in enumerate(zip(address.item_names(value), value, strict=True)):
                    heading = getattr(one, "name", "") or f"{in_words(name)} {number + 1}"
                    inner.append(self._group(one, f"{where}.{address.join((item,))}", f"{in_words(name)}: {heading}"))
            elif name != "name" or not at:
                rows.append(self._row(shape, where, value))
        return Group(title=title, address=at, rows=tuple(rows), groups=tuple(inner))

    def _row(self, shape: Shape, where: str, value: Any) -> Row:
        given = self.machine.given.get(where)
        before = self._before(where)
        changed = given is not None and given.changed
        about = shape.field.about
        known: dict[str, Any] = {
            "address": where, "name": in_words(shape.name), "sort": shape.sort, "changed": changed,
            "status": given.status if given is not None and given.status else "",
            "source": given.source if given is not None else "", "note": given.note if given is not None else "",
        }  # fmt: skip
        if not isinstance(about, Q):
            options = about.options if isinstance(about, Choice) else ()
            meaning = about.label if isinstance(about, Choice | Words) else ""
            return Row(meaning=meaning, text=_said(value), base=_said(before), options=options, **known)
        if not known["status"]:
            known["status"] = "" if value is None else (about.status if about.status != "required" else "given")
            known["source"] = "" if about.source == "ASSUMED" else about.source
        unit = edge_unit_of(about, self.unit_set)
        limit = getattr(_owner(self.machine, where)[0], f"{shape.name}_limit", None)
        low, high, step = self._slider(about, unit, before if before is not None else value, limit)
        meaning = about.label or nomenclature.word(about.word).meaning
        return Row(
            meaning=meaning, unit=unit, text=self._number(about, unit, value, self.air),
            base=self._number(about, unit, before, self.base_air), low=low, high=high, step=step,
            usual=self._range(about, unit, about.usual), possible=self._range(about, unit, about.possible),
            remedy=about.remedy, empty=NOT_GIVEN if about.limit else "worked out" if about.optional else "",
            uncertainty=self._spread(about, unit, value, given), **known,
        )  # fmt: skip

    def _before(self, where: str) -> Any:
        owner, last = _owner(self.base, where)
        return getattr(owner, last)

    def _edge(self, about: Q, unit: str, value: float, air: float) -> float:
        kind = nomenclature.word(about.word).kind
        known = None if kind in nomenclature.PLAIN_KINDS else kind
        return float(units.from_si(float(value), unit or "1", known, atmospheric_pressure=air))

    def _number(self, about: Q, unit: str, value: Any, air: float) -> str:
        """The text of a box, in as few digits as can be typed back; empty where there is no value."""
        if value is None:
            return ""
        edge = self._edge(about, unit, value, air)
        if self.unit_set != "mill" and math.isclose(float(short := units.number_text(edge)), edge, rel_tol=1e-5):
            return short
        return units.number_text(edge, 6)

    def _range(self, about: Q, unit: str, ends: tuple[float, float] | None) -> str:
        if ends is None or not math.isfinite(ends[0] + ends[1]):
            return ""
        low, high = (units.number_text(self._edge(about, unit, end, self.air), 3) for end in ends)
        return f"{low} to {high}"

    def _spread(self, about: Q, unit: str, value: Any, given: Any) -> str:
        if given is None or given.uncertainty is None or value is None:
            return ""
        near = self._edge(about, unit, value, self.air)
        return units.number_text(abs(self._edge(about, unit, value + given.uncertainty, self.air) - near), 2)

    def _slider(self, about: Q, unit: str, value: Any, limit: Any) -> tuple[str, str, str]:
        """Bounds and step of a slider: usual values near this one, never beyond what is possible or a limit entered."""
        if about.usual is None or value is None or not math.isfinite(about.usual[0] + about.usual[1]):
            return "", "", ""
        here = float(value)
        low, high = about.usual
        if here > 0:
            low, high = max(low, here / NEAR), min(high, here * NEAR)
        low, high = max(min(low, here), about.possible[0]), min(max(high, here), about.possible[1])
        if limit is not None and float(limit) >= here:
            high = min(high, float(limit))
        if high <= low:
            return "", "", ""
        ends = sorted((self._edge(about, unit, low, self.air), self._edge(about, unit, high, self.air)))
        step = 1.0 if about.integer else _nice((ends[1] - ends[0]) / STEPS)
        places = max(0, -math.floor(math.log10(step) + 1e-9))
        first, last = math.ceil(ends[0] / step - 1e-9) * step, math.floor(ends[1] / step + 1e-9) * step
        return f"{first:.{places}f}", f"{last:.{places}f}", f"{step:.{places}f}"


def _owner(machine: Machine, where: str) -> tuple[Any, str]:
    *path, last = address.split(where)
    return (address.get(machine, address.join(path)) if path else machine), last


def _nice(step: float) -> float:
    """The nearest step of 1, 2, 5 times a power of ten, from above."""
    power = 10.0 ** math.floor(math.log10(step))
    return next(k * power for k in (1.0, 2.0, 5.0, 10.0) if k * power >= step * (1 - 1e-9))


def _said(value: Any) -> str:
    if isinstance(value, bool | np.bool_):
        return "true" if value else "false"
    return "" if value is None else str(value)


def in_words(name: str) -> str:
    """A field's name in plain words."""
    return name.replace("_", " ")


def all_rows(group: Group) -> Iterator[Row]:
    """The rows of a group and of all groups in it."""
    yield from group.rows
    for inner in group.groups:
        yield from all_rows(inner)


# -- the twelve ----------------------------------------------------------------------------------------------------

FORMER, PRESS = "former", "press"


def twelve(machine: Machine) -> tuple[str, ...]:
    """The addresses of the twelve numbers, in their order; former and press stand as words."""
    dryer = "yankee" if machine.yankee is not None else "dryer"
    measure = next(n for n in ("freeness", "drainability", "resistance_coefficient") if getattr(machine.stock, n))
    nip = address.join((address.item_names(machine.press.nip)[0],))
    last = (
        ("yankee.steam_pressure", "hood.air_temperature") if machine.yankee is not None else ("dryer.heat_per_water",)
    )
    return (
        "grade.reel_grammage",
        "grade.crepe",
        "grade.reel_dryness",
        f"{dryer}.speed",
        f"{dryer}.width",
        f"stock.{measure}",
        "stock.temperature",
        "headbox.consistency",
        FORMER,
        PRESS,
        f"press.nip.{nip}.line_load",
        *last,
    )
