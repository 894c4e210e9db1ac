"""Formers, presses and whole machines drawn large and to scale, with water bands, the sheet's path and what is lit."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace

from thinstock.drawing import svg
from thinstock.drawing.labels import Box
from thinstock.drawing.layout import lay_out
from thinstock.drawing.lettering import Names, Sheet
from thinstock.drawing.panel import Known, Panel
from thinstock.drawing.plan import Plan
from thinstock.errors import Refused
from thinstock.lesson.shows.canvas import PREFIX, Drawn, Place, words
from thinstock.lesson.shows.kicks import PARTS as LIT_KICKS
from thinstock.lesson.shows.kicks import TIMES, kicks
from thinstock.lesson.shows.nips import pressures
from thinstock.lesson.subject import Subject
from thinstock.machine.geometry import Path
from thinstock.machine.outlines.said import written
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

PER_FLOW = 0.14
"""Width of a band for each kg/(s m) of water, px: one scale for all scenes."""
SCALES = (16.0, 20.0, 25.0, 32.0, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0)
"""px a metre; few, so that neighbouring scenes share theirs and growth is seen."""
FOOT = 28.0
"""Room for the scale bar below a drawing."""
MARGIN = 110.0
"""Room for names beside a drawing."""
Part = Callable[[Plan], Plan]


def former_of(whole: Plan) -> Plan:
    """The former alone."""
    wanted = {"headbox", *whole.former}
    leaving = [band for band in whole.leaving if band.stage in ("forming", "not drained")]
    return replace(
        whole, outlines=[o for o in whole.outlines if o.part in wanted], runs=whole.runs[:2], hazards=[], remarks=[],
        leaving=leaving,
    )  # fmt: skip


def press_of(whole: Plan) -> Plan:
    """The nips alone."""
    wanted = {*whole.press, "yankee"}
    return replace(
        whole, outlines=[o for o in whole.outlines if o.part in wanted], hazards=whole.hazards, remarks=[],
        leaving=[band for band in whole.leaving if band.stage == "press"], wraps=[], runs=whole.runs,
    )  # fmt: skip


def machine_of(whole: Plan) -> Plan:
    """All of it."""
    return whole


PARTS: dict[str, Part] = {"former": former_of, "press": press_of, "machine": machine_of}


@dataclass(frozen=True)
class View:
    """A plan with what of it has to be on the paper, m."""

    plan: Plan
    known: Known
    box: Box

    @classmethod
    def of(cls, subject: Subject, part: str) -> View:
        """The part of a machine."""
        whole = lay_out(subject.result)
        plan = PARTS[part](whole)
        known = Known(plan)
        paths = _held(whole, plan, part)
        left, low, right, high = zip(*(known.bounds(path) for path in paths), strict=True)
        return cls(plan, known, Box(min(left), min(low), max(right), max(high)))

    @property
    def side(self) -> float:
        """Half of the widest band, px."""
        return 0.5 * PER_FLOW * max((band.flow for band in self.plan.leaving), default=0.0) + 4.0

    def fits(self, width: float, height: float) -> float:
        """The largest scale at which it fits."""
        box = self.box
        most = min((width - 2 * self.side) / (box.right - box.left), (height - 14.0) / (box.bottom - box.top))
        return max((scale for scale in SCALES if scale <= most), default=most)


def _held(whole: Plan, plan: Plan, part: str) -> list[Path]:
    if part == "press":
        return [s.path for o in whole.outlines if o.part in whole.press for s in o.shapes]
    paths = [shape.path for outline in plan.outlines for shape in outline.shapes]
    paths += [band.path for band in plan.leaving]
    loops = plan.loops if part == "machine" else [loop for loop in plan.loops if loop.role == "wire"]
    return paths + [loop.path for loop in loops]


def lit_names(plan: Plan) -> dict[str, str]:
    """What can be lit: its name as a lesson writes it, and the part's id."""
    found = {outline.part: outline.part for outline in plan.outlines}
    found |= {outline.name: outline.part for outline in plan.outlines}
    return found | {loop.name: loop.name for loop in plan.loops}


