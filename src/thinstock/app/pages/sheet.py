"""The sheet page: up to four consistencies side by side, as theory has them and as simulated, against the light.

Theory follows every change at once. The sheets themselves are laid in a process of their own, with progress and a stop;
until they are done the old ones are visibly old.
"""

from __future__ import annotations

import base64
from collections import OrderedDict
from collections.abc import Callable
from copy import copy
from dataclasses import replace
from functools import partial
from threading import Lock
from typing import Any

import numpy as np
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock.app import jobs_routes, pictures, sheet_light
from thinstock.app.hole_words import count, counts, plus_minus_count
from thinstock.app.pages import Page
from thinstock.app.reply import attachment, body_of, json_reply, page_reply, piece, text_in
from thinstock.app.sheet_lines import labelled_ends
from thinstock.app.sheet_wanted import MOST, SIZES, TARGETS, wanted
from thinstock.app.state import Opened, fault_rows, made_of, open_state, parse
from thinstock.app.words import say
from thinstock.app.work import MODES, EyeMade, SheetMade, SheetsWanted
from thinstock.errors import Refused
from thinstock.formula.label import worksheet
from thinstock.machine.evenness import (
    REGIMES,
    asked_ends,
    furnish_of,
    holes_above,
    holes_from,
)
from thinstock.machine.evenness import SIZES as HOLE_SIZES
from thinstock.sheet import formation
from thinstock.sheet.dilution import dilution_answer
from thinstock.sheet.eye import visible_holes
from thinstock.sheet.look import SCATTERING
from thinstock.sheet.showcase import GRADES
from thinstock.tell.blocks import Table, lined
from thinstock.tell.dilution import answers_text, helpless
from thinstock.words import units
from thinstock.words.figures import NONE, Edge, figure, plus_minus
from thinstock.words.phrase import phrase
from thinstock.work.jobs import Jobs
from thinstock.work.workspace import Workspace

ZONES = (0.25e-3, 0.5e-3, 1e-3, 2e-3, 4e-3, 8e-3)
"""Zones on which evenness is counted, m."""
CURVE = tuple(float(z) for z in np.geomspace(0.1e-3, 10e-3, 25))
ENDS_SHOWN = ("base", "best", "worst")
HOLE_CURVE = tuple(float(d) for d in np.geomspace(50e-6, 250e-6, 15))
EYES = ("window", "lamp")
"""Lights in which a sheet is shown as an eye sees it."""
WORK = {False: "thinstock.app.work:sheets", True: "thinstock.app.work:looked_at"}
"""Job that lays the sheets, and that looks at them as well."""
FEWEST = 1e-2
"""Holes per m² below which a curve says nothing to a crew."""


