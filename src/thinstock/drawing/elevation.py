"""Side elevation of a machine to scale, as one drawing: ink lines, one blue for water, names on hover and focus.

Fabrics, stock and sheet are drawn thicker than they are; everything else is to scale. Bands of leaving water are as
wide as their flow, per metre of machine width. Works from a plan; knows no physics.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass

from thinstock.drawing import inset as nip_inset
from thinstock.drawing import svg
from thinstock.drawing.labels import Room
from thinstock.drawing.layout import lay_out
from thinstock.drawing.lettering import Names, Sheet, Tips
from thinstock.drawing.plan import Leaving, Loop, Plan, Run, Wrap
from thinstock.drawing.water import forming_total, stream_water
from thinstock.errors import Refused
from thinstock.machine.geometry import Line, Path, Point, circle_path, sector
from thinstock.machine.outlines.said import in_unit, plain
from thinstock.machine.outlines.shape import Outline
from thinstock.machine.result import Result
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
DRIEST, WETTEST = 0.05, 3000.0
"""kg water per kg fibre at the palest and deepest blue."""


def elevation(
    result: Result, *, log_water: bool = False, width_px: int = 1200, inset: bool = True, theme: str = "print"
) -> str:
    """The machine of a result from the side, to scale, as SVG text.

    Parameters
    ----------
    result : Result
        A run of one case.
    log_water : bool
        Bands of leaving water as wide as the logarithm of their flow, kg/(s m).
    width_px : int
        Width, px; below 640 names become numerals with a key.
    inset : bool
        The pressing curve below the machine.
    theme : {"print", "paper", "dark", "page"}
        The first three stand by themselves; "page" takes its colours from the variables of the page it is put into,
        and is black outside one.

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
    plan = lay_out(result)
    sheet = _paper(plan, float(width_px), theme)
    names = Names(sheet, plan, _widths(plan, result, log_water))
    foot = _foot(result, sheet, log_water)
    below = sheet.machine_height + 6.0
    inset_markup, inset_height = "", 0.0
    if inset and result.wet.nips:
        inset_markup, inset_height = _inset(result, names.room, sheet, below)
    bands = _bands(plan, sheet, result, log_water, names)
    labels = names.markup()
    key_markup, key_height = names.key(below + inset_height)
    foot_top = below + inset_height + key_height
    tip_top = foot_top + foot.height
    height = tip_top + ((2 if not sheet.narrow else 5) + 0.8) * 1.25 * sheet.size
    tips = Tips(sheet, tip_top, height)
    parts = [
        svg.element("rect", x=0, y=0, width=sheet.width, height=height, class_=svg.klass("paper")),
        tips.hint(),
        *_machine(plan, sheet, tips, bands),
        inset_markup, labels, key_markup, foot.at(foot_top),
    ]  # fmt: skip
    title = phrase("drawing.sheet.title", title=result.machine.title or phrase("drawing.sheet.untitled"))
    head = svg.element("title", svg.words(title)) + svg.element("desc", svg.words(_in_words(result, plan)))
    return svg.element(
        "svg", svg.style_sheet(theme, sheet.prefix, ROOT), svg.patterns(sheet.prefix), head, *parts,
        xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {svg.short(sheet.width)} {svg.short(height)}",
        width=sheet.width, height=round(height, 1), class_=ROOT, role="group", aria_label=title,
    )  # fmt: skip


def _machine(plan: Plan, sheet: Sheet, tips: Tips, bands: list[tuple[str, str, str]]) -> list[str]:
    """Everything to scale, from the back to the front."""
    parts = []
    for outline in plan.outlines:
        first = outline.shapes[0]
        mark = svg.drawn(first.path, sheet.view, "mark", first.closed)
        parts.append(tips.part(outline.name, outline.text, _outline(outline, sheet), mark))
        parts += [_wrap(w, sheet) for w in plan.wraps if w.part == outline.part]
    parts += [tips.part(name, said, markup, "") for name, said, markup in bands]
    parts.append(_over(plan, sheet))
    for loop in plan.loops:
        parts.append(
            tips.part(loop.name, loop.text, _loop(loop, sheet), svg.drawn(loop.path, sheet.view, "mark", True))
        )
    parts += [tips.part(r.name, _run_text(r), _run(r, sheet), "") for r in plan.runs]
    parts.append(_hazards(plan, sheet, tips))
    return parts


