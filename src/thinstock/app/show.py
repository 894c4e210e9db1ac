"""A run in the words and digits of the page: headline, tables, limits, notes. Chooses and rounds; works nothing out.

Every number is the run's own. What a quick answer does not know (limits, uncertainties) is left out, not guessed.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, TypeGuard

import numpy as np

from thinstock.app.words import say
from thinstock.machine.holders import holder
from thinstock.machine.limits import Limit, Limits
from thinstock.machine.numbers import PLACES as WORDS_AT
from thinstock.machine.numbers import number as told_of
from thinstock.machine.provenance import assumed, in_words
from thinstock.machine.result import Result
from thinstock.studies.exchange import listed
from thinstock.tell import numbers as told
from thinstock.tell.blocks import Piece, Table, lined
from thinstock.tell.export import sources
from thinstock.words import address, units
from thinstock.words.cautions import cautions_for
from thinstock.words.figures import HELD_TOGETHER, NONE, Edge, figure, rounded
from thinstock.words.phrase import phrase

PLACES = {
    "headbox": "consistency", "stock": "consistency", "loop": "flow", "forming": "forming", "vacuum": "press",
    "press": "press", "Yankee": "energy", "yankee": "energy", "hood": "energy", "dryer": "energy",
    "grade": "production", "site": "production", "reel": "production",
}  # fmt: skip
"""Which headline number a note on a part belongs to."""


@dataclass(frozen=True, kw_only=True)
class Fact:
    """One headline number: label, the number itself in pieces, a line below, the notes that belong to it."""

    name: str
    label: str
    main: tuple[Piece, ...]
    below: str = ""
    notes: tuple[int, ...] = ()


def finite(value: Any) -> TypeGuard[Any]:
    """Whether there is a number."""
    return value is not None and bool(np.isfinite(value))


class Shown:
    """One run, ready to be set."""

    def __init__(
        self,
        result: Result,
        unit_set: units.UnitSet,
        limits: Limits | None = None,
        spreads: Mapping[str, Any] | None = None,
        movers: Iterable[str] = (),
    ) -> None:
        self.result, self.machine = result, result.machine
        self.unit_set, self.limits, self.spreads = unit_set, limits, spreads or {}
        self.movers = list(movers)
        self.edge = Edge(unit_set=unit_set, air=float(self.machine.site.atmospheric_pressure()))
        self.formed = bool(result.values.get("formed", True))
        self.notes = result.notes

    # -- numbers -----------------------------------------------------------------------------------------------------

    def text(self, name: str) -> str:
        """A named number with its unit."""
        return told.text(told_of(name), self.result.values.get(name), self.edge)

    def pieces(self, name: str, *, sure: bool = True, unit: bool = True) -> list[Piece]:
        """A named number in pieces, with its uncertainty where that is known."""
        value, about = self.result.values.get(name), told_of(name)
        if not finite(value):
            return [Piece("num", NONE)]
        spread = None if sure else self.spreads.get(name)
        written = told.text(about, value, self.edge, None if spread is None else spread.standard_uncertainty)
        shown = self.edge.unit(about.word)
        number = written.removesuffix(shown).strip() if shown else written
        head, sign, tail = number.partition(f"{HELD_TOGETHER}±{HELD_TOGETHER}")
        made = [Piece("num", head)]
        made += [Piece("pm", f"± {tail}")] if sign else []
        return made + ([Piece("unit", shown)] if shown and unit else [])

    # -- headline ----------------------------------------------------------------------------------------------------

    def facts(self) -> list[Fact]:
        """The headline in the order in which it is read."""
        made = [self._production(), self._first(), self._moisture(), self._consistency(), self._flow(), self._forming(),
                self._press(), self._energy()]  # fmt: skip
        return [fact for fact in made if fact is not None]

    def _fact(self, name: str, main: Iterable[Piece], below: str = "") -> Fact:
        numbers = tuple(i + 1 for i, note in enumerate(self.notes) if PLACES.get(note.part) == name)
        return Fact(name=name, label=say(f"headline.{name}"), main=tuple(main), below=below, notes=numbers)

    def _production(self) -> Fact:
        product = say("headline.product", grammage=self.text("reel_grammage"), speed=self.text("speed"))
        if self.formed:
            return self._fact("production", self.pieces("production"), product)
        left, whole = self.result.values["depth_not_drained"], self.result.values["stock_depth"]
        share = figure(100 * float(left) / float(whole), 2)
        below = say("headline.shortfall", depth=self.edge.text("stock_depth", left, 2), share=share)
        return self._fact("production", [Piece("word", say("headline.no_sheet"))], below)

    def _first(self) -> Fact | None:
        if self.limits is None:
            return None
        row = self.limits.binding
        if row is None:
            return self._fact(
                "first", [Piece("word", say("headline.nothing_first"))], say("headline.nothing_first_sub")
            )
        part = say("headline.window", part=row.part) if row.scope == "window" else row.part
        return self._fact("first", [Piece("word", part)], self.margin_in_words(row))

    def margin_in_words(self, row: Limit) -> str:
        """How far away a limit is."""
        if row.speed is None or row.margin is None or row.speed <= 0:
            return row.note
        key = "headline.above" if row.margin >= 0 else "headline.below"
        return say(key, speed=self.edge.text("speed", row.speed, 4), margin=figure(100 * abs(row.margin), 2))

    def _moisture(self) -> Fact:
        values = self.result.values
        if not self.formed:
            return self._fact("moisture", [Piece("num", NONE)])
        reached, wanted = float(values["reel_moisture"]), float(values["reel_moisture_wanted"])
        held = holder(self.result.held_by)
        name, what = held.number, phrase(f"holders.first.{held.phrase}") if held.phrase else ""
        points = 100 * (reached - wanted)
        if abs(points) < 0.02:
            below = say("headline.as_wanted")
            if name and name in values:
                below = say("headline.held_by", what=what, value=self.text(name))
        else:
            key = "headline.too_wet" if points > 0 else "headline.too_dry"
            off = say(key, points=figure(abs(points), 2), wanted=self.edge.text("reel_moisture", wanted, 2))
            below = (
                say("headline.at_bound", off=off, what=what) if name and name in values
                else say("headline.not_held", off=off)
            )  # fmt: skip
        return self._fact("moisture", self.pieces("reel_moisture"), below)

    def _consistency(self) -> Fact:
        return self._fact("consistency", self.pieces("consistency"), say("headline.in_headbox"))

    def _flow(self) -> Fact:
        key = "headline.in_all_us" if self.unit_set == "us" else "headline.in_all"
        water = self.edge.figure("water_per_fibre", self.result.values["water_per_fibre"], 3)
        below = say(key, flow=self.text("headbox_flow"), water=water)
        return self._fact("flow", self.pieces("flow_per_width", sure=False), below)

    def _forming(self) -> Fact:
        values = self.result.values
        share, slow = values["end_of_forming"], values.get("end_of_forming_slow")
        zone = "wrap" if finite(values.get("end_of_forming_wrap")) else "zone"
        if finite(share):
            main = [Piece("num", figure(100 * float(share), 2)), Piece("unit", "%"),
                    Piece("word", say(f"headline.{zone}"))]  # fmt: skip
        else:
            main = [Piece("word", say("headline.not_within", zone=say(f"headline.{zone}_bare")))]
        given = self.machine.given.get("stock.resistance_factor")
        if given is not None and given.status not in ("assumed", "", "what-if"):
            below = say("headline.calibrated")
        elif finite(slow):
            below = say("headline.up_to", share=figure(100 * float(slow), 2))
        else:
            below = say("headline.or_none")
        return self._fact("forming", main, below)

    def _press(self) -> Fact:
        if not self.formed:
            return self._fact("press", [Piece("num", NONE)])
        into = self.pieces("dryness_into_press", unit=False)
        return self._fact("press", [*into, Piece("sign", "→"), *self.pieces("dryness_press", sure=False)])

    def _energy(self) -> Fact:
        main: list[Piece] = []
        for kind in ("steam", "gas", "electricity"):
            value = self.result.values.get(f"{kind}_per_product")
            if finite(value) and float(value) > 0:
                main += [Piece("line", say(f"headline.{kind}")),
                         *self.pieces(f"{kind}_per_product", sure=False, unit=False)]  # fmt: skip
        if not main:
            return self._fact("energy", [Piece("num", NONE)], say("headline.no_product"))
        main.append(Piece("unit", self.edge.unit("specific_energy")))
        return self._fact("energy", main, say("headline.of_parts"))

    def certainty(self) -> str:
        """How many values are assumed, and what moves the answer."""
        count = len(assumed(self.machine))
        if not self.movers:
            return say("machine.certainty_one") if count == 1 else say("machine.certainty", count=count)
        names = [in_words(self.machine, where) for where in self.movers]
        return say("machine.movers", count=count, list=listed(names))

    # -- tables ------------------------------------------------------------------------------------------------------

    def stations(self) -> Table:
        """The sheet from headbox to reel."""
        columns = ("dryness", "moisture_ratio", "grammage", "temperature")
        heads = [(say("stations.place"), ""), *((say(f"stations.{c}"), self.edge.unit(c)) for c in columns)]
        rows: list[tuple[str, ...]] = []
        for s in self.result.stations:
            if not finite(s.dryness):
                rows.append((s.name, say("stations.no_sheet"), "", "", ""))
                continue
            cells = [self.edge.figure(c, getattr(s, c), 3) for c in columns[:-1]]
            rows.append((s.name, *cells, f"{self.edge.number('temperature', s.temperature):.0f}"))
        return lined(key="stations", heads=tuple(heads), rows=tuple(rows), caption=say("machine.sheet") + ".")

    def water(self) -> Table | None:
        """What each stage takes of the water, and its price."""
        if not self.result.water_prices:
            return None
        priced = any(row.money_per_mass is not None for row in self.result.water_prices)
        units_of = [self.edge.unit(w) for w in ("water_per_fibre", "share", "heat_per_water", "money_per_mass")]
        units_of[1] = "%"
        heads = [(say("water.stage"), ""), *zip(
            (say(f"water.{n}") for n in ("taken", "share", "energy", "money")), units_of, strict=True)]  # fmt: skip
        rows: list[tuple[str, ...]] = []
        for row in self.result.water_prices:
            share = 100 * float(row.share)
            rows.append((
                row.stage, self.edge.figure("water_per_fibre", row.water_per_fibre, 3),
                figure(share, 3 if share >= 90 else 2), self.edge.figure("heat_per_water", row.energy_per_water, 2),
                rounded(self.edge.number("money_per_mass", row.money_per_mass)),
            ))  # fmt: skip
        currency = self.machine.prices.currency
        foot = say("water.currency", name=currency) if priced and currency else ""
        if not priced:
            heads, rows = heads[:-1], [row[:-1] for row in rows]
        return lined(key="water", heads=tuple(heads), rows=tuple(rows), caption=say("water.caption"), foot=foot)

    def more(self) -> Table | None:
        """Numbers that ask for a line of their own; none where none does."""
        rows = told.more(self.result, "page", self.edge, self.spreads)
        if not rows:
            return None
        heads = ((say("study.number"), ""), (say("study.value"), ""))
        return lined(key="more", heads=heads, rows=tuple(rows), words=2, caption=phrase("numbers.more"))

    def energy(self) -> Table:
        """Every computed user of energy."""
        heads = (
            (say("energy.consumer"), ""),
            (say("energy.kind"), ""),
            (say("energy.power"), self.edge.unit("machine_power")),
            (say("energy.per"), self.edge.unit("specific_energy")),
        )
        width = float(self.machine.width)
        rows = [
            (
                c.name,
                c.kind,
                rounded(self.edge.number("machine_power", c.power * width)),
                rounded(self.edge.number("specific_energy", c.per_mass)),
            )
            for c in self.result.energy
        ]
        return lined(key="energy", heads=heads, rows=tuple(rows), words=2, caption=say("energy.caption"))

    def streams(self) -> Table:
        """Every stream, per metre of width."""
        columns = [(name, word) for name, word in WORDS_AT["streams"].items() if name != "fines"]
        heads = [(say(f"streams.{n}"), "") for n in ("name", "from", "to")]
        heads += [(say(f"streams.{n}"), self.edge.unit(w)) for n, w in columns]
        rows = []
        for s in self.result.streams:
            cells = []
            for name, word in columns:
                value = getattr(s, name)
                if name == "temperature":
                    cells.append(f"{self.edge.number(word, value):.0f}" if finite(value) else "")
                else:
                    cells.append("" if not finite(value) or float(value) == 0 else self.edge.figure(word, value, 3))
            rows.append((s.name.replace("_", " "), s.source, s.sink, *cells))
        return lined(key="streams", heads=tuple(heads), rows=tuple(rows), words=3)

    def closure(self) -> str:
        """The largest relative imbalance of all."""
        worst = max(self.result.closure().values())
        return f"{worst:.0e}".replace("e-0", "e-") if worst > 0 else "0"

    # -- limits ------------------------------------------------------------------------------------------------------

    def limit_rows(self) -> list[dict[str, Any]]:
        """Parts with a speed, the lowest first, each with its margin and the length of its bar."""
        if self.limits is None:
            return []
        bounded = [r for r in self.limits.rows if r.speed is not None and r.scope in ("highest", "window")]
        found = []
        for row in sorted(bounded, key=lambda r: r.speed if r.speed is not None else math.inf):
            assert row.speed is not None and row.margin is not None
            fails = row.speed <= 0
            found.append(
                {
                    "part": row.part,
                    "duty": row.duty,
                    "speed": NONE if fails else self.edge.figure("speed", row.speed, 4),
                    "margin": NONE if fails else figure(100 * row.margin, 2),
                    "bar": f"{min(100 * abs(row.margin), BAR_FULL) / BAR_FULL * 100:.1f}",
                    "short": row.margin < 0,
                    "window": row.scope == "window",
                    "binding": row.binding,
                    "status": row.status,
                    "note": say("limits.fails") if fails else row.note,
                }
            )
        return found

    def limit_lines(self) -> list[str]:
        """Parts without a highest speed, in sentences."""
        if self.limits is None:
            return []
        rows = self.limits.rows
        lowest = [f"{r.part} {self.edge.text('speed', r.speed, 3)}" for r in rows if r.scope == "lowest"]
        loads = [r for r in rows if r.id == "press_load" and r.scope != "not known"]
        free = [r.part for r in rows if r.scope == "none" and r not in loads]
        unknown = [r.part for r in rows if r.scope == "not known"]
        said_loads = [
            f"{r.of} {self.edge.text('line_load', r.value, 3)} of "
            f"{self.edge.text('line_load_limit', r.bound, 3)} ({r.status})"
            for r in loads
        ]
        listed = (("lowest", lowest), ("loads", said_loads), ("unknown", unknown), ("free", free))
        lines = [say(f"limits.{key}", list="; ".join(texts)) for key, texts in listed if texts]
        return [*lines, say("limits.held", head=self.limits.head)]

    # -- words -------------------------------------------------------------------------------------------------------

    def cautions(self) -> tuple[Any, ...]:
        """What can hurt, of the parts this machine has."""
        parts = ["headbox", "forming", "vacuum", "felt", "press", "circulation", "drives"]
        if self.machine.yankee is not None:
            parts += ["yankee", "hood"]
        return cautions_for(parts)

    def sources(self) -> list[dict[str, str]]:
        """The sources used, with how they are held."""
        known = sources()
        return [known[key] for key in self.result.sources()]

    def found(self) -> dict[str, str]:
        """Values of the form that the run finds itself, by address."""
        held = holder(self.result.held_by)
        if not held.addresses or not finite(self.result.values.get(held.number)):
            return {}
        speed = self.machine.speed_address
        where = speed if speed in held.addresses else held.addresses[0]
        return {where: say("machine.found", text=self.text(held.number))}


BAR_FULL = 40.0
"""Margin in per cent at which a bar is as long as it gets."""


def press_in_words(machine: Any) -> str:
    """The press of a machine by the names of its nips."""
    return ", ".join(nip.name for nip in machine.press.nip)


def nip_prefix(machine: Any) -> str:
    """Address of the first nip."""
    return f"press.nip.{address._item_names(machine.press.nip)[0]}"
