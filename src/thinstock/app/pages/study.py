"""The study page: how sure the machine's numbers are, what matters, maps and sweeps, what a rebuild pays.

A study is started with what the form says, done in a process of its own, and kept as a record in the workspace; the
page shows the record its address names, and says so where that is of another machine than the one now open.
"""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock.app import study_work
from thinstock.app.forms import Form, Group, Row, twelve
from thinstock.app.pages import Page
from thinstock.app.pages.options import choices
from thinstock.app.reply import attachment, body_of, json_reply, page_reply, text_in
from thinstock.app.state import Opened, State, fault_rows, made_of, open_state, parse
from thinstock.app.study_show import Study
from thinstock.app.words import catalogue, say
from thinstock.case import dumps
from thinstock.errors import Fault, Refused, needs
from thinstock.evidence.chosen import CHOICES, NONE, READ, chosen
from thinstock.evidence.machine_inputs import held_addresses
from thinstock.evidence.outputs import label, numbers
from thinstock.machine.provenance import in_words
from thinstock.studies.machine_axes import Varied, plan_of, varied
from thinstock.studies.prices import EXAMPLE, load_prices, read_prices
from thinstock.tell.wet_end_costs import QUESTIONS
from thinstock.words.fault import fault_in
from thinstock.words.quantity import NOT_GIVEN
from thinstock.work.workspace import Workspace

KINDS = study_work.KINDS
RANGES = 4
"""So many inputs of a sweep."""
LARGEST_MAP = 22_500
"""Cases of a map on the page; a larger one is a sweep."""
LARGEST_SWEEP = 10_000_000
DEFAULTS: dict[str, dict[str, str]] = {
    "sure": {"other": "", "draws": "", "digits": "1", "seed": "1"},
    "matters": {"base": "512", "seed": "1"},
    "map": {"x_count": "40", "y_count": "40", "result": "gas_per_product"},
    "sweep": {"cases": "1000000", "layout": "sobol", "seed": "1", "population": NONE},
    "rebuild": {"after": "", "prices": EXAMPLE, "draws": "2000", "seed": "1"},
}


# -- what can be varied ----------------------------------------------------------------------------------------------


def inputs(opened: Opened) -> list[tuple[str, list[tuple[str, Row]]]]:
    """Numbers of the machine that can be varied, by group: the twelve first."""
    form = Form(opened.machine, opened.base, opened.state.unit_set)
    held = set(held_addresses(opened.machine))

    def fit(row: Row) -> bool:
        return row.sort == "quantity" and bool(row.low) and row.empty != NOT_GIVEN and row.address not in held

    def said(row: Row) -> tuple[str, Row]:
        return in_words(opened.machine, row.address), row

    first = [form.row(where) for where in twelve(opened.machine) if "." in where]
    groups = [(say("study.twelve"), [said(row) for row in first if fit(row)])]
    taken = {row.address for row in first}

    def walk(group: Group, title: str) -> None:
        rows = [said(row) for row in group.rows if fit(row) and row.address not in taken]
        if rows:
            groups.append((title, rows))
        for inner in group.groups:
            walk(inner, f"{title}: {inner.title}" if title else inner.title)

    walk(form.group(), "")
    return groups


def near(row: Row) -> tuple[str, str]:
    """Ends of a first range: a quarter less to a quarter more, inside those of the slider."""
    try:
        here, low, high = float(row.text), float(row.low), float(row.high)
    except ValueError:
        return row.low, row.high
    if here <= 0:
        return row.low, row.high
    return f"{max(low, 0.75 * here):.4g}", f"{min(high, 1.25 * here):.4g}"


def defaults(kind: str, opened: Opened, groups: list[tuple[str, list[tuple[str, Row]]]]) -> dict[str, str]:
    """What the form says before anybody wrote into it."""
    made = dict(DEFAULTS[kind])
    rows = {row.address: row for _, found in groups for _, row in found}
    speed = opened.machine.speed_address
    first = [where for where in ("headbox.consistency", speed) if where in rows]
    first += [where for where in rows if where not in first][: 2 - len(first)]
    for at, where in zip(("x", "y") if kind == "map" else ("v1", "v2"), first, strict=False):
        if kind in ("map", "sweep"):
            low, high = near(rows[where])
            made |= {at: where, f"{at}_low": low, f"{at}_high": high}
    if kind == "sweep":
        for number in range(1, RANGES + 1):
            made = {f"v{number}": "", f"v{number}_low": "", f"v{number}_high": "", **made}
    return made


