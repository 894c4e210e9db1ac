"""Side elevation of a machine to scale, as one drawing: ink lines, one blue for water, names on hover and focus.

The machine stands above; former and press stand below it once more, enlarged to one common scale, beside the
pressure in the nip. Bands of leaving water are as wide as their flow. Works from a plan; knows no physics.
"""

from __future__ import annotations

import dataclasses
import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from thinstock.drawing import inset as nip_inset
from thinstock.drawing import svg
from thinstock.drawing.enlarged import Enlarged, enlarged
from thinstock.drawing.foot import Scale, foot
from thinstock.drawing.labels import Box
from thinstock.drawing.layout import lay_out
from thinstock.drawing.lettering import Names, Sheet, Tips
from thinstock.drawing.panel import Known, Panel, signs
from thinstock.drawing.panel import depth as depth
from thinstock.drawing.panel import layer as layer
from thinstock.drawing.plan import Plan
from thinstock.drawing.water import forming_total, stream_water
from thinstock.errors import Refused
from thinstock.machine.outlines.said import in_unit, in_units, written
from thinstock.machine.result import Result
from thinstock.words import units
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

ROOT = "ts-elevation"
WIDEST = 0.75
"""Width of a band that carries all water of forming, m on the drawing (linear)."""
DECADE = 0.13
SMALLEST = 0.01
"""Width per factor of ten (m on the drawing) and the flow of no width, kg/(s m) (logarithmic)."""
NARROW = 640
"""Below this width names become numerals with a key."""
PRINTED = 1e-4
"""Bands with less than this share of all water have their number on hover and focus only."""


def elevation(
    result: Result, *, log_water: bool = False, width_px: int = 1200, inset: bool | Literal["row"] = True,
    theme: str = "print", unit_set: units.UnitSet = "mill", whole: bool = False,
    beside: Sequence[Result] = (),
) -> str:  # fmt: skip
    """The machine of a result from the side, to scale, as SVG text.

    Parameters
    ----------
    result : Result
        A run of one case.
    log_water : bool
        Bands of leaving water as wide as the logarithm of their flow.
    width_px : int
        Width, px; below 640 names become numerals with a key.
    inset : bool or "row"
        Former and press enlarged, and the pressing curve, below the machine; "row" sets all side by side, smaller where
        they must be: for paper.
    theme : {"print", "paper", "dark", "page"}
        The first three stand by themselves and carry their typeface; "page" takes colours and typeface from the page
        it is put into, and is black outside one.
    unit_set : {"mill", "si", "us"}
        Units of all numbers.
    whole : bool
        Water of the whole machine in place of water per metre of its width.
    beside : sequence of Result
        Runs it is to be compared with: metres and water are drawn at the scale at which all of them have room.

    Returns
    -------
    str
        SVG, lengths in metres of the machine; nothing is fetched.

    Raises
    ------
    Refused
        Several cases, or an unknown theme.

    Source: what the machine file states; fabrics, stock and sheet are drawn thicker than they are.
    """
    if not result.single:
        raise Refused(fault_in("drawing.elevation.result", "result", "several cases"))
    with in_units(unit_set):
        flows = _Flows(result, log_water, whole, tuple(beside))
        return _Drawing(result, width_px=float(width_px), theme=theme, flows=flows).svg(inset)


@dataclass(frozen=True)
class _Flows:
    """How water is drawn and told: linear or by decades, per metre of width or of the whole machine."""

    result: Result
    log_water: bool
    whole: bool
    beside: tuple[Result, ...] = ()

    @property
    def metres(self) -> float:
        """Length of the longest machine that shares the scale."""
        bounds = [Known(lay_out(one)).everything() for one in self.beside]
        return max((box.right - box.left for box in bounds), default=0.0)

    @cached_property
    def most(self) -> float:
        """The flow that is drawn as wide as the widest band, kg/(s m): this one's, or what is most of all."""
        own = float(self.result.machine.width) if self.whole else 1.0
        all_ = ((one, float(one.machine.width) if self.whole else 1.0) for one in self.beside)
        return max([forming_total(self.result), *(forming_total(one) * wide / own for one, wide in all_)])

    def told(self, flow: float) -> str:
        """A flow (kg/(s m)) with its unit."""
        if self.whole:
            return written("flow", flow * float(self.result.machine.width))
        return written("evaporation", flow)

    def short(self, flow: float) -> str:
        """The same in few letters."""
        return self.told(flow).replace(phrase("machine.said.kg_s_per_metre"), phrase("drawing.band.short"))

    def leaves(self, stage: str, flow: float) -> str:
        """What a band tells."""
        key = {"evaporation": "vapour", "press": "into_felt", "not drained": "undrained"}.get(stage, "water")
        share = in_unit(flow / stream_water(self.result, "jet"), "%")
        return phrase(f"drawing.band.{key}", flow=self.told(flow), share=share)