def _paper(plan: Plan, width: float, theme: str) -> Sheet:
    narrow = width < NARROW
    size = 15.0 if width >= 1000 else 13.0 if not narrow else 11.5
    points = plan.points()
    left, right = min(p.x for p in points), max(p.x for p in points)
    low, high = min(p.y for p in points), max(p.y for p in points)
    side = 8.0 if narrow else 26.0
    scale = (width - 2 * side) / (right - left)
    above, below = 1.7 * size, 1.9 * size
    view = svg.View(scale, side - scale * left, above + scale * high)
    digest = hashlib.sha256(repr((width, theme, [tuple(p) for p in points[:40]])).encode()).hexdigest()[:6]
    return Sheet(width, size, view, above + scale * (high - low) + below, narrow, f"ts{digest}-", theme)


# --- parts


def _outline(outline: Outline, sheet: Sheet) -> str:
    return "".join(svg.drawn(s.path, sheet.view, s.role, s.closed) for s in outline.shapes)


SOLID = ("shoe", "foil", "blade")


def _over(plan: Plan, sheet: Sheet) -> str:
    """Lines of the parts that a band of water crosses, once more above it."""
    crossed = {band.part for band in plan.leaving}
    lines = [
        svg.drawn(shape.path, sheet.view, shape.role if shape.role in SOLID else "over", shape.closed)
        for outline in plan.outlines
        if outline.part in crossed
        for shape in outline.shapes
        if shape.role not in ("hood", "nozzles")
    ]
    return svg.element("g", *lines, aria_hidden="true", pointer_events="none")


def _loop(loop: Loop, sheet: Sheet) -> str:
    lines = [svg.drawn(loop.path, sheet.view, loop.role, True)]
    if loop.role == "felt":
        lines.append(svg.drawn(loop.path, sheet.view, "felt core", True))
    rolls = "".join(svg.drawn(circle_path(c), sheet.view, "roll", True) for c, _ in loop.rolls if c.radius <= 0.35)
    return rolls + "".join(lines)


def _wrap(wrap: Wrap, sheet: Sheet) -> str:
    """The wrap shaded inside its roll, with the end of forming and its band."""
    arc = wrap.arc
    parts = [
        svg.drawn(
            sector(arc.centre, 0.62 * arc.radius, 0.985 * arc.radius, arc.begin, arc.turn), sheet.view, "wrap", True
        ),
    ]
    for angle in (arc.begin, arc.begin + arc.turn):
        edge = Path((_line(arc.centre.beside(angle, 0.55 * arc.radius), arc.centre.beside(angle, 1.1 * arc.radius)),))
        parts.append(svg.drawn(edge, sheet.view, "wrap edge"))
    if wrap.formed is not None:
        angle = arc.begin + arc.side * wrap.formed
        tick = Path((_line(arc.centre.beside(angle, 0.55 * arc.radius), arc.centre.beside(angle, 1.06 * arc.radius)),))
        parts.append(svg.drawn(tick, sheet.view, "formed"))
        last = wrap.formed_slow if wrap.formed_slow is not None else abs(arc.turn)
        band = Path((type(arc)(arc.centre, 0.56 * arc.radius, angle, arc.side * (last - wrap.formed)),))
        parts.append(svg.drawn(band, sheet.view, "formed slow"))
    return svg.element("g", *parts, aria_hidden="true", pointer_events="none")


def _line(a: Point, b: Point) -> Line:
    return Line(a, b)


def layer(ratio: float, size: float = 15.0) -> float:
    """How thick stock or sheet is drawn, px: by the logarithm of its water per fibre."""
    return (0.9 + 1.35 * math.log10(1.0 + max(ratio, 0.0))) * size / 15.0


