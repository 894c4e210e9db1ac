"""One run on one screen: headline, stations, the price of a kilogram of water, limits, energy, notes, cautions.

Chooses what is shown and in which words; every number is the run's own. Uncertain numbers are shown as such, and where
no sheet is formed the shortfall is the headline.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from thinstock.cli.text import NONE, Edge, Page, beside, figure, page_width, rounded, table, wrapped
from thinstock.machine.holders import holder
from thinstock.machine.limits import Limit, Limits
from thinstock.machine.numbers import number
from thinstock.machine.provenance import assumed, in_words
from thinstock.machine.result import Result
from thinstock.tell import numbers as told
from thinstock.tell.dilution import answers_text
from thinstock.words.phrase import phrase

NOTES_SHOWN = 3
FELTS = ("felt_boxes", "felt_drag")
"""Users of energy told together for the felts of all nips."""
KINDS = {"steam": "steam", "gas": "gas", "electricity": "electricity"}


class Screen:
    """What is needed to put one run on a page."""

    def __init__(
        self,
        result: Result,
        limits: Limits | None,
        spreads: Mapping[str, Any],
        movers: list[str],
        edge: Edge,
    ) -> None:
        self.result, self.limits, self.spreads, self.movers, self.edge = result, limits, spreads, movers, edge
        self.machine = result.machine
        self.formed = bool(result.values.get("formed", True))
        self.width = page_width()

    def page(self, *, all_notes: bool = False, cautions: bool = False) -> Page:
        """The whole page."""
        page = Page()
        machine = self.machine
        page.heading(machine.title)
        page.add(machine.title)
        if machine.scenario:
            page.add(*wrapped(machine.scenario, width=self.width))
        page.add("")
        for name, said in self.strip():
            page.add(*wrapped(said, width=self.width, first=f"  {name:<16} "))
        page.add("", *wrapped(self.certainty(), width=self.width))
        page.add(*self.formation(), "", *self.more())
        left = [*self.stations(), "", *self.energy()]
        right = [*self.prices(), "", *self.speeds()] if self.formed else self.speeds()
        page.add(*beside(left, right, width=self.width), "")
        page.add(*self.notes(all_notes))
        page.add(*self.cautions(cautions))
        page.heading(
            "The sheet",
            "Highest speed (→ gives out first)",
            "The price of a kilogram of water",
            "Energy, of the parts computed",
            phrase("numbers.more"),
        )
        return page

    # -- the strip ------------------------------------------------------------------------------------------------

    def strip(self) -> list[tuple[str, str]]:
        """The headline, in the order in which it is read."""
        rows = []
        if self.formed:
            rows.append(("production", f"{self._value('production')} at the reel; {self._product()}"))
        else:
            rows.append(("NO SHEET", self._shortfall()))
            rows.append(("wanted", self._product()))
        if self.limits is not None:
            rows.append(("gives out first", first_out(self.limits, self.edge)))
        if self.formed:
            rows.append(("reel moisture", self._moisture()))
        rows += [
            ("consistency", f"{self._value('consistency')} in the headbox"),
            ("headbox flow", self._flow()),
            ("end of forming", self._forming()),
        ]
        if self.formed:
            rows.append(("press", self._press()))
        rows.append(("energy", self._energy()))
        return rows

    def _value(self, name: str, *, sure: bool = True) -> str:
        one = None if sure else self.spreads.get(name)
        spread = None if one is None else one.standard_uncertainty
        return told.text(number(name), self.result.values.get(name), self.edge, spread)

    def _product(self) -> str:
        return f"{self._value('reel_grammage')} at {self._value('speed')}"

    def _shortfall(self) -> str:
        left, whole = self.result.values["depth_not_drained"], self.result.values["stock_depth"]
        return (
            f"{self.edge.text('stock_depth', left, 2)} of stock, {figure(100 * float(left) / float(whole), 2)} % of "
            "what the jet brings, is not drained at the end of the former"
        )

    def _moisture(self) -> str:
        values = self.result.values
        reached, wanted = float(values["reel_moisture"]), float(values["reel_moisture_wanted"])
        held = holder(self.result.held_by)
        name, said = held.number, phrase(f"holders.first.{held.phrase}") if held.phrase else ""
        at = f" at {self._value(name)}" if name and name in values else ""
        points = 100 * (reached - wanted)
        shown = self._value("reel_moisture")
        if abs(points) < 0.02:
            if not name:
                return f"{shown}, as wanted"
            return f"{shown}, as wanted; held by {said}{at}"
        off = f"{figure(abs(points), 2)} points too {'wet' if points > 0 else 'dry'}"
        target = f"{shown}, {off}: {self.edge.text('reel_moisture', wanted, 2)} is wanted"
        return f"{target}; {said} is at its bound{at.replace(' at', ',')}" if name else f"{target}; nothing is held"

    def _flow(self) -> str:
        mass = self.edge.unit("water_per_fibre").split("/")[0]
        return (
            f"{self._value('flow_per_width', sure=False)}, {self._value('headbox_flow')} in all; "
            f"{self.edge.figure('water_per_fibre', self.result.values['water_per_fibre'], 3)} {mass} water per "
            f"{mass} fibre"
        )

    def _forming(self) -> str:
        values = self.result.values
        share, slow = _number(values["end_of_forming"]), _number(values.get("end_of_forming_slow"))
        zone = "wrap" if _finite(values.get("end_of_forming_wrap")) else "forming zone"
        shown = f"{figure(100 * share, 2)} % of the {zone}" if _finite(share) else f"not within the {zone}"
        given = self.machine.given.get("stock.resistance_factor")
        if given is not None and given.status not in ("assumed", ""):
            return shown
        if not _finite(share):
            return f"{shown} (not calibrated)"
        band = f"up to {figure(100 * slow, 2)} %" if _finite(slow) else "or no sheet at all"
        return f"{shown}, {band} (not calibrated)"

    def _press(self) -> str:
        into, out = self.result.values["dryness_into_press"], self.result.values["dryness_press"]
        spread = self.spreads.get("dryness_press")
        shown = self.edge.text("dryness", out, 3, None if spread is None else spread.standard_uncertainty)
        return f"{self.edge.text('dryness', into, 3)} → {shown} dry"

    def _energy(self) -> str:
        parts = []
        for kind, said in KINDS.items():
            name = f"{kind}_per_product"
            value = self.result.values.get(name)
            if value is not None and float(value) > 0:
                spread = self.spreads.get(name)
                uncertain = None if spread is None else spread.standard_uncertainty
                text = self.edge.text("specific_energy", value, 3, uncertain)
                parts.append(f"{said} {text.removesuffix(self.edge.unit('specific_energy')).strip()}")
        if not parts:
            return "none computed: there is no product"
        return f"{', '.join(parts)} {self.edge.unit('specific_energy')}, of the parts computed"

    # -- below the strip ------------------------------------------------------------------------------------------

    def certainty(self) -> str:
        """How many values are assumed, and what moves the answer."""
        count = len(assumed(self.machine))
        said = f"{count} values are assumed" if count != 1 else "1 value is assumed"
        if not self.movers:
            return f"{said}."
        names = [in_words(self.machine, where) for where in self.movers]
        many = f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else names[0]
        return f"{said}; what moves the answer most: {many}."

    def more(self) -> list[str]:
        """Numbers that ask for a line of their own; nothing where none does."""
        rows = told.more(self.result, "terminal", self.edge, self.spreads)
        lines = [line for label, text in rows for line in wrapped(f"{label}: {text}", width=self.width, first="  ")]
        return [phrase("numbers.more"), *lines, ""] if rows else []

    def formation(self) -> list[str]:
        """How even the sheet on the wire is by theory, and what a target would ask for."""
        if not self.formed:
            return []
        even = self.result.evenness()
        v = {name: float(value) for name, value in even.values().items() if value is not None}
        zone = self.edge.text("zone", v["zone"], 2)
        crowding = f"crowding number {figure(v['crowding_number'], 2)} ({even.regime})"
        cv = _span(100 * v["cv_low"], 100 * v["cv_high"])
        bare = 100 * v["open_area"]
        area = f"{figure(bare, 2)} %" if bare >= 1e-3 else "next to nothing"
        size = self.edge.text("hole_diameter", v["hole_diameter"], 2)
        said = (
            f"Formation on the wire: {crowding}; CV at {zone} {cv} % where chance alone gives "
            f"{figure(100 * v['cv_random'], 2)} %; {area} of the area bare; {self._holes(v, size)}. A {even.label}"
            + ("." if even.calibrated else "; the band is the headbox, until measured.")
        )
        if even.answers:
            answers = answers_text(even.answers, even.measure, even.calibrated, self.edge.text)
            said += " " + phrase("evenness.answer.target", target=even.target, answers=answers)
        elif even.target:
            said += f" Target, {even.target}: {even.target_note}"
        return wrapped(said, width=self.width)

    @staticmethod
    def _holes(v: Mapping[str, float], size: str) -> str:
        """Through-holes against those of a random sheet, where there are any to speak of."""
        if v["holes_per_area_high"] < 1.0:
            return f"no holes above {size} to speak of"
        ratio = _span(v["holes_ratio_low"], v["holes_ratio_high"])
        if v["holes_ratio_high"] > 1e6:
            ratio = f"{figure(v['holes_ratio_low'], 2)} to over a million"
        return f"holes above {size} {ratio} times those of chance"

    def stations(self) -> list[str]:
        """The sheet from headbox to reel."""
        edge = self.edge
        heads = [
            ["", "dryness", "water/fibre", "temp."],
            ["", edge.unit("dryness"), edge.unit("moisture_ratio"), edge.unit("temperature")],
        ]
        rows = []
        for s in self.result.stations:
            if not _finite(s.dryness):
                rows.append([f"  {s.name}", "no sheet", "", ""])
                continue
            rows.append(
                [
                    f"  {s.name}",
                    edge.figure("dryness", s.dryness, 3),
                    edge.figure("moisture_ratio", s.moisture_ratio, 3),
                    f"{edge.number('temperature', s.temperature):.0f}",
                ]
            )
        return ["The sheet", *table(heads, rows)]

    def speeds(self) -> list[str]:
        """The speed limits, the lowest first."""
        return speed_rows(self.limits, self.edge) if self.limits is not None else []

    def prices(self) -> list[str]:
        """What a kilogram of water costs where it is taken."""
        rows = self.result.water_prices
        if not rows:
            return []
        edge = self.edge
        heads = [
            ["", "taken", "share", "energy", "cost"],
            ["", edge.unit("water_per_fibre"), "%", edge.unit("heat_per_water"), edge.unit("money_per_mass")],
        ]
        priced = any(row.money_per_mass is not None for row in rows)
        if not priced:
            heads = [head[:-1] for head in heads]
        body = []
        for row in rows:
            line = [
                f"  {row.stage}",
                edge.figure("water_per_fibre", row.water_per_fibre, 3),
                figure(100 * float(row.share), 2 if float(row.share) < 0.9 else 3),
                edge.figure("heat_per_water", row.energy_per_water, 2),
            ]
            if priced:
                line.append(rounded(edge.number("money_per_mass", row.money_per_mass)))
            body.append(line)
        lines = ["The price of a kilogram of water", *table(heads, body)]
        if priced and self.machine.prices.currency:
            lines.append(f"  money: {self.machine.prices.currency}")
        return lines

    def energy(self) -> list[str]:
        """Every consumer."""
        edge = self.edge
        heads = [
            ["", "power", "per product"],
            ["", edge.unit("machine_power"), edge.unit("specific_energy")],
        ]
        width = float(self.machine.width)
        together: dict[str, tuple[float, float]] = {}
        for c in self.result.energy:
            name = phrase(f"consumers.felts.{c.id}") if c.id in FELTS else c.name
            power, per_mass = together.get(name, (0.0, 0.0))
            together[name] = power + float(c.power) * width, per_mass + float(c.per_mass)
        rows = [
            [
                f"  {name}",
                rounded(edge.number("machine_power", power)),
                rounded(edge.number("specific_energy", per_mass)) if self.formed else "no sheet",
            ]
            for name, (power, per_mass) in together.items()
        ]
        return ["Energy, of the parts computed", *table(heads, rows)]

    def notes(self, everything: bool) -> list[str]:
        """The weightiest notes; the rest is folded."""
        notes = self.result.notes
        shown = notes if everything else notes[:NOTES_SHOWN]
        lines = []
        for note in shown:
            text = str(note) if everything else str(note).split(". ")[0].rstrip(".") + "."
            lines += wrapped(text, width=self.width, first="* ")
        if len(shown) < len(notes):
            lines.append(f"* and {len(notes) - len(shown)} more: --notes")
        return lines

    def cautions(self, everything: bool) -> list[str]:
        """What can hurt, of the parts shown."""
        from thinstock.words.cautions import cautions_for

        parts = ["headbox", "forming", "vacuum", "felt", "press", "circulation", "drives"]
        if self.machine.yankee is not None:
            parts += ["yankee", "hood"]
        found = cautions_for(parts)
        if not everything:
            return ["", *wrapped(f"{found[0].texts[0]} (--cautions: what can hurt, part by part)", width=self.width)]
        lines = []
        for part in found:
            lines += ["", part.title]
            for text in part.texts:
                lines += wrapped(text, width=self.width, first="  ")
        return lines


def _span(low: float, high: float) -> str:
    """A range of numbers; one number where both ends read the same."""
    a, b = figure(low, 2), figure(high, 2)
    return a if a == b else f"{a} to {b}"


def _number(value: Any) -> float:
    return math.nan if value is None else float(value)


def _finite(value: Any) -> bool:
    return math.isfinite(_number(value))


# -- limits, also for the command of that name ------------------------------------------------------------------------


def first_out(limits: Limits, edge: Edge) -> str:
    """What gives out first and how far away that is."""
    row = limits.binding
    if row is None:
        return "nothing that is known below 3000 m/min"
    if row.speed is None or row.margin is None or row.speed <= 0:
        return f"{row.part}: {row.note}"
    where = f"{row.part}{' (practice, no source)' if row.scope == 'window' else ''}"
    if abs(row.margin) < 5e-4:
        return f"{where}: this speed is its limit"
    side = "above" if row.margin >= 0 else "BELOW"
    margin = figure(100 * abs(row.margin), 2)
    return f"{where}, at {edge.text('speed', row.speed, 4)}: {margin} % {side} this speed"


def speed_rows(limits: Limits, edge: Edge, *, width: int = 44) -> list[str]:
    """Limits as a short table, the lowest first; parts without a number in lines below."""
    bounded = [r for r in limits.rows if r.speed is not None and r.scope in ("highest", "window")]
    heads = [["", "speed", "margin"], ["", edge.unit("speed"), "%"]]
    rows = []
    for row in sorted(bounded, key=lambda r: r.speed if r.speed is not None else math.inf):
        mark = "→ " if row.binding else "  "
        part = f"{mark}{row.part}{' *' if row.scope == 'window' else ''}"
        rows.append([part, *speed_and_margin(row, edge)])
    lines = ["Highest speed (→ gives out first)", *table(heads, rows)]
    lowest = [f"{r.part} {edge.figure('speed', r.speed, 3)}" for r in limits.rows if r.scope == "lowest"]
    free = [r.part for r in limits.rows if r.scope == "none" and r.id != "press_load"]
    unknown = [r.part for r in limits.rows if r.scope == "not known"]
    for said, parts in (("lowest speeds", lowest), ("no limit", free), ("not known", unknown)):
        if parts:
            lines += wrapped(f"{said}: {'; '.join(parts)}", width=width, first="  ", then="    ")
    if any(r.scope == "window" for r in bounded):
        lines.append("  * common practice, no source")
    return lines


def speed_and_margin(row: Limit, edge: Edge) -> tuple[str, str]:
    """Both as text, without units."""
    speed = edge.figure("speed", row.speed, 4) if row.speed else "none"
    margin = NONE if row.margin is None else f"{100 * row.margin:+.1f}".replace("-", "−")
    return speed, margin