class _Drawing:
    """One drawing while it is made."""

    def __init__(self, result: Result, *, width_px: float, theme: str, flows: _Flows) -> None:
        self.result, self.flows = result, flows
        self.plan = _told(lay_out(result), flows)
        self.sheet = _sheet(result.machine.title, width_px, theme)
        self.main = self._main()
        self.names = Names(self.sheet)

    def _main(self) -> Panel:
        """The whole machine."""
        sheet, known = self.sheet, Known(self.plan)
        left, low, right, high = known.everything()
        side = 8.0 if sheet.narrow else 30.0
        scale = (sheet.width - 2 * side) / max(right - left, self.flows.metres)
        above, below = 2.6 * sheet.size, 2.4 * sheet.size
        view = svg.View(scale, side - scale * left, above + scale * high)
        frame = Box(0.0, 0.0, sheet.width, above + scale * (high - low) + below)
        widths = tuple(w * scale for w in _widths(self.plan, self.flows))
        return Panel(self.plan, view, frame, frame, sheet.size, widths, known)

    def svg(self, inset: bool | Literal["row"]) -> str:
        """All of it as markup."""
        sheet, plan, main = self.sheet, self.plan, self.main
        top = main.frame.bottom + 0.4 * sheet.size
        shown = enlarged(self.result, main, sheet, top, inset == "row") if inset else Enlarged()
        main_names = self._names(shown)
        close = shown.markup(self.names)
        key_markup, key_height = self.names.key(shown.bottom(main.frame.bottom))
        foot_top = shown.bottom(main.frame.bottom) + key_height
        foot_markup, foot_height = foot(self._scale(), sheet)
        tip_top = foot_top + foot_height
        height = tip_top + ((2 if not sheet.narrow else 5) + 0.8) * 1.25 * sheet.size
        tips = Tips(sheet, tip_top, height)
        hazards = (phrase("drawing.hazard.name"), phrase("drawing.hazard.all", number=signs(plan.hazards)))
        parts = [
            svg.element("rect", x=0, y=0, width=sheet.width, height=height, class_=svg.klass("paper")),
            tips.hint(), main.markup(tips.part, hazards), main_names, close, key_markup,
            svg.element("g", foot_markup, transform=f"translate(0 {svg.short(foot_top)})", aria_hidden="true"),
        ]  # fmt: skip
        title = phrase("drawing.sheet.title", title=self.result.machine.title or phrase("drawing.sheet.untitled"))
        head = svg.element("title", svg.words(title))
        head += svg.element("desc", svg.words(_in_words(self.result, plan, self.flows)))
        return svg.element(
            "svg", svg.style_sheet(sheet.theme, sheet.prefix, ROOT), svg.patterns(sheet.prefix, shown.clips()), head,
            *parts, xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {svg.short(sheet.width)} {svg.short(height)}",
            width=sheet.width, height=round(height, 1), class_=ROOT, role="group", aria_label=title,
        )  # fmt: skip

    def _names(self, shown: Enlarged) -> str:
        """Flows and names on the whole machine: what is named on an enlarged part is not named twice."""
        plan, everything = self.plan, math.fsum(b.flow for b in self.plan.leaving)
        flows: dict[tuple[str, str], float] = {}
        for band in plan.leaving:
            flows[band.stage, band.name] = flows.get((band.stage, band.name), 0.0) + band.flow
        said = {key: self.flows.short(flow) for key, flow in flows.items() if flow > PRINTED * everything}
        printed = self.names.flows(self.main, said)
        elsewhere = plan.former if shown.views else ()
        printed += self.names.parts(self.main, None, without=elsewhere, brief=plan.press if shown.views else ())
        return svg.element("g", printed, aria_hidden="true", pointer_events="none")

    def _scale(self) -> Scale:
        """What the foot shows: the scale, and how much water a band of some width is."""
        scale = self.main.view.scale
        total = self.flows.most or 1.0
        if self.flows.log_water:
            return Scale(scale, DECADE * scale, phrase("drawing.sheet.bands_log"))
        per_metre = float(self.result.machine.width) if self.flows.whole else 1.0
        unit = written("flow" if self.flows.whole else "evaporation", 1.0, 9)
        factor = float(unit.split(" ")[0]) * per_metre
        flow = round_flow(total * factor, WIDEST * scale) / factor
        key = "drawing.sheet.bands_whole" if self.flows.whole else "drawing.sheet.bands"
        return Scale(scale, band_width(flow, total, False) * scale, phrase(key, flow=self.flows.told(flow)))