def depth(ratio: float) -> float:
    """How deep the blue is: 0.2 for a dry sheet, 1 for the most dilute water."""
    if not math.isfinite(ratio):
        return 1.0
    share = math.log(max(ratio, DRIEST) / DRIEST) / math.log(WETTEST / DRIEST)
    return round(0.2 + 0.8 * min(share, 1.0), 3)


def _run(run: Run, sheet: Sheet) -> str:
    parts: list[str] = []
    ink: list[str] = []
    for (a, b), (x, y) in zip(
        zip(run.places, run.places[1:], strict=False),
        zip(run.moisture_ratios, run.moisture_ratios[1:], strict=False),
        strict=True,
    ):
        if b - a < 1e-9:
            continue
        same = abs(math.log((x + 1e-6) / (y + 1e-6))) < 0.02
        count = 1 if same else max(1, min(6, math.ceil(abs(math.log(y / x)) * 1.5)))
        for i in range(count):
            p, q = a + (b - a) * i / count, a + (b - a) * (i + 1) / count
            ratio = x if same else math.exp(math.log(x) + (math.log(y) - math.log(x)) * (i + 0.5) / count)
            thick = layer(ratio, sheet.size)
            off = run.lies * (1.6 * sheet.size / 15.0 + thick / 2) / sheet.view.scale
            piece = run.path.part(p, q).beside(off)
            parts.append(
                svg.drawn(piece, sheet.view, "stock", stroke_width=round(thick, 2), stroke_opacity=depth(ratio))
            )
            if ratio < 30.0:
                ink.append(svg.drawn(piece, sheet.view, "sheet"))
    return "".join(parts + ink)


def _run_text(run: Run) -> str:
    first, last = run.moisture_ratios[0], run.moisture_ratios[-1]
    if abs(first - last) < 0.01 * first:
        return phrase("drawing.run.same", ratio=plain(first))
    return phrase("drawing.run.from_to", first=plain(first), last=plain(last))


# --- water


def band_width(flow: float, total: float, log_water: bool) -> float:
    """Width of a band, m on the drawing."""
    if log_water:
        return DECADE * max(math.log10(max(flow, 1e-12) / SMALLEST), 0.0)
    return WIDEST * flow / total


def _widths(plan: Plan, result: Result, log_water: bool) -> list[float]:
    """Width of every band, m on the drawing."""
    total = forming_total(result) + math.fsum(b.flow for b in plan.leaving if b.stage == "not drained")
    return [band_width(b.flow, total, log_water) for b in plan.leaving]