class Sheets:
    """The sheets of one address: theory, and what was counted if they were laid."""

    def __init__(self, opened: Opened) -> None:
        self.opened, self.wanted = opened, wanted(opened)
        self.machine = opened.machine
        with worksheet(False):
            result = self.machine.run()
        grade = self.wanted.grade
        own = float(result["grammage_on_wire"]) if grade is None else grade.grammage
        self.grammage = self.wanted.grammage or own
        self.retention = float(result["retention"])
        self.density = float(self.machine.stock.water().density)
        self.furnish = furnish_of(self.machine) if grade is None else grade.furnish
        self.name = self.machine.title if grade is None else grade.name
        self.scattering = SCATTERING["tissue"] if grade is None else grade.scattering
        self.edge = Edge(unit_set=opened.state.unit_set, air=float(self.machine.site.atmospheric_pressure()))
        self.left = f"{units.number_text(units.from_si(self.wanted.spots.left, '%'))} %"
        self.made: dict[int, SheetMade] = {}
        self.looked: dict[int, EyeMade] = {}
        self.theory, self.best, self.worst = (
            [self._theory(c, self.wanted.zone, end) for c in self.wanted.consistencies] for end in ENDS_SHOWN
        )

    def counted(self, parts: list[Any]) -> Sheets:
        """The same with what was made of them."""
        found = copy(self)
        found.made = {one.number: one for one in parts if isinstance(one, SheetMade)}
        found.looked = {one.number: one for one in parts if isinstance(one, EyeMade)}
        return found

    def seen(self) -> list[dict[str, tuple[float, float]]]:
        """Of each sheet and light the smallest hole an eye sees, m, and how many there are by theory, per m²."""
        found = []
        for t in self.theory:
            sizes = [float(d) for d in visible_holes(t, scattering=self.scattering)]
            counts = [float(n) for n in holes_above(t, sizes)]
            found.append(dict(zip(EYES, zip(sizes, counts, strict=True), strict=True)))
        return found

    def _theory(self, consistency: float, zone: Any, end: str = "base") -> Any:
        with worksheet(False):
            return formation(
                self.furnish, self.grammage, consistency, **self.wanted.ends[end].words(), zone=zone,
                hole_diameter=self.wanted.hole_diameter, retention=self.retention, density=self.density,
                orientation=self.wanted.orientation,
            )  # fmt: skip

    @property
    def grammage_shown(self) -> str:
        """On the wire, in g/m²."""
        return figure(1e3 * self.grammage, 3)

    def work(self) -> SheetsWanted:
        """What the worker needs."""
        size, pixel = SIZES[self.wanted.size]
        return SheetsWanted(
            name=self.furnish.name, share=tuple(self.furnish.share), fibre_length=tuple(self.furnish.fibre_length),
            fibre_width=tuple(self.furnish.fibre_width), coarseness=tuple(self.furnish.coarseness),
            grammage=self.grammage, consistencies=self.wanted.consistencies,
            suspension_variation=self.wanted.variation, size=size, pixel=pixel, orientation=self.wanted.orientation,
            seed=self.wanted.seed, retention=self.retention, density=self.density,
            hole_diameter=self.wanted.hole_diameter, zones=self.zones(), scattering=self.scattering,
            **self.wanted.ends["base"].light._asdict(),
            seen=tuple(tuple(one[light] for light in EYES) for one in self.seen()),
        )  # fmt: skip

    def zones(self) -> tuple[float, ...]:
        """Zones that the size can hold, the one of the table among them where it is a whole number of pixels."""
        size, pixel = SIZES[self.wanted.size]
        known = {*ZONES, self.wanted.zone}
        whole = [z for z in known if abs(z / pixel - round(z / pixel)) < 1e-6 and z <= size / 4 and z >= pixel]
        return tuple(sorted(whole))

    # -- what is shown ------------------------------------------------------------------------------------------------

    def heads(self) -> list[dict[str, str]]:
        """What stands above each sheet."""
        return [
            {
                "consistency": self._consistency(t.consistency),
                "regime": REGIMES[int(np.asarray(t.crowding_regime).ravel()[0])],
                "alt": say("sheet.alt", consistency=self._consistency(t.consistency), cv=figure(100 * t.cv, 3)),
                **{light: self._seen_line(number, light, seen[light]) for light in EYES},
            }
            for number, (t, seen) in enumerate(zip(self.theory, self.seen(), strict=True))
        ]

    def _seen_line(self, number: int, light: str, seen: tuple[float, float]) -> str:
        """Below a sheet as an eye sees it: from which size, how many by theory and as counted."""
        made = self.looked.get(number)
        counted = "" if made is None else say("sheet.seen_found", counted=self._counted_seen(made, light))
        least = self.edge.text("hole_diameter", seen[0], 2)
        return say("sheet.seen_line", least=least, theory=count(seen[1])) + counted

    @staticmethod
    def _counted_seen(made: EyeMade | None, light: str) -> str:
        if made is None:
            return NONE
        found = made.counted[light]
        if not found.places:
            return say("sheet.at_most", count=count(found.at_most))
        return plus_minus_count(found.per_area, found.error)

    def _consistency(self, value: float) -> str:
        return units.write_word("consistency", value, self.opened.state.unit_set, 3)

    def table(self) -> Table:
        """The numbers of every sheet, theory above what was counted."""
        zone = self.edge.text("zone", self.wanted.zone, 2)
        hole = self.edge.text("hole_diameter", self.wanted.hole_diameter, 2)
        mm, m2 = {"zone": zone}, {"diameter": hole}
        rows: list[tuple[str, ...]] = []

        def add(key: str, cells: list[str], **words: str) -> None:
            rows.append((say(f"sheet.{key}", **words), *cells))

        theory, counted = self.theory, [self.made.get(i) for i in range(len(self.theory))]
        add("crowding", [figure(t.crowding_number, 2) for t in theory])
        add("water", [self.edge.figure("water_per_fibre", 1 / t.consistency - 1, 3) for t in theory])
        add("coverage", [figure(t.coverage, 3) for t in theory])
        add("coverage_counted", [NONE if m is None else figure(m.coverage, 3) for m in counted])
        add("open", [figure(100 * t.open_area, 2) for t in theory])
        add("cv_random", [figure(100 * t.cv_random, 3) for t in theory], **mm)
        add("cv", [figure(100 * t.cv, 3) for t in theory], **mm)
        add("span", self._span(lambda t: figure(100 * t.cv, 3)))
        add("cv_counted", [self._counted_cv(m) for m in counted], **mm)
        add("floor", [figure(100 * t.cv_floor, 3) for t in theory], **mm)
        add("number", [figure(t.formation_number, 3) for t in theory])
        add("holes_random", [count(t.holes_per_area_random) for t in theory], **m2)
        add("holes", [count(t.holes_per_area) for t in theory], **m2)
        add("span", self._span_counts(lambda t: float(t.holes_per_area)))
        add("holes_counted", [self._counted_holes(m) for m in counted], **m2)
        for size in HOLE_SIZES:
            if abs(size - self.wanted.hole_diameter) > 1e-9:
                other = self.edge.text("hole_diameter", size, 2)
                add("holes", [count(_above(size, t)) for t in theory], diameter=other)
                add("span", self._span_counts(partial(_above, size)))
        add("elsewhere", [count(holes_from(t, self.wanted.hole_diameter, self.wanted.spots)[0]) for t in theory],
            spots=figure(self.wanted.spots.per_area, 3), **m2)  # fmt: skip
        seen, looked = self.seen(), [self.looked.get(i) for i in range(len(self.theory))]
        for light in EYES:
            add(f"seen_{light}", [self.edge.text("hole_diameter", one[light][0], 2) for one in seen])
            add("seen_holes", [count(one[light][1]) for one in seen])
            add("seen_counted", [self._counted_seen(one, light) for one in looked])
        heads = ((say("sheet.quantity"), ""), *((head["consistency"], "") for head in self.heads()))
        return lined(key="laid", heads=heads, rows=tuple(rows), caption=say("sheet.table"), foot=say("sheet.foot"))

    def _span(self, say_one: Callable[[Any], str]) -> list[str]:
        """Theory from best to worst of what is assumed; one number where they are alike."""
        cells = []
        for best, worst in zip(self.best, self.worst, strict=True):
            low, high = say_one(best), say_one(worst)
            unit = high.rpartition(" ")[2]
            cells.append(low if low == high else say("sheet.from_to", low=low.removesuffix(f" {unit}"), high=high))
        return cells

    def _span_counts(self, value_of: Callable[[Any], float]) -> list[str]:
        """The same of numbers of holes, both in the unit of the larger."""
        ends = [(value_of(best), value_of(worst)) for best, worst in zip(self.best, self.worst, strict=True)]
        return [count(low) if count(low) == count(high) else counts(low, high, "sheet.from_to") for low, high in ends]

    @staticmethod
    def _counted_holes(made: SheetMade | None) -> str:
        if made is None:
            return NONE
        if made.holes_per_area == 0:
            return say("sheet.at_most", count=count(made.holes_at_most))
        return plus_minus_count(made.holes_per_area, made.holes_error)

    def _counted_cv(self, made: SheetMade | None) -> str:
        zones = self.zones()
        at = next((i for i, z in enumerate(zones) if abs(z - self.wanted.zone) < 1e-9), None)
        if made is None or at is None or len(made.cvs) != len(zones):
            return NONE
        return plus_minus(100 * made.cvs[at], 100 * made.errors[at], 3)

    def notes(self) -> list[str]:
        """What to know before believing the sheets."""
        found = [note.text for t in self.theory for note in t.notes]
        found += [text for one in self.made.values() for text in one.notes]
        if self.wanted.assumed:
            found.insert(0, say("sheet.assumed_variation", value=figure(self.wanted.variation, 2)))
        return list(dict.fromkeys(found))

    def answer(self) -> dict[str, Any] | None:
        """What dilution can do for the target, at the ends of what is assumed; the base may be taken over."""
        w = self.wanted
        if w.aim is None:
            return None
        settings: dict[str, Any] = {
            "zone": w.zone, "hole_diameter": w.hole_diameter, "retention": self.retention, "density": self.density,
            "orientation": w.orientation, w.target: w.aim,
        }  # fmt: skip
        try:
            found = [dilution_answer(self.furnish, self.grammage, **end.words(), **settings)
                     for end in asked_ends(w.ends, not w.assumed)]  # fmt: skip
        except Refused as refused:
            return {"text": "", "said": " ".join(row["text"] for row in fault_rows(refused.faults)), "query": ""}
        said = answers_text(found, w.target, not w.assumed, self.edge.text)
        told = {"text": "", "said": said[:1].upper() + said[1:] + ".", "query": "", "more": ""}
        if helpless(found):
            told["more"] = phrase("evenness.answer.remedies")
        base = found[1].consistency
        if base is None:
            return told
        state = self.opened.state.without_more()
        changes = {**dict(state.changes), "headbox.consistency": units.write(base, "%", 3, kind="fraction")}
        return told | {
            "text": self.edge.text("consistency", base, 2),
            "water": self.edge.figure("water_per_fibre", 1 / base - 1, 3),
            "query": replace(state, changes=tuple(changes.items())).query(),
        }

    def chart(self) -> dict[str, list[dict[str, Any]]]:
        """CV against zone size: theory, chance alone, counted."""
        curve: list[dict[str, Any]] = []
        points: list[dict[str, Any]] = []
        curves = [self._theory(c, np.array(CURVE)) for c in self.wanted.consistencies]
        for number, t in enumerate(curves):
            name = self.heads()[number]["consistency"]
            curve += [{"zone": 1e3 * z, "cv": 100 * float(v), "sheet": name, "order": number}
                      for z, v in zip(CURVE, np.asarray(t.cv), strict=True)]  # fmt: skip
            curve[-1]["last"] = True
            made = self.made.get(number)
            if made is not None and len(made.cvs) == len(self.zones()):
                points += [{"zone": 1e3 * z, "cv": 100 * v, "sheet": name, "order": number}
                           for z, v in zip(self.zones(), made.cvs, strict=True)]  # fmt: skip
        chance = np.broadcast_to(np.asarray(curves[0].cv_random), (len(CURVE),))
        curve += [{"zone": 1e3 * z, "cv": 100 * float(v), "sheet": say("sheet.chance"), "order": 99}
                  for z, v in zip(CURVE, chance, strict=True)]  # fmt: skip
        curve[-1]["last"] = True
        curve += [{"zone": 1e3 * z, "cv": 100 * float(v), "sheet": say("sheet.no_dilution"), "order": 98}
                  for z, v in zip(CURVE, np.asarray(curves[0].cv_floor), strict=True)]  # fmt: skip
        curve[-1]["last"] = True
        return {"curve": labelled_ends(curve, "cv", 1.26, 0.6), "points": points}

    def holes_chart(self) -> dict[str, list[dict[str, Any]]]:
        """Holes per m² against their size: theory from best to worst, and what was counted with its error."""
        curve: list[dict[str, Any]] = []
        points: list[dict[str, Any]] = []
        for number, head in enumerate(self.heads()):
            base, *ends = (holes_above(t[number], HOLE_CURVE) for t in (self.theory, self.best, self.worst))
            rows = [
                {"size": 1e3 * d, "holes": float(n), "low": max(float(a), FEWEST), "high": float(b),
                 "sheet": head["consistency"], "order": number}
                for d, n, a, b in zip(HOLE_CURVE, base, *ends, strict=True) if n > FEWEST
            ]  # fmt: skip
            curve += rows
            if rows:
                rows[-1]["last"] = True
            made = self.made.get(number)
            if made is not None:
                some = made.holes_per_area > 0
                points.append(
                    {"size": 1e3 * self.wanted.hole_diameter, "holes": made.holes_per_area or made.holes_at_most,
                     "low": max(made.holes_per_area - made.holes_error, FEWEST) if some else FEWEST,
                     "high": made.holes_per_area + made.holes_error if some else made.holes_at_most,
                     "sheet": head["consistency"], "order": number, "some": some}
                )  # fmt: skip
        return {"curve": labelled_ends(curve, "holes", 3.4, 2 * FEWEST), "points": points}

    def charts(self) -> dict[str, Any]:
        """Both charts."""
        return {"zones": self.chart(), "pinholes": self.holes_chart()}


