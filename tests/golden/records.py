"""What is recorded: one entry a file, its name and the function that makes it anew."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any
from urllib.parse import quote

import numpy as np

import thinstock
from golden.ask import answered, drawing, got, lines, numbers, parsed, tables, talk, told, written

MACHINES = tuple(machine.name for machine in thinstock.machines())
PAGES = ("machine", "sheet", "formers", "options", "survey", "study", "class")
SHOWN = ("facial-roll", "board-three-nips", "facial-roll-no-sheet")
"""Machines whose pages are recorded: a facial one, a heavier grade with a dryer behind, one without a sheet."""
NO_SHEET = ("facial-roll", "headbox.consistency", "0.002 %")
"""No bundled machine fails to form its sheet; this one is diluted until it does."""
WHOLE = ("facial-roll", "bath-twin-wire-s", "newsprint-two-shoes")
"""Machines whose handout is recorded with all its chapters; the others leave out what is slow or the same for all."""
QUICK = "machine,water,along,price,limits,working,sources,cautions"
EXPLAINED = {
    "facial-roll": ("dryness_press", "gas_per_product", "end_of_forming"),
    "towel-twin-wire-suction-roll": ("water_per_fibre", "steam_per_product"),
    "newsprint-three-nips": ("production", "dryness_press", "headbox_flow"),
}
LONG = ("formulas", "sources")
"""Parts of `run --json` that are much the same for all machines: kept for those that are explained."""
PAIRS = (("facial-roll", "facial-shoe"), ("newsprint-three-nips", "newsprint-two-shoes"))
ROUND = ("facial-roll", "--machine", "facial-roll")


# -- one machine ---------------------------------------------------------------------------------------------------


def _texts(name: str) -> str:
    return "\n".join(
        [
            told("run", name, "--notes"),
            told("run", name, columns=80),
            told("limits", name),
            told("limits", name, columns=80),
            told("check", name),
        ]
    )


def _numbers(name: str) -> Any:
    svg = got(f"/download/svg?machine={name}")
    run = numbers("run", name)
    if name not in EXPLAINED:
        run = {key: value for key, value in run.items() if key not in LONG}
    return {"run": run, "limits": numbers("limits", name), "drawing": drawing(svg)}


def _handout(name: str) -> str:
    chosen = () if name in WHOLE else ("--with", QUICK)
    html = written("handout.html", "handout", name, *chosen)
    return "\n".join(lines(html, tags=False)) + "\n"


def _tables(name: str) -> str:
    return "\n".join(f"== {file}\n{text}" for file, text in tables("run", name).items())


def _explained(name: str) -> str:
    return "\n".join(told("explain", name, number) for number in EXPLAINED[name])


def _no_sheet() -> tuple[str, ...]:
    name, address, value = NO_SHEET
    return (name, "--set", f"{address}={value}")


# -- the page ------------------------------------------------------------------------------------------------------


def _query(name: str) -> str:
    if name != SHOWN[2]:
        return f"machine={name}"
    machine, address, value = NO_SHEET
    return f"machine={machine}&set={quote(f'{address}={value}')}"


def thinned(value: Any) -> Any:
    """Data of charts with one row in seven of what is long, and its last row; how many there were is kept."""
    if isinstance(value, dict):
        return {key: thinned(one) for key, one in value.items()}
    if not isinstance(value, list):
        return value
    if len(value) <= 30:
        return [thinned(one) for one in value]
    return {"rows": len(value), "some": [thinned(one) for one in [*value[::7], value[-1]]]}


def _page(name: str, which: str) -> str:
    """A page as lines; of other machines than the first only the lines that the first does not have."""
    there = lines(got(f"/{which}?{_query(name)}"))
    if name != SHOWN[0]:
        first = set(lines(got(f"/{which}?{_query(SHOWN[0])}")))
        there = [line for line in there if line not in first]
    return "\n".join(there) + "\n"


def _figures(name: str) -> Any:
    return thinned(parsed(got(f"/machine?{_query(name)}")).data)


def _moved(name: str) -> str:
    """The address of the page after a slider was moved: a little slower."""
    machine = thinstock.load(NO_SHEET[0] if name == SHOWN[2] else name)
    there = {address for address, _ in machine.addresses()}
    address = next(a for a in ("yankee.speed", "dryer.speed") if a in there)
    return f"{_query(name)}&set={quote(f'{address}={0.98 * 60.0 * float(machine.get(address)):.0f} m/min')}"


def _answer(name: str) -> Any:
    """What a moved slider brings: pieces as lines, charts, and the lines of the form that a page at rest has not."""
    rest = set(lines(got(f"/machine?{_query(name)}")))
    found = {}
    for part in ("quick", "full"):
        reply = answered("/machine/answer", {"query": _moved(name), "part": part})
        reply["pieces"] = {key: lines(html) for key, html in reply.get("pieces", {}).items()}
        reply["form"] = [line for line in lines(reply.get("form", "")) if line not in rest]
        reply["charts"] = thinned(reply.get("charts"))
        reply.pop("structure", None)
        found[part] = reply
    full = found["full"]
    for key in ("charts", "pieces", "form"):  # what the full answer repeats of the quick one is told once
        if isinstance(full.get(key), dict):
            full[key] = {k: "as quick" if found["quick"][key].get(k) == v else v for k, v in full[key].items()}
        elif full.get(key) == found["quick"].get(key):
            full[key] = "as quick"
    return found


ADDRESSES = {
    "survey-taken": "/survey?machine=facial-roll&table=facial-roll",
    "survey-one-set-aside": "/survey?machine=facial-roll&table=facial-roll&without=6",
    "options-two": "/options?machine=facial-roll&other=machine%3Dfacial-shoe",
    "machine-us": "/machine?machine=facial-roll&units=us",
    "working": "/class/working/dryness_press?machine=facial-roll",
    "walk": "/class/walk?machine=facial-roll",
    "refused": "/machine?machine=facial-roll&set=yankee.speed%3D-1",
    "lost": "/nowhere",
}
"""Pages in a further state, by the name of their record; of most the lines that the page at rest does not have."""
POSTS = {
    "sheet": "machine=facial-roll&c=0.1 %&c=0.4&target=cv&aim=10 %&v=0.3",
    "formers": "machine=facial-roll",
    "options": "machine=facial-roll&other=machine%3Dfacial-shoe",
}


def _further(address: str) -> str:
    rest = set(lines(got(address.split("?")[0] + "?machine=facial-roll")))
    same = address.startswith("/class") or address == ADDRESSES["lost"]
    return "\n".join(line for line in lines(got(address)) if same or line not in rest) + "\n"


def _posted() -> Any:
    found = {}
    for which, query in POSTS.items():
        reply = answered(f"/{which}/answer", {"query": query})
        reply["pieces"] = {key: lines(html) for key, html in reply.get("pieces", {}).items()}
        found[which] = thinned(reply)
    return found


def _downloads() -> str:
    return "\n".join(f"== {name}\n" + got(f"/download/toml?{_moved(name)}") for name in SHOWN)


# -- arrays, from the public names ---------------------------------------------------------------------------------


def _arrays(name: str) -> Any:
    """Three cases in one run, one of which may not form its sheet: every headline number, and the limits of one."""
    words = numbers("run", name)["headline"]
    machine = thinstock.load(name)
    consistency = float(machine.get("headbox.consistency")) * np.array([0.02, 1.0, 1.1])
    result = machine.with_({"headbox.consistency": consistency}).run()
    found = {}
    for word in sorted(words):
        try:
            found[word] = np.asarray(result[word]).tolist()
        except thinstock.Refused:
            found[word] = "absent"
    limits = thinstock.limits(machine)
    return {"values": found, "binding": limits.binding.part, "speed": float(limits.binding.speed)}


# -- all of it -----------------------------------------------------------------------------------------------------


def _studies() -> dict[str, Callable[[], Any]]:
    matters = ("study", "matters", "facial-roll", "--base", "16", "--seed", "3")
    sure = ("study", "uncertainty", "facial-roll", "--draws", "200", "--seed", "3")
    solve = ("solve", "facial-roll", "--for", "yankee.speed", "--so-that", "production = 180 t/d")
    rebuild = ("rebuild", "facial-roll", "facial-shoe", "--prices", "example", "--draws", "200")
    calibrate = ("calibrate", *ROUND, "--without", "jet flow")
    asked = {
        "survey": ("survey", *ROUND, "--notes"), "calibrate": calibrate, "solve": solve, "study-matters": matters,
        "study-uncertainty": sure, "rebuild": rebuild, "formers-facial-roll": ("formers", "facial-roll", "--words"),
        "formers-bath-twin-wire-s": ("formers", "bath-twin-wire-s", "--words"), "machines": ("machines",),
        "no-sheet-run": ("run", *_no_sheet()), "no-sheet-limits": ("limits", *_no_sheet()),
    }  # fmt: skip
    asked |= {f"compare-{a}-{b}": ("compare", a, b) for a, b in PAIRS}
    made: dict[str, Callable[[], Any]] = {}
    for name, args in asked.items():
        made[f"commands/{name}.txt"] = partial(told, *args)
        made[f"commands/{name}.json"] = partial(numbers, *(a for a in args if a not in ("--notes", "--words")))
    return made


REFUSED = (
    ("calibrate", *ROUND),
    ("solve", "facial-roll", "--for", "headbox.consistency", "--so-that", "dryness_press = 41 %"),
    ("run", "facial-roll", "--set", "yankee.speed=-1 m/min", "--set", "headbox.consistency=130 %"),
    ("run", "facial-roll", "--set", "yankee.sped=1500 m/min"),
    ("run", "no-such-machine"),
    ("limits", "facial-roll", "--set", "hood.exhaust_humidity=4"),
    ("explain", "facial-roll", "no_such_number"),
)


def _class() -> str:
    ask = ("exercises", "facial-roll", "--seed", "2")
    return talk(ask, (*ask, "--key"))


def _all() -> dict[str, Callable[[], Any]]:
    made: dict[str, Callable[[], Any]] = {}
    for name in MACHINES:
        made[f"machines/{name}.txt"] = partial(_texts, name)
        made[f"machines/{name}.json"] = partial(_numbers, name)
        made[f"handouts/{name}.txt"] = partial(_handout, name)
    for name in EXPLAINED:
        made[f"explain/{name}.txt"] = partial(_explained, name)
        made[f"tables/{name}.txt"] = partial(_tables, name)
        made[f"arrays/{name}.json"] = partial(_arrays, name)
    made["explain/names.txt"] = partial(told, "explain", "facial-roll")
    made["commands/exercises.txt"] = _class
    made["commands/refused.txt"] = partial(talk, *REFUSED)
    made |= _studies()
    for name in SHOWN:
        for which in PAGES:
            made[f"pages/{name}/{which}.txt"] = partial(_page, name, which)
        made[f"pages/{name}/answer.json"] = partial(_answer, name)
    made["pages/figures.json"] = partial(_figures, SHOWN[0])
    for which, address in ADDRESSES.items():
        made[f"pages/further/{which}.txt"] = partial(_further, address)
    made["pages/further/answers.json"] = _posted
    made["pages/downloads.txt"] = _downloads
    return made


RECORDS = _all()
"""Every record: the name of its file and what makes it anew (a text for `.txt`, a value of JSON for `.json`)."""