def checked_light(subject: Subject, part: str) -> str:
    """The id of the lit part, empty where nothing is chosen; refused where nothing of this name is drawn."""
    if not subject.light:
        return ""
    known = lit_names(PARTS[part](lay_out(subject.result)))
    if subject.light not in known:
        raise Refused(fault_in("lesson.fault.no_light", "light", subject.light, known=", ".join(dict.fromkeys(known))))
    return known[subject.light]


class _Lit(Panel):
    """A panel that groups every part, so that one can be lit and the others go pale."""

    def parts(self, light: str) -> Callable[[str, str, str, str], str]:
        """Wraps the markup of a part."""

        def wrap(name: str, said: str, markup: str, mark: str) -> str:
            if not light:
                return markup
            return svg.element("g", markup, class_="st-lit" if name in (light, f"of {light}") else "st-pale")

        return wrap

    def _over(self) -> str:
        return ""


def _drawn(view: View, scale: float, frame: Box, light: str, size: float) -> tuple[str, _Lit]:
    """The plan in its frame, and the panel that knows where ink is."""
    box, plan = view.box, replace(view.plan)
    plan.outlines = [replace(o, name=o.part, label=o.label or o.name) for o in plan.outlines]
    plan.water = {(band.stage, band.name): (f"of {band.part}", "") for band in plan.leaving}
    left = frame.left + (frame.right - frame.left - (box.right - box.left) * scale) / 2
    top = frame.top + (frame.bottom - frame.top - (box.bottom - box.top) * scale) / 2
    at = svg.View(scale, left - scale * box.left, top + scale * box.bottom)
    widths = tuple(max(PER_FLOW * band.flow, 0.9) for band in plan.leaving)
    panel = _Lit(plan, at, frame, frame, size, widths, Known(plan), whole=False)
    clip = f"{PREFIX}frame{frame.left:.0f}"
    held = svg.element(
        "clipPath", svg.element("rect", x=frame.left, y=frame.top, width=frame.right - frame.left,
                                height=frame.bottom - frame.top), id=clip)  # fmt: skip
    drawn = svg.element("g", panel.markup(panel.parts(light), ("hazards", "")), clip_path=f"url(#{clip})")
    return held + drawn, panel


def _named(panel: Panel, subject: Subject, light: str, place: Place, few: Collection[str] | None) -> str:
    """Names of what is lit, or of the parts that matter, and the water that leaves there."""
    names = Names(Sheet(place.width, place.size, False, PREFIX, "page"))
    wanted = [light] if light else few
    printed = ""
    if wanted is None or any(band.part in wanted for band in panel.plan.leaving):
        printed = names.flows(panel, _flows(panel.plan, wanted))
    printed += names.parts(panel, wanted, brief={o.part for o in panel.plan.outlines})
    return svg.element("g", printed, aria_hidden="true")


def _flows(plan: Plan, wanted: Collection[str] | None) -> dict[tuple[str, str], str]:
    flows: dict[tuple[str, str], float] = {}
    for band in plan.leaving:
        if wanted is None or band.part in wanted:
            flows[band.stage, band.name] = flows.get((band.stage, band.name), 0.0) + band.flow
    return {
        key: phrase("lesson.stage.flow", flow=written("evaporation", flow).split(" ")[0]) for key, flow in flows.items()
    }


def scale_bar(scale: float, y: float, size: float) -> str:
    """Two metres, or as much as fits well."""
    metres = next((m for m in (5.0, 2.0, 1.0, 0.5, 0.2) if m * scale <= 180.0), 0.1)
    long = metres * scale
    line = svg.line([(2, y - 5), (2, y + 5), (2, y), (2 + long, y), (2 + long, y - 5), (2 + long, y + 5)], "rule")
    return line + words(
        long + 12, y + 0.3 * size, phrase("lesson.stage.metres", long=f"{metres:g}"), size=size, role="text faint"
    )