def _above(size: float, theory: Any) -> float:
    return float(holes_above(theory, size)[0])


def pieces(sheets: Sheets) -> dict[str, str]:
    """The pieces of the page."""
    return {name: piece(f"sheet/{name}.html", sheets=sheets) for name in ("of", "table", "notes", "answer")}


_KEPT: OrderedDict[tuple[str, str], Sheets] = OrderedDict()
"""Sheets of the addresses asked for last, by the machine's text and the address: one visit asks many times."""
_MOST_KEPT = 8
_lock = Lock()


def sheets_of(opened: Opened) -> Sheets:
    """The sheets of an address, their theory worked out once."""
    key = (opened.content.digest, opened.state.query())
    with _lock:
        found = _KEPT.pop(key, None)
    found = Sheets(opened) if found is None else found
    with _lock:
        _KEPT[key] = found
        while len(_KEPT) > _MOST_KEPT:
            _KEPT.popitem(last=False)
    return found


def show(request: Request) -> Response:
    """The whole page."""
    workspace: Workspace = request.app.state.workspace
    sheets, faults = made_of(lambda state: sheets_of(open_state(state, workspace)), parse(request.url.query), more=True)
    opened = sheets.opened
    return page_reply(
        request, "sheet.html", here="sheet", opened=opened, state=opened.state, known=opened.content.digest,
        query=opened.state.without_more().query(), sheets=sheets, wanted=sheets.wanted, sizes=SIZES, targets=TARGETS,
        grades=GRADES,
        most=MOST, faults=faults, pieces=pieces(sheets), figures=pictures.sheet_figures(sheets),
    )  # fmt: skip