def _bands(plan: Plan, sheet: Sheet, result: Result, log_water: bool, names: Names) -> list[tuple[str, str, str]]:
    widths = {id(b): w for b, w in zip(plan.leaving, _widths(plan, result, log_water), strict=True)}
    groups: dict[tuple[str, str], list[Leaving]] = {}
    for band in plan.leaving:
        groups.setdefault((band.stage, band.name), []).append(band)
    everything = math.fsum(b.flow for b in plan.leaving)
    jet = stream_water(result, "jet")
    found = []
    for (stage, name), bands in groups.items():
        flow = math.fsum(b.flow for b in bands)
        markup = "".join(_band(b, sheet, widths[id(b)]) for b in bands)
        said = _leaves(stage, in_unit(flow, "kg/(s m)"), in_unit(flow / jet, "%"))
        found.append((phrase("drawing.band.name", name=name), said, markup))
        shown = next((b for b in bands if b.label), bands[len(bands) // 2])
        if flow > 1e-6 * everything:
            end = shown.path.at(shown.path.length)
            names.number(phrase("drawing.band.flow", flow=plain(flow)), end.point, end.heading)
    return found


def _leaves(stage: str, flow: str, share: str) -> str:
    """What a band tells."""
    if stage == "evaporation":
        return phrase("drawing.band.vapour", flow=flow, share=share)
    if stage == "press":
        return phrase("drawing.band.into_felt", flow=flow, share=share)
    if stage == "not drained":
        return phrase("drawing.band.undrained", flow=flow, share=share)
    return phrase("drawing.band.water", flow=flow, share=share)


def _band(band: Leaving, sheet: Sheet, width: float) -> str:
    """A ribbon as wide as its flow, with an arrow at its end."""
    half = 0.5 * width
    out, back = band.path.beside(half), band.path.beside(-half).reversed()
    outline = out.then(Path((_line(out.end, back.start),)), back, Path((_line(back.end, out.start),)))
    role = {"evaporation": "band vapour", "not drained": "band undrained"}.get(band.stage, "band")
    tone = depth(band.moisture_ratio) if role == "band" else None
    end = band.path.at(band.path.length)
    tip, wing = 0.6 * sheet.size / sheet.view.scale, half + 0.28 * sheet.size / sheet.view.scale
    arrow = [sheet.view.at(end.point.beside(end.heading, *at)) for at in ((0.0, wing), (tip, 0.0), (0.0, -wing))]
    return svg.drawn(
        outline, sheet.view, role, True, fill_opacity=tone, data_flow=f"{band.flow:.6g}",
        data_width=f"{width * sheet.view.scale:.4f}",
    ) + svg.polygon(arrow, role, fill_opacity=tone)  # fmt: skip


# --- hazards


def _hazards(plan: Plan, sheet: Sheet, tips: Tips) -> str:
    big, small = 0.95 * sheet.size, 0.34 * sheet.size
    parts: list[str] = []
    order = {"roll at crawl": 0, "roll": 1, "nip at crawl": 2, "nip": 3, "blade": 4, "hot": 5}
    for hazard in sorted(plan.hazards, key=lambda h: order[h.kind]):
        x, y = sheet.view.at(hazard.place)
        if hazard.kind in ("roll", "roll at crawl"):
            role = "sign small" if hazard.kind == "roll" else "sign crawl"
            parts.append(_triangle(x, y, small, role))
        elif hazard.kind == "nip at crawl":
            parts.append(_triangle(x, y, 0.62 * big, "sign"))
        else:
            parts.append(_triangle(x, y, big, "sign"))
            bar = [(x, y - 0.3 * big), (x, y + 0.06 * big)]
            parts.append(svg.line(bar, "rule", stroke_width=0.13 * big))
            parts.append(
                svg.element("circle", cx=x, cy=y + 0.24 * big, r=0.075 * big, class_=svg.klass("black"), stroke="none")
            )
    nips = sum(h.kind in ("nip", "roll") for h in plan.hazards)
    return tips.part(phrase("drawing.hazard.name"), phrase("drawing.hazard.all", number=nips), "".join(parts), "")


def _triangle(x: float, y: float, size: float, role: str) -> str:
    half = 0.58 * size
    return svg.polygon([(x, y - 0.62 * size), (x + half, y + 0.42 * size), (x - half, y + 0.42 * size)], role)


# --- foot


@dataclass(frozen=True)
class _Foot:
    """Scale bar, key to the bands, and what is not to scale."""

    markup: str
    height: float

    def at(self, top: float) -> str:
        """The foot at its place."""
        return svg.element("g", self.markup, transform=f"translate(0 {svg.short(top)})", aria_hidden="true")


def bar_metres(scale: float, room: float) -> float:
    """Length of the scale bar: the longest of 1, 2, 5 m that has room."""
    return max((m for m in (1.0, 2.0, 5.0, 10.0) if m * scale <= room), default=1.0)


def round_flow(total: float, pixels: float) -> float:
    """A round flow whose band is about 40 px wide."""
    wanted = 40.0 * total / pixels
    power = 10.0 ** math.floor(math.log10(wanted))
    return max((m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power <= wanted * 1.26), default=power)


def _foot(result: Result, sheet: Sheet, log_water: bool) -> _Foot:
    size, scale = sheet.size, sheet.view.scale
    metres = bar_metres(scale, 0.3 * sheet.width)
    parts = []
    y = 1.0 * size
    count = int(metres) if metres <= 2 else 5
    for i in range(count):
        a, b = (12 + metres * scale * j / count for j in (i, i + 1))
        parts.append(svg.polygon([(a, y), (b, y), (b, y + 5), (a, y + 5)], "black" if i % 2 == 0 else "white"))
    end = 12 + metres * scale
    parts.append(svg.element("g", data_metres=plain(metres), data_pixels=f"{metres * scale:.4f}"))
    parts.append(
        svg.text(end + 7, y + 0.45 * size, phrase("drawing.sheet.metres", length=plain(metres)), "text", 0.93 * size)
    )
    x = end + 7 + svg.width_of("10 m", size) + 20
    total = forming_total(result) or 1.0
    if log_water:
        said = phrase("drawing.sheet.bands_log")
        sample = DECADE * scale
    else:
        flow = round_flow(total, WIDEST * scale)
        sample = band_width(flow, total, False) * scale
        said = phrase("drawing.sheet.bands", flow=plain(flow))
    lines = svg.wrapped(said, 0.93 * size, sheet.width - x - sample - 20) if not sheet.narrow else []
    if sheet.narrow:
        x, y = 12.0, y + 2.1 * size
        lines = svg.wrapped(said, 0.93 * size, sheet.width - sample - 40)
    for i, one in enumerate(lines):
        parts.append(svg.text(x, y + 0.45 * size + 1.2 * size * i, one, "text", 0.93 * size))
    at = x + svg.width_of(lines[-1], 0.93 * size) + 8
    py = y + 1.2 * size * (len(lines) - 1)
    parts.append(svg.polygon([(at, py - 3), (at + sample, py - 3), (at + sample, py + 8), (at, py + 8)], "band"))
    bottom = y + 1.2 * size * len(lines)
    note = phrase("drawing.sheet.note")
    for one in svg.wrapped(note, 0.87 * size, sheet.width - 24):
        bottom += 1.2 * size
        parts.append(svg.text(12, bottom, one, "text faint", 0.87 * size))
    return _Foot("".join(parts), bottom + 0.6 * size)


def _inset(result: Result, room: Room, sheet: Sheet, below: float) -> tuple[str, float]:
    """The nip inset: where there is room beside the machine, or below it; gives also the height it adds."""
    size = 0.93 * sheet.size
    names = 1.2 * nip_inset.lines_over(result) * size
    if not sheet.narrow:
        for high in (13.0 * size + names, 10.5 * size + names):
            wide = 20.0 * size
            place = room.free(wide + 16.0, high)
            if place is not None:
                room.fill((place[0], place[1], place[0] + wide + 16, place[1] + high))
                return nip_inset.draw(result, (place[0] + 8.0, place[1]), wide, high, size), 0.0
    high = 13.0 * size + names
    return nip_inset.draw(result, (12.0, below), min(20.0 * size, sheet.width - 24), high, size), high + 10.0


# --- words for those who do not see it


def alt_text(result: Result) -> str:
    """The drawing in words, from its numbers."""
    return _in_words(result, lay_out(result))


def _in_words(result: Result, plan: Plan) -> str:
    machine = result.machine
    title = machine.title or phrase("drawing.words.untitled")
    parts = [phrase("drawing.words.whole", title=title, former=machine.forming.former)]
    parts += [phrase("drawing.words.part", name=o.name, said=o.text) for o in plan.outlines if o.label]
    groups: dict[tuple[str, str], float] = {}
    for band in plan.leaving:
        groups[band.name, band.stage] = groups.get((band.name, band.stage), 0.0) + band.flow
    said = [
        phrase("drawing.words.band", name=name, stage=_stage(stage), flow=in_unit(flow, "kg/(s m)"))
        for (name, stage), flow in groups.items()
    ]
    total = in_unit(stream_water(result, "jet"), "kg/(s m)")
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