def band_key(x: float, y: float, size: float) -> str:
    """How much water a band is."""
    flow = 100.0
    wide_band = PER_FLOW * flow
    mark = svg.element("rect", x=x, y=y - wide_band / 2, width=28.0, height=wide_band, class_=svg.klass("band"))
    return mark + words(
        x + 38, y + 0.3 * size, phrase("lesson.stage.band", flow=f"{flow:g}"), size=size, role="text faint"
    )


def one(subject: Subject, place: Place, part: str) -> Drawn:
    """A former, a press or a machine, alone."""
    view = View.of(subject, part)
    light = checked_light(subject, part)
    room = place.height - FOOT
    free = place.width * (0.56 if part == "press" else 1.0)
    scale = view.fits(free - (2 * MARGIN if part != "press" else 80.0), room - 22.0)
    frame = Box(0.0, 0.0, free, room)
    markup, panel = _drawn(view, scale, frame, light, place.size)
    thrown = kicks(subject, panel) if part == "former" and light in LIT_KICKS else ""
    labelled = [o.part for o in view.plan.outlines if o.label]
    few = [p for p in labelled if part != "machine" or not p.startswith("felt")]
    foot = scale_bar(scale, place.height - 10.0, place.size)
    if view.plan.leaving and part != "press":
        foot += band_key(260.0, place.height - 10.0, place.size)
    if part == "press":
        corner = Box(free + 2 * place.size, 4.0, place.width, room)
        foot += pressures({subject.label: subject}, corner, place.size)
    return Drawn(
        markup=markup + thrown + _named(panel, subject, light, place, few) + foot,
        alt=phrase(f"lesson.alt.{part}", title=subject.machine.title), names=tuple(lit_names(view.plan)),
        caption=phrase("lesson.stage.thrown", times=f"{TIMES:g}") if thrown else phrase("lesson.stage.to_scale"),
    )  # fmt: skip


def two(left: Subject, right: Subject, place: Place, part: str) -> Drawn:
    """Two of them side by side at one scale."""
    views = [View.of(one, part) for one in (left, right)]
    lights = [checked_light(one, part) for one in (left, right)]
    room, gap = place.height - FOOT, 36.0
    half = (place.width - gap) / 2
    head = 1.9 * place.size
    chart = 0.42 * place.width if part == "press" else 0.0
    half -= chart / 2
    scale = min(view.fits(half - 40.0, room - head - 20.0) for view in views)
    parts: list[str] = []
    names: list[str] = []
    for i, (view, subject) in enumerate(zip(views, (left, right), strict=True)):
        x = i * (half + gap)
        frame = Box(x, head, x + half, room)
        light = lights[i]
        markup, panel = _drawn(view, scale, frame, light, place.size)
        title = subject.label or subject.machine.forming.former
        parts.append(words(x + half / 2, 1.2 * place.size, title, size=1.2 * place.size, anchor="middle", strong=True))
        few = [light] if light else [] if part == "former" else [o.part for o in view.plan.outlines if o.label][:4]
        parts.append(markup + _named(panel, subject, light, place, few))
        names += lit_names(view.plan)
    parts.append(svg.line([(half + gap / 2, 6.0), (half + gap / 2, room)], "thin rule"))
    parts.append(scale_bar(scale, place.height - 10.0, place.size))
    if chart:
        corner = Box(place.width - chart + gap, 4.0, place.width, room)
        parts.append(pressures({(one.label or one.machine.title): one for one in (left, right)}, corner, place.size))
    if part != "press" and any(view.plan.leaving for view in views):
        parts.append(band_key(260.0, place.height - 10.0, place.size))
    return Drawn(
        markup="".join(parts), names=tuple(names), caption=phrase("lesson.stage.one_scale"),
        alt=phrase("lesson.alt.beside", left=left.machine.title, right=right.machine.title),
    )  # fmt: skip