def price_files(workspace: Workspace) -> list[str]:
    """Files of the workspace that hold prices."""
    found = []
    for name in workspace.files():
        try:
            text = workspace.read(name).text
        except Refused:
            continue
        if "[price]" in text and "[rebuild]" in text:
            found.append(name)
    return found


# -- the page --------------------------------------------------------------------------------------------------------


def show(request: Request) -> Response:
    """The whole page: the form of one study, and the record the address names."""
    workspace: Workspace = request.app.state.workspace
    state = parse(request.url.query)
    opened, faults = made_of(lambda state: open_state(state, workspace), state)
    study, more = _kept(state, opened, workspace)
    kind = _kind(state, study)
    groups = inputs(opened) if kind in ("map", "sweep") else []
    asked = defaults(kind, opened, groups)
    if study is not None:
        asked |= {name: str(value) for name, value in study.record["asked"].items() if name in asked}
    own = opened.state.without_more().query()
    return page_reply(
        request, "study.html", here="study", query=own, opened=opened, state=opened.state, kind=kind, kinds=KINDS,
        questions=(*QUESTIONS, "watch", "benchmarks", "trouble"),
        asked=asked, groups=groups, ranges=RANGES, study=study, kept=study_work.names(workspace.folder)[:60],
        stale=study is not None and study.record["machine"] != dumps(opened.machine), faults=faults + more,
        choices=choices(opened, workspace, same_paper=kind == "rebuild") if kind in ("sure", "rebuild") else [],
        prices=price_files(workspace) if kind == "rebuild" else [],
        results=[(n, label(n)) for n in numbers(opened.machine.run())] if kind == "map" else [],
        limits={row.address: [*near(row), row.unit] for _, rows in groups for _, row in rows},
        figures=study.figures if study is not None else [], spoken=catalogue()["study_live"],
    )  # fmt: skip


def _kept(state: State, opened: Opened, workspace: Workspace) -> tuple[Study | None, list[dict[str, str]]]:
    """The record the address names; None, with what is wrong with it, where there is none."""
    kept = next(iter(state.own_all("kept")), "")
    if not kept:
        return None, []
    try:
        return Study(study_work.read(workspace.folder, kept), opened.state.unit_set, workspace.folder), []
    except Refused as refused:
        return None, fault_rows(refused.faults)


def _kind(state: State, study: Study | None) -> str:
    if study is not None:
        return str(study.kind)
    asked = next(iter(state.own_all("part")), "")
    return asked if asked in KINDS else "sure"


# -- starting a study ------------------------------------------------------------------------------------------------


async def start(request: Request) -> Response:
    """Start a study with what the form says; what cannot be is refused by field before anything runs."""
    body = await body_of(request)
    wanted = await run_in_threadpool(_wanted, request.app.state.workspace, body)
    return json_reply({"job": request.app.state.jobs.start("thinstock.app.study_work:work", wanted)})


def _wanted(workspace: Workspace, body: dict[str, Any]) -> dict[str, Any]:
    opened = open_state(parse(text_in(body, "query")), workspace)
    kind, fields = text_in(body, "part"), body.get("fields")
    if kind not in KINDS or not isinstance(fields, dict) or not all(isinstance(v, str) for v in fields.values()):
        raise HTTPException(400)
    asked = {name: fields.get(name, value).strip()[:200] for name, value in _names(kind).items()}
    faults: list[Fault] = []
    wanted: dict[str, Any] = {
        "kind": kind, "folder": str(workspace.folder), "machine": dumps(opened.machine), "title": opened.machine.title,
        "asked": asked, "name": "",
    }  # fmt: skip
    _whole(asked, "seed", 0, 2**31 - 1, faults)
    {"sure": _sure, "matters": _matters, "map": _map, "sweep": _sweep, "rebuild": _rebuild}[kind](
        opened, workspace, wanted, faults
    )
    if faults:
        raise Refused(faults)
    wanted["name"] = study_work.free_name(workspace.folder, f"{say('study.' + kind)} {opened.content.name[:-5]}")
    if kind == "sweep":
        _begin(wanted)
    return wanted


def _names(kind: str) -> dict[str, str]:
    made = dict(DEFAULTS[kind])
    places = ("x", "y") if kind == "map" else [f"v{n}" for n in range(1, RANGES + 1)] if kind == "sweep" else ()
    return made | {f"{at}{end}": "" for at in places for end in ("", "_low", "_high")}