def _told(plan: Plan, flows: _Flows) -> Plan:
    """The plan with what each group of bands tells."""
    groups: dict[tuple[str, str], float] = {}
    for band in plan.leaving:
        groups[band.stage, band.name] = groups.get((band.stage, band.name), 0.0) + band.flow
    said = {
        (stage, name): (phrase("drawing.band.name", name=name), flows.leaves(stage, flow))
        for (stage, name), flow in groups.items()
    }
    return dataclasses.replace(plan, water=said)


def _sheet(title: str, width: float, theme: str) -> Sheet:
    narrow = width < NARROW
    size = 14.0 if width >= 1000 else 13.0 if not narrow else 12.0
    digest = hashlib.sha256(repr((width, theme, title)).encode()).hexdigest()[:6]
    return Sheet(width, size, narrow, f"ts{digest}-", theme)


# --- water


def band_width(flow: float, total: float, log_water: bool) -> float:
    """Width of a band, m on the drawing."""
    if log_water:
        return DECADE * max(math.log10(max(flow, 1e-12) / SMALLEST), 0.0)
    return WIDEST * flow / total


def _widths(plan: Plan, flows: _Flows) -> list[float]:
    """Width of every band, m on the drawing."""
    total = flows.most + math.fsum(b.flow for b in plan.leaving if b.stage == "not drained")
    return [band_width(b.flow, total, flows.log_water) for b in plan.leaving]


def round_flow(total: float, pixels: float) -> float:
    """A round flow whose band is about 40 px wide."""
    wanted = 40.0 * total / pixels
    power = 10.0 ** math.floor(math.log10(wanted))
    return max((m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power <= wanted * 1.26), default=power)


# --- words for those who do not see it


def alt_text(result: Result) -> str:
    """The drawing in words, from its numbers."""
    return _in_words(result, lay_out(result), _Flows(result, False, False))


def _in_words(result: Result, plan: Plan, flows: _Flows) -> str:
    machine = result.machine
    title = machine.title or phrase("drawing.words.untitled")
    parts = [phrase("drawing.words.whole", title=title, former=machine.forming.former)]
    parts += [phrase("drawing.words.part", name=o.name, said=o.text) for o in plan.outlines if o.label]
    groups: dict[tuple[str, str], float] = {}
    for band in plan.leaving:
        groups[band.name, band.stage] = groups.get((band.name, band.stage), 0.0) + band.flow
    said = [
        phrase("drawing.words.band", name=name, stage=_stage(stage), flow=flows.told(flow))
        for (name, stage), flow in groups.items()
    ]
    total = flows.told(stream_water(result, "jet"))
    parts.append(phrase("drawing.words.water", total=total, bands=", ".join(said)))
    if not result.wet.nips:
        parts.append(phrase("drawing.words.not_formed"))
    else:
        parts.append(phrase("drawing.words.nip", nips=nip_inset.told(result)))
    return " ".join(parts)


def _stage(stage: str) -> str:
    """The name of a stage of taking water out."""
    return phrase("drawing.words.stage_not_drained") if stage == "not drained" else phrase(f"stage.{stage}")


Cell = str | float | None


def table(result: Result) -> list[dict[str, Cell]]:
    """The data behind the drawing: every part with its text, and the water that leaves at it (kg/(s m))."""
    plan = lay_out(result)
    water: dict[str, float] = {}
    for band in plan.leaving:
        water[band.name] = water.get(band.name, 0.0) + band.flow
    heads = (
        phrase("drawing.words.column_part"),
        phrase("drawing.words.column_numbers"),
        phrase("drawing.words.column_water"),
    )
    rows: list[tuple[Cell, ...]] = [(o.name, o.text, water.pop(o.name, None)) for o in plan.outlines]
    rows += [(loop.name, loop.text, None) for loop in plan.loops]
    rows += [(name, "", flow) for name, flow in water.items()]
    return [dict(zip(heads, row, strict=True)) for row in rows]