async def answer(request: Request) -> Response:
    """Theory, and what the job of these sheets has counted so far."""
    body = await body_of(request)
    return await run_in_threadpool(_answer, request, body)


def _answer(request: Request, body: dict[str, Any]) -> Response:
    theory = sheets_of(open_state(parse(text_in(body, "query")), request.app.state.workspace))
    key = text_in(body, "job", "")
    if "start" in body:
        key = _started(request, theory, key, body.get("light"), eye=body.get("eye") is True)
    job = request.app.state.jobs.look(key, NEVER, _patience(body)) if key else None
    made = _parts(request, key)
    sheets = theory.counted(made)
    told: dict[str, Any] = {
        "job": key,
        "how": {"state": "unknown"} if job is None else jobs_routes.told(request, job),
        "pieces": pieces(sheets),
        "heads": sheets.heads(),
        "charts": sheets.charts(),
        "made": sorted(sheets.made),
        "texts": sheets.wanted.texts,
        "grammage": sheets.grammage_shown,
    }
    if "light" in body:
        told["pictures"] = _pictures(made, text_in(body, "light"), body.get("have"))
    return json_reply(told, packed=bool(told.get("pictures")))


def _pictures(made: list[Any], mode: str, have: Any) -> dict[str, str]:
    """The pictures of a job that the page does not have yet, by their place, in one answer."""
    held = set(have) if isinstance(have, list) and all(isinstance(one, str) for one in have) else set()
    sheets = [one for one in made if isinstance(one, SheetMade | EyeMade) and mode in one.pictures]
    found = {str(one.number): one.pictures[mode] for one in sheets}
    detail = next((one for one in made if isinstance(one, bytes)), None)
    if detail is not None:
        found["detail"] = detail
    return {name: base64.b64encode(raw).decode() for name, raw in found.items() if name not in held}


