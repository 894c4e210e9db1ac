"""A run told once: the numbers that matter, what they rest on, the sheet, its water, its energy, streams, notes.

Chooses what is told and in which phrases; every number is the run's own. Terminal, page, handout and spreadsheet set
the same blocks. What a quick answer does not know (limits, uncertainties) is left out, not guessed; uncertain numbers
are told as such, and where no sheet is formed the shortfall is the first number.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from thinstock.machine.holders import Holder, holder
from thinstock.machine.limits import Limits
from thinstock.machine.line import Machine
from thinstock.machine.numbers import PLACES, told_in
from thinstock.machine.numbers import number as about
from thinstock.machine.provenance import assumed, in_words
from thinstock.machine.result import Result
from thinstock.machine.told import Station
from thinstock.tell import limits as speeds
from thinstock.tell.blocks import (
    Beside,
    Block,
    Caution,
    Cell,
    Column,
    Fact,
    Facts,
    Group,
    Note,
    Number,
    Piece,
    Points,
    Table,
    care,
    words,
)  # fmt: skip
from thinstock.tell.cells import finite, named, number, per_cent, rough, whole
from thinstock.tell.dilution import answers_text
from thinstock.tell.numbers import ends_of, more
from thinstock.words.cautions import cautions_for
from thinstock.words.figures import NONE, Edge, figure
from thinstock.words.phrase import known, listed, phrase
from thinstock.words.units import UnitSet

if TYPE_CHECKING:
    from thinstock.evidence.uncertain import Uncertain

FLOWS = PLACES["streams"]
KINDS = ("steam", "gas", "electricity")
NOTES_SHOWN = 3
FELTS = ("felt_boxes", "felt_drag")
"""Users of energy told together for the felts of all nips."""
AS_WANTED = 0.02
"""Points of moisture within which the reel is as wanted."""
SETTLED = ("assumed", "", "what-if")
"""States of the resistance factor that leave the end of forming a band."""
MIDDLE = ("end_of_forming", "dryness_press", "steam_per_product", "gas_per_product", "air_temperature")
"""Numbers whose middle is told below the strip."""
BARE = ("end_of_forming", "air_temperature")
"""Those of them whose ends are not in the strip."""
BELONGS = {
    "headbox": "consistency", "stock": "consistency", "loop": "flow", "forming": "forming", "vacuum": "press",
    "press": "press", "Yankee": "energy", "yankee": "energy", "hood": "energy", "dryer": "energy",
    "grade": "production", "site": "production", "reel": "production",
}  # fmt: skip
"""The headline number that a note on a part belongs to."""


def moved(result: Result) -> list[str]:
    """The numbers meant by "the answer": an energy that is next to nothing is not among them."""
    names = [one.name for one in told_in("moved", result.values)]
    energies = {name: float(result.values.get(name) or 0.0) for name in names if name.endswith("_per_product")}
    small = 0.05 * sum(abs(v) for v in energies.values())
    return [name for name in names if abs(energies.get(name, 1e99)) > small]


def told(
    machine: Machine, unit_set: UnitSet, *, full: bool = True, result: Result | None = None,
    known: Limits | None = None,
) -> Run:  # fmt: skip
    """A machine's run, ready to be told; with its limits at the speed of the run and its uncertainties where `full`.

    `known` limits are not looked for again.
    """
    found = machine.run() if result is None else result
    if not full:
        return Run(found, unit_set, known)
    from thinstock.studies.bands import uncertainty
    from thinstock.studies.first_order import movers

    spreads = uncertainty(machine, result=found) if found.values.get("formed", True) else {}
    names = [where for where, _ in movers(machine, spreads, moved(found))] if spreads else []
    return Run(found, unit_set, limits_at(machine, found) if known is None else known, spreads, names)


def limits_at(machine: Machine, found: Result) -> Limits:
    """The limits of a machine at the speed of its run."""
    from thinstock.machine.limits import limits

    return limits(machine.with_({machine.speed_address: found.machine.speed}), result=found)


class Run:
    """One run, ready to be told."""

    def __init__(
        self, result: Result, unit_set: UnitSet, limits: Limits | None = None,
        spreads: Mapping[str, Uncertain] | None = None, movers: Iterable[str] = (),
    ) -> None:  # fmt: skip
        self.result, self.machine, self.values = result, result.machine, result.values
        self.unit_set, self.limits, self.spreads, self.movers = unit_set, limits, spreads or {}, list(movers)
        self.edge = Edge(unit_set=unit_set, air=float(self.machine.site.atmospheric_pressure()))
        self.formed = bool(result.values.get("formed", True))
        self.notes = result.notes

    # -- numbers -----------------------------------------------------------------------------------------------------

    def text(self, name: str, *, sure: bool = True, digits: int = 0) -> str:
        """A named number with its unit; `sure=False` puts the ends of its draws beside it."""
        ends = "" if sure else self.ends(name)
        return f"{named(self.edge, self.values, name, digits)} {ends}".strip(" ")

    def bare(self, name: str, *, sure: bool = True) -> str:
        """The same without its unit."""
        alone = named(self.edge, self.values, name).removesuffix(self.edge.unit(about(name).word)).strip()
        return alone if sure else f"{alone} {self.ends(name)}".strip(" ")

    def ends(self, name: str) -> str:
        """The ends of the central 90 % of the draws, in brackets; empty where there are none."""
        return ends_of(self.edge, name, self.spreads.get(name))

    def pieces(self, name: str, *, sure: bool = True, unit: bool = True) -> list[Piece]:
        """The same in pieces."""
        if not finite(self.values.get(name)):
            return [Piece("num", NONE)]
        shown = self.edge.unit(about(name).word) if unit else ""
        made = [Piece("num", self.bare(name)), Piece("unit", shown), Piece("pm", "" if sure else self.ends(name))]
        return [piece for piece in made if piece.text]

    # -- the numbers that matter -------------------------------------------------------------------------------------

    def facts(self) -> Facts:
        """The headline in the order in which it is read."""
        rows = [*self._production(), self._first(), self._moisture(), self._consistency(), self._flow(),
                self._forming(), self._press(), self._energy()]  # fmt: skip
        return Facts(rows=tuple(fact for fact in rows if fact is not None))

    def _fact(self, key: str, pieces: Iterable[Piece], said: str, below: str = "", name: str = "") -> Fact:
        notes = tuple(i + 1 for i, note in enumerate(self.notes) if BELONGS.get(note.part) == key)
        return Fact(key=key, label=phrase(f"run.label.{key}"), name=phrase(f"run.name.{name or key}"), said=said,
                    pieces=tuple(pieces), below=below, notes=notes)  # fmt: skip

    def _production(self) -> Iterable[Fact]:
        product = phrase("run.production.product", grammage=self.text("reel_grammage"), speed=self.text("speed"))
        if self.formed:
            said = phrase("run.production.line", production=self.text("production"), product=product)
            yield self._fact("production", self.pieces("production"), said, product)
            return
        left, brought = self.values["depth_not_drained"], self.values["stock_depth"]
        share = figure(100 * float(left) / float(brought), 2)
        said = phrase("run.production.shortfall", depth=self.edge.text("stock_depth", left, 2), share=share)
        yield self._fact("production", [Piece("word", phrase("run.production.no_sheet"))], said, said, "no_sheet")
        yield self._fact("production", (), product, name="wanted")

    def _first(self) -> Fact | None:
        if self.limits is None:
            return None
        row = self.limits.binding
        part = phrase("speeds.first.none_page") if row is None else speeds.first_part(row)
        below = speeds.first_out(self.limits, self.edge, "below")
        return self._fact("first", [Piece("word", part)], speeds.first_out(self.limits, self.edge), below)

    def held(self) -> Holder:
        """What is moved to hold the reel dryness; nothing where its number is not known."""
        found = holder(self.result.held_by)
        return found if finite(self.values.get(found.number)) else holder("nothing")

    def moisture(self, where: str = "first") -> tuple[str, dict[str, str]]:
        """How the reel moisture stands to what is wanted, and by what: the case, and what fills its phrase."""
        reached, wanted = float(self.values["reel_moisture"]), float(self.values["reel_moisture_wanted"])
        points, held = 100 * (reached - wanted), self.held()
        case = "wanted" if abs(points) < AS_WANTED else "wet" if points > 0 else "dry"
        slots = {"reached": self.text("reel_moisture"), "points": figure(abs(points), 2),
                 "wanted": self.edge.text("reel_moisture", wanted, 2)}  # fmt: skip
        if held.number:
            slots |= {"what": phrase(f"holders.{where}.{held.phrase}"), "value": self._held_at(held)}
        return f"{case}_{'held' if held.number else 'free'}", slots

    def _held_at(self, held: Holder) -> str:
        """Where the held value stands, with the one that was given if it is another."""
        value = self.text(held.number)
        there = [where for where in held.addresses if getattr(self.machine, where.partition(".")[0]) is not None]
        given = self.edge.text(about(held.number).word, self.machine.get(there[0]), about(held.number).digits)
        return value if given == value else phrase("run.held.given", value=value, given=given)

    def _moisture(self) -> Fact:
        if not self.formed:
            return self._fact("moisture", [Piece("num", NONE)], "")
        case, slots = self.moisture()
        said, below = phrase(f"run.moisture.line.{case}", **slots), phrase(f"run.moisture.below.{case}", **slots)
        return self._fact("moisture", self.pieces("reel_moisture"), said, below)

    def _consistency(self) -> Fact:
        said = phrase("run.consistency.line", consistency=self.text("consistency"))
        return self._fact("consistency", self.pieces("consistency"), said, phrase("run.consistency.below"))

    def _flow(self) -> Fact:
        mass = self.edge.unit("water_per_fibre").split("/")[0]
        water = self.edge.figure("water_per_fibre", self.values["water_per_fibre"], 3)
        below = phrase("run.flow.below", whole=self.text("headbox_flow"), water=water, mass=mass)
        said = phrase("run.flow.line", flow=self.text("flow_per_width", sure=False), below=below)
        return self._fact("flow", self.pieces("flow_per_width", sure=False), said, below)

    def _forming(self) -> Fact:
        share, slow = self.values["end_of_forming"], self.values.get("end_of_forming_slow")
        zone = "wrap" if finite(self.values.get("end_of_forming_wrap")) else "zone"
        given = self.machine.given.get("stock.resistance_factor")
        sure = given is not None and given.status not in SETTLED
        how = "calibrated" if sure else "band" if finite(slow) else "open"
        up_to = figure(100 * float(slow), 2) if finite(slow) else NONE
        if finite(share):
            number = figure(100 * float(share), 2)
            where = phrase("run.forming.within", share=number, zone=phrase(f"run.forming.{zone}"))
            pieces = [Piece("num", number), Piece("unit", "%"), Piece("word", phrase(f"run.forming.of_{zone}"))]
        else:
            where = phrase("run.forming.beyond", zone=phrase(f"run.forming.{zone}"))
            pieces = [Piece("word", where)]
        case = f"{'within' if finite(share) else 'beyond'}_{how}"
        said = phrase(f"run.forming.line.{case}", where=where, slow=up_to)
        return self._fact("forming", pieces, said, phrase(f"run.forming.below.{how}", slow=up_to))

    def _press(self) -> Fact:
        if not self.formed:
            return self._fact("press", [Piece("num", NONE)], "")
        into, out = self.text("dryness_into_press"), self.text("dryness_press")
        pieces = [*self.pieces("dryness_into_press", unit=False), Piece("sign", "→"),
                  *self.pieces("dryness_press", sure=False)]  # fmt: skip
        said = phrase("run.press.line", into=into, out=out, ends=self.ends("dryness_press"))
        return self._fact("press", pieces, said.strip())

    def _energy(self) -> Fact:
        names = {kind: f"{kind}_per_product" for kind in KINDS}
        kinds = [k for k, name in names.items() if finite(self.values.get(name)) and float(self.values[name]) > 0]
        if not kinds:
            none = phrase("run.energy.none")
            return self._fact("energy", [Piece("num", NONE)], none, none)
        unit = self.edge.unit("specific_energy")
        pieces, said = [], []
        for kind in kinds:
            word = phrase(f"run.energy.{kind}")
            pieces += [Piece("line", word), *self.pieces(names[kind], sure=False, unit=False)]
            said.append(phrase("run.energy.one", kind=word, number=self.bare(names[kind], sure=False)))
        line = phrase("run.energy.line", list=", ".join(said), unit=unit)
        return self._fact("energy", [*pieces, Piece("unit", unit)], line, phrase("run.energy.below"))

    # -- what they rest on -------------------------------------------------------------------------------------------

    def middle(self) -> str:
        """What the brackets are, and the middle of the draws; with ends where the strip has none."""
        rows = []
        origin = ""
        for name in MIDDLE:
            one = self.spreads.get(name)
            if one is None or not one.origin or not math.isfinite(one.median):
                continue
            origin, middle = one.origin, self.edge.text(about(name).word, one.median, 2 if name in BARE else 3)
            ends = self.ends(name) if name in BARE else ""
            said = phrase("run.middle.one", name=phrase(f"run.middle.{name}"), middle=f"{middle} {ends}".strip(" "))
            off = not 0.25 <= one.position <= 0.75
            rows.append(said + (phrase("run.middle.off", place=f"{100 * one.position:.0f}") if off else ""))
        return phrase("run.middle.line", origin=origin, list="; ".join(rows)) if rows else ""

    def certainty(self, where: str = "page") -> str:
        """How many values are assumed, and what moves the answer; "line" for a terminal."""
        count = len(assumed(self.machine))
        if not self.movers:
            return phrase("run.certainty.one") if count == 1 else phrase("run.certainty.many", count=count)
        names = listed(in_words(self.machine, one) for one in self.movers)
        one = "one" if count == 1 and where == "line" else "many"
        return f"{phrase(f'run.certainty.{one}_{where}', count=count, list=names)} {self.middle()}".strip(" ")

    def formation(self) -> str:
        """How even the sheet on the wire is by theory, and what a target would ask for; empty without a sheet."""
        if not self.formed:
            return ""
        even = self.result.evenness()
        v = {name: float(value) for name, value in even.values().items() if isinstance(value, float)}
        bare = 100 * v["open_area"]
        said = phrase(
            "run.formation.whole", crowding=figure(v["crowding_number"], 2), regime=even.regime,
            zone=self.edge.text("zone", v["zone"], 2), cv=_span(100 * v["cv_low"], 100 * v["cv_high"]),
            random=figure(100 * v["cv_random"], 2), holes=self._holes(v), label=even.label,
            bare=phrase("run.formation.bare", share=figure(bare, 2)) if bare >= 1e-3
            else phrase("run.formation.hardly_bare"),
            band=phrase("run.formation.measured" if even.calibrated else "run.formation.unmeasured"),
        )  # fmt: skip
        if not even.target:
            return said
        asked = even.target_note
        if even.answers:
            asked = answers_text(even.answers, even.measure, even.calibrated, self.edge.text) + "."
        return said + phrase("run.formation.target", target=even.target, asked=asked)

    def _holes(self, v: Mapping[str, float]) -> str:
        """Through-holes against those of a random sheet, where there are any to speak of."""
        size = self.edge.text("hole_diameter", v["hole_diameter"], 2)
        if v["holes_per_area_high"] < 1.0:
            return phrase("run.formation.no_holes", size=size)
        ratio = _span(v["holes_ratio_low"], v["holes_ratio_high"])
        if v["holes_ratio_high"] > 1e6:
            ratio = phrase("run.formation.million", low=figure(v["holes_ratio_low"], 2))
        return phrase("run.formation.holes", size=size, ratio=ratio)

    def more(self) -> Table | None:
        """Numbers that ask for a line of their own on the page; None where none does."""
        rows = more(self.result, "page", self.edge, self.spreads)
        heads = tuple(Column(head=phrase(f"run.more.{key}"), sort="word") for key in ("number", "value"))
        return Table(key="more", columns=heads, rows=tuple(rows), caption=phrase("numbers.more")) if rows else None

    # -- tables ------------------------------------------------------------------------------------------------------

    def _column(self, room: str, key: str, unit: str) -> Column:
        short = f"run.{room}.{key}_short"
        return Column(key=key, head=phrase(f"run.{room}.{key}"), short=phrase(short) if known(short) else None,
                      unit=unit)  # fmt: skip

    def stations(self) -> Table:
        """The sheet from headbox to reel."""
        names = ("dryness", "moisture_ratio", "grammage", "temperature", "speed")
        place = Column(key="place", head=phrase("run.stations.place"), short="", sort="word")
        columns = (place, *(self._column("stations", name, self.edge.unit(name)) for name in names))
        rows = tuple((station.name, *self._station(station)) for station in self.result.stations)
        return Table(key="stations", title=phrase("run.stations.title"), caption=phrase("run.stations.caption"),
                     columns=columns, rows=rows)  # fmt: skip

    def _station(self, one: Station) -> Sequence[Number | str]:
        if not finite(one.dryness):
            return (phrase("run.stations.no_sheet"), "", "", "", "")
        cells = [number(self.edge, word, getattr(one, word)) for word in ("dryness", "moisture_ratio", "grammage")]
        return (*cells, whole(self.edge, "temperature", one.temperature), number(self.edge, "speed", one.speed, 4))

    def water(self) -> Table | None:
        """What each stage takes of the water, and its price; None where no sheet is formed."""
        if not self.result.water_prices:
            return None
        units = {"taken": self.edge.unit("water_per_fibre"), "share": "%", "energy": self.edge.unit("heat_per_water"),
                 "money": self.edge.unit("money_per_mass")}  # fmt: skip
        stage = Column(key="stage", head=phrase("run.water.stage"), short="", sort="word")
        rows = tuple(
            (row.stage, number(self.edge, "water_per_fibre", row.water_per_fibre),
             per_cent(row.share, 3 if float(row.share) >= 0.9 else 2),
             number(self.edge, "heat_per_water", row.energy_per_water, 2),
             rough(self.edge, "money_per_mass", row.money_per_mass))
            for row in self.result.water_prices
        )  # fmt: skip
        currency = self.machine.prices.currency
        priced = any(row.money_per_mass is not None for row in self.result.water_prices)
        table = Table(
            key="water", title=phrase("run.water.title"), caption=phrase("run.water.caption"), rows=rows,
            columns=(stage, *(self._column("water", key, unit) for key, unit in units.items())),
            foot=phrase("run.water.currency", name=currency) if priced and currency else "",
        )  # fmt: skip
        return table if priced else table.only("stage", "taken", "share", "energy")

    def energy(self) -> Table:
        """Every computed user of energy."""
        return self._users((c.name, c.kind, float(c.power), float(c.per_mass)) for c in self.result.energy)

    def energy_together(self) -> Table:
        """The same, with what the felts of several nips use in one."""
        together: dict[str, tuple[str, float, float]] = {}
        for c in self.result.energy:
            name = phrase(f"consumers.felts.{c.id}") if c.id in FELTS else c.name
            _, power, per_mass = together.get(name, ("", 0.0, 0.0))
            together[name] = c.kind, power + float(c.power), per_mass + float(c.per_mass)
        return self._users((name, *numbers) for name, numbers in together.items()).only("name", "power", "per")

    def _users(self, rows: Iterable[tuple[str, str, float, float]]) -> Table:
        width, edge = float(self.machine.width), self.edge
        name = Column(key="name", head=phrase("run.users.name"), short="", sort="word")
        kind = Column(key="kind", head=phrase("run.users.kind"), sort="word")
        power = self._column("users", "power", edge.unit("machine_power"))
        per = self._column("users", "per", edge.unit("specific_energy"))
        body = tuple(
            (one, sort, rough(edge, "machine_power", watts * width), rough(edge, "specific_energy", per_mass)
             if self.formed else Number(phrase("run.stations.no_sheet")))
            for one, sort, watts, per_mass in rows
        )  # fmt: skip
        return Table(key="energy", title=phrase("run.users.title"), caption=phrase("run.users.caption"), rows=body,
                     columns=(name, kind, power, per))  # fmt: skip

    def streams(self) -> Table:
        """Every stream, per metre of width; what is not in it is left empty."""
        flows = [name for name in FLOWS if name != "fines"]
        ends = [Column(key=key, head=phrase(f"run.streams.{key}"), sort="word") for key in ("name", "from", "to")]
        columns = (*ends, *(self._column("streams", name, self.edge.unit(FLOWS[name])) for name in flows))
        rows: list[tuple[Cell, ...]] = [
            (s.name.replace("_", " "), s.source, s.sink, *(self._flowing(name, getattr(s, name)) for name in flows))
            for s in self.result.streams
        ]
        return Table(key="streams", columns=columns, rows=tuple(rows))

    def _flowing(self, name: str, value: Any) -> Number:
        if not finite(value) or (name != "temperature" and float(value) == 0):
            return Number("")
        word = FLOWS[name]
        return whole(self.edge, word, value) if name == "temperature" else number(self.edge, word, value)

    def closure(self) -> str:
        """The largest relative imbalance of all."""
        worst = max(self.result.closure().values())
        return f"{worst:.0e}".replace("e-0", "e-") if worst > 0 else "0"

    def furnish(self) -> list[Block]:
        """The furnish from the wire to the press."""
        from thinstock.tell import furnish

        return list(furnish.told(self.result, self.edge))

    # -- limits, cautions, sources -----------------------------------------------------------------------------------

    def limits_table(self) -> Table | None:
        """The highest speeds of the parts, where they are known."""
        return None if self.limits is None else speeds.page_table(self.limits, self.edge)

    def limit_lines(self) -> list[str]:
        """Parts without a highest speed, in sentences."""
        return [] if self.limits is None else speeds.page_lines(self.limits, self.edge)

    def cautions(self) -> list[Caution]:
        """What can hurt, of the parts this machine has; what goes with every report first."""
        return care(*(caution.part for caution in cautions_for(self.machine.cautions())))

    def sources(self) -> list[dict[str, str]]:
        """The sources used, with how they are held."""
        from thinstock.formula.writing import sources

        return [sources()[key] for key in self.result.sources()]

    # -- on one screen -----------------------------------------------------------------------------------------------

    def screen(self, *, all_notes: bool = False, cautions: bool = False) -> list[Block]:
        """The whole run on a terminal."""
        machine = self.machine
        limits, below = ((), ()) if self.limits is None else speeds.short(self.limits, self.edge)
        return [
            Group(title=machine.title, blocks=(words(f"{machine.description}.", machine.scenario),)),
            self.facts(),
            Group(blocks=(words(self.certainty("line")), words(self.formation()))),
            *self._more(),
            Beside(
                left=(self.stations().only("place", "dryness", "moisture_ratio", "temperature"),
                      self.energy_together()),
                right=(*self._prices(), *limits),
            ),
            *below,
            Group(blocks=tuple(self._notes(all_notes))),
            *(self.cautions() if cautions else [self._caution()]),
        ]  # fmt: skip

    def _more(self) -> list[Group]:
        rows = more(self.result, "terminal", self.edge, self.spreads)
        lines = Points(items=tuple(phrase("run.more.line", number=label, value=text) for label, text in rows))
        return [Group(title=phrase("numbers.more"), blocks=(lines,))] if rows else []

    def _prices(self) -> list[Table]:
        table = self.water() if self.formed else None
        if table is None:
            return []
        foot = phrase("run.water.currency_short", name=self.machine.prices.currency) if table.foot else ""
        return [replace(table, foot=foot)]

    def _notes(self, everything: bool) -> Iterable[Note]:
        """The weightiest notes in a sentence each; the rest is folded."""
        shown = self.notes if everything else self.notes[:NOTES_SHOWN]
        for one in shown:
            text = str(one).removeprefix(f"{one.part}: ")
            yield Note(part=one.part, text=text if everything else text.split(". ")[0].rstrip(".") + ".")
        if len(shown) < len(self.notes):
            yield Note(text=phrase("run.notes.more", count=len(self.notes) - len(shown)))

    def _caution(self) -> Block:
        return words(phrase("run.notes.cautions", text=self.cautions()[0].texts[0]))


def _span(low: float, high: float) -> str:
    """A range of numbers; one number where both ends read the same."""
    a, b = figure(low, 2), figure(high, 2)
    return a if a == b else phrase("run.formation.span", low=a, high=b)