def _whole(asked: dict[str, str], name: str, low: int, high: int, faults: list[Fault], *, empty: bool = False) -> int:
    """A whole number of the form."""
    text = asked.get(name, "1").replace(" ", "").replace("\u202f", "")
    if empty and not text:
        return 0
    if not (text.isascii() and text.isdigit() and len(text) < 12 and low <= int(text) <= high):
        faults.append(
            fault_in("app.study.must_be_whole_number_from", name, repr(asked.get(name, "")), low=low, high=high)
        )
        return low
    if name in asked:
        asked[name] = text
    return int(text)


def _beside(text: str, field: str, workspace: Workspace, wanted: dict[str, Any], faults: list[Fault]) -> None:
    """Another machine, by its address."""
    try:
        other = open_state(parse(text), workspace).machine
    except Refused as refused:
        faults += [Fault(field=field, value=f.value, bound=f.bound, remedy=f.remedy) for f in refused.faults]
        return
    wanted |= {"other": dumps(other), "other_title": other.title}


def _sure(opened: Opened, workspace: Workspace, wanted: dict[str, Any], faults: list[Fault]) -> None:
    _whole(wanted["asked"], "draws", 200, 400_000, faults, empty=True)
    _whole(wanted["asked"], "digits", 1, 2, faults)
    if wanted["asked"]["other"]:
        _beside(wanted["asked"]["other"], "other", workspace, wanted, faults)


def _matters(opened: Opened, workspace: Workspace, wanted: dict[str, Any], faults: list[Fault]) -> None:
    base = _whole(wanted["asked"], "base", 32, 16384, faults)
    if base & (base - 1):
        faults.append(fault_in("app.study.base", "base", str(base)))


def _line(opened: Opened, asked: dict[str, str], at: str, count: str) -> str:
    """A range as one writes it; a bare number is meant in the unit shown."""
    where = asked[at]
    row = Form(opened.machine, opened.base, opened.state.unit_set)
    unit = ""
    try:
        unit = row.row(where).unit
    except (Refused, KeyError, ValueError, AttributeError, IndexError):
        raise Refused(fault_in("app.study.no_number_this_machine", at, where)) from None
    ends = []
    for end in ("low", "high"):
        text = asked[f"{at}_{end}"]
        try:
            float(text)
        except ValueError:
            ends.append(text)
        else:
            ends.append(f"{text} {unit}".strip())
    return f"{where}={ends[0]}..{ends[1]}{f' x {count}' if count else ''}"


def _lines(opened: Opened, wanted: dict[str, Any], places: list[str], faults: list[Fault]) -> tuple[Varied, ...]:
    """All ranges of the form, checked."""
    asked = wanted["asked"]
    found: list[Varied] = []
    lines: list[str] = []
    for at in places:
        try:
            line = _line(opened, asked, at, asked.get(f"{at}_count", ""))
            found += varied(opened.machine, [line])
            lines.append(line)
        except Refused as refused:
            faults += [Fault(field=at, value=f.value, bound=f.bound, remedy=f.remedy) for f in refused.faults]
    if not faults:
        varied(opened.machine, lines)
    wanted["lines"] = lines
    return tuple(found)


def _map(opened: Opened, workspace: Workspace, wanted: dict[str, Any], faults: list[Fault]) -> None:
    asked = wanted["asked"]
    counts = [_whole(asked, f"{at}_count", 2, 400, faults) for at in ("x", "y")]
    if counts[0] * counts[1] > LARGEST_MAP:
        faults.append(fault_in("app.study.x_count", "x_count", str(counts[0] * counts[1]), largest_map=LARGEST_MAP))
    if asked["result"] not in numbers(opened.machine.run()):
        faults.append(fault_in("app.study.result", "result", asked["result"]))
    if asked["x"] == asked["y"]:
        faults.append(fault_in("app.study.y", "y"))
    _lines(opened, wanted, ["x", "y"], faults)


def _sweep(opened: Opened, workspace: Workspace, wanted: dict[str, Any], faults: list[Fault]) -> None:
    asked = wanted["asked"]
    cases = _whole(asked, "cases", 1, LARGEST_SWEEP, faults)
    places = [f"v{n}" for n in range(1, RANGES + 1) if asked[f"v{n}"]]
    if not places:
        faults.append(fault_in("app.study.v1", "v1"))
    found = _lines(opened, wanted, places, faults)
    if asked["population"] not in (NONE, *CHOICES):
        faults.append(fault_in("evidence.chosen.which", "population", asked["population"], known=", ".join(CHOICES)))
    elif asked["population"] == READ:
        try:
            chosen(opened.machine, READ)
        except Refused as refused:
            faults += refused.faults
    if not faults:
        plan_of(found, asked["layout"], cases, int(asked["seed"]))