NEVER = 10**9
"""A version no job reaches: an answer waits until the job ends or patience does."""


def _patience(body: dict[str, Any]) -> float:
    """How long an answer may wait for the job, s."""
    wait = body.get("wait", 0.0)
    return min(float(wait), jobs_routes.PATIENCE) if isinstance(wait, int | float) and wait > 0.0 else 0.0


def _started(request: Request, sheets: Sheets, before: str, light: Any, *, eye: bool) -> str:
    """Lay the sheets of an address instead of those before, and look at them as an eye does where that is wanted."""
    jobs: Jobs = request.app.state.jobs
    if before:
        jobs.stop(before)
    return jobs.start(WORK[eye], replace(sheets.work(), light=light if light in MODES else MODES[0]))


def _parts(request: Request, key: str) -> list[Any]:
    job = request.app.state.jobs.look(key) if key else None
    return list(job.parts) if job is not None and job.work in WORK.values() else []


def image(request: Request) -> Response:
    """One picture of a job."""
    parts = _parts(request, request.path_params["key"])
    name, mode = request.path_params["name"], request.path_params["mode"]
    found: bytes | None = None
    if name == "detail":
        found = next((one for one in parts if isinstance(one, bytes)), None)
    elif name.isdigit():
        sheets = (one for one in parts if isinstance(one, SheetMade | EyeMade) and one.number == int(name))
        found = next((one.pictures[mode] for one in sheets if mode in one.pictures), None)
        if found is None and int(name) < MOST:
            found = sheet_light.picture(request.app.state.jobs, request.path_params["key"], int(name), mode)
    if found is None:
        raise HTTPException(404)
    return Response(found, media_type="image/png", headers={"cache-control": phrase("app.sheet.private_max_age")})


def taken_along(request: Request) -> Response:
    """A chart of the sheets as a picture, or its rows; what a job counted comes along while it is remembered."""
    name, _, kind = request.path_params["name"].rpartition(".")
    if name not in ("zones", "pinholes") or kind not in _FILES:
        raise HTTPException(404)
    made = _parts(request, request.query_params.get("job", ""))
    opened = open_state(parse(request.url.query), request.app.state.workspace)
    data = sheets_of(opened).counted(made).charts()[name]
    if kind == "csv":
        content = pictures.csv_of(
            [{"is": say(f"sheet.is_{kind_}"), **row} for kind_, rows in data.items() for row in rows]
        )
    else:
        content = pictures.own_chart_file(name, data, kind)
    return attachment(content, _FILES[kind], f"{name}.{kind}")


_FILES = {"svg": "image/svg+xml", "png": "image/png", "csv": "text/csv; charset=utf-8"}


PAGE = Page(
    name="sheet",
    title="Sheet",
    place=20,
    routes=(
        Route("/sheet", show),
        Route("/sheet/answer", answer, methods=["POST"]),
        Route("/sheet/file/{name}", taken_along),
        Route("/sheet/picture/{key}/{name}/{mode}.png", image),
    ),
)