def _begin(wanted: dict[str, Any]) -> None:
    """The record of a sweep stands before its first part, so that it can go on whatever happens."""
    ranges = [{"address": line.partition("=")[0], "text": line.partition("=")[2].replace("..", " to ")}
              for line in wanted["lines"]]  # fmt: skip
    found = {"cases": int(wanted["asked"]["cases"]), "lines": wanted["lines"], "ranges": ranges, "done": False}
    study_work.keep(wanted, found)


def _rebuild(opened: Opened, workspace: Workspace, wanted: dict[str, Any], faults: list[Fault]) -> None:
    asked = wanted["asked"]
    _whole(asked, "draws", 100, 100_000, faults)
    if not asked["after"]:
        faults.append(fault_in("app.study.after", "after"))
    else:
        _beside(asked["after"], "after", workspace, wanted, faults)
    try:
        if asked["prices"] == EXAMPLE:
            load_prices(EXAMPLE)
            from importlib.resources import files

            place = files("thinstock").joinpath("library", "prices", "example.toml")
            wanted["prices"] = place.read_text(encoding="utf-8")
        else:
            wanted["prices"] = workspace.read(asked["prices"]).text
            read_prices(wanted["prices"], asked["prices"])
    except Refused as refused:
        faults += [
            Fault(field="prices", value=f"{f.field} {f.value}".strip(), bound=f.bound, remedy=f.remedy, line=f.line)
            for f in refused.faults
        ]


async def resume(request: Request) -> Response:
    """Go on with a sweep where it was stopped."""
    body = await body_of(request)
    name = text_in(body, "kept")
    folder = request.app.state.workspace.folder
    record = await run_in_threadpool(study_work.read, folder, name)
    if record["kind"] != "sweep":
        raise Refused(fault_in("app.study.kept", "kept", name))
    wanted = {**{key: record[key] for key in ("kind", "machine", "title", "asked", "name")},
              "folder": str(folder), "lines": record["found"]["lines"]}  # fmt: skip
    return json_reply({"job": request.app.state.jobs.start("thinstock.app.study_work:work", wanted)})


def done(request: Request) -> Response:
    """The record a job gave or is at work on."""
    job = request.app.state.jobs.look(request.path_params["key"])
    if job is None or not isinstance(job.arguments, dict) or "asked" not in job.arguments:
        return json_reply({"kept": ""}, status=404)
    ready = job.state == "done" or job.arguments["kind"] == "sweep"
    return json_reply({"kept": job.arguments["name"] if ready else "", "part": job.arguments["kind"]})


def download(request: Request) -> Response:
    """A result as a file: its record, its tables, or one of its charts."""
    what = request.path_params["what"]
    state = parse(request.url.query)
    kept = next(iter(state.own_all("kept")), "")
    workspace: Workspace = request.app.state.workspace
    record = study_work.read(workspace.folder, kept)
    if what == "json":
        text = study_work.kept(workspace.folder).read(f"{study_work.FOLDER}/{kept}{study_work.ENDING}").text
        return attachment(text.encode("utf-8"), "application/json", f"{kept}.json")
    study = Study(record, state.unit_set, workspace.folder)
    chart = next(iter(state.own_all("chart")), "")
    if what == "csv" and chart:
        return attachment(study.chart_csv(chart), "text/csv; charset=utf-8", f"{kept} {chart}.csv")
    if what == "csv":
        return attachment(study.csv().encode("utf-8-sig"), "text/csv; charset=utf-8", f"{kept}.csv")
    if what == "svg":
        return attachment(study.svg(chart).encode("utf-8"), "image/svg+xml", f"{kept} {chart}.svg")
    if what == "png":
        vl_convert = needs("vl_convert", "page")

        return attachment(bytes(vl_convert.svg_to_png(study.svg(chart), scale=2)), "image/png", f"{kept} {chart}.png")
    raise HTTPException(404)


PAGE = Page(
    name="study",
    title="Study",
    place=60,
    routes=(
        Route("/study", show),
        Route("/study/start", start, methods=["POST"]),
        Route("/study/resume", resume, methods=["POST"]),
        Route("/study/done/{key}", done),
        Route("/study/download/{what}", download),
    ),
)
