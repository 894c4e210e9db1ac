"""The studies of the study page, done in a process of their own: each ends as one record in the workspace.

A record is a JSON file with the machine it is of, what was asked and what was found, in base SI; it is whole or not
there. What a record looks like on the page is not decided here.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from thinstock.case.read import read as read_machine
from thinstock.case.text import origin_beside
from thinstock.errors import Refused
from thinstock.files.read import record_of
from thinstock.machine.line import Machine
from thinstock.tell.record import plain
from thinstock.words.fault import fault_in
from thinstock.work.workspace import Workspace

FOLDER = "studies"
"""Where the records stand in the workspace."""
ENDING = ".json"
FORMAT = 1
KINDS = ("sure", "matters", "map", "sweep", "rebuild")
FEW = 50
RUNS_PER_DRAW = 7
"""Of a rebuild: before, and after at one speed, for its speed and at it, also with the rewet of before."""
SIZE = 10_000
"""Cases in a part of a sweep."""


# -- records ---------------------------------------------------------------------------------------------------------


def kept(folder: str | os.PathLike[str]) -> Workspace:
    """The workspace as the place of records."""
    return Workspace(Path(folder), ENDING)


def names(folder: str | os.PathLike[str]) -> list[str]:
    """Records in the workspace, the newest first, without their ending."""
    found = [name for name in kept(folder).files() if name.startswith(f"{FOLDER}/") and name.count("/") == 1]
    return sorted((name[len(FOLDER) + 1 : -len(ENDING)] for name in found), reverse=True)


def read(folder: str | os.PathLike[str], name: str) -> dict[str, Any]:
    """A record by its name; what is none is refused."""
    content = kept(folder).read(f"{FOLDER}/{name}{ENDING}")
    record = record_of(content.text, name)
    try:
        good = record["format"] == FORMAT and record["kind"] in KINDS and isinstance(record["machine"], str)
        good = good and isinstance(record["asked"], dict) and isinstance(record["found"], dict)
    except (KeyError, TypeError):
        good = False
    if not good:
        raise Refused(fault_in("app.study_work.no_result_study", name))
    return {**record, "name": name, "digest": content.digest}


def free_name(folder: str | os.PathLike[str], said: str) -> str:
    """A name nothing has yet: the time, and what it is."""
    when = datetime.now().strftime("%Y-%m-%d %H-%M-%S")
    place = kept(folder)
    plain = "".join(c if c.isalnum() or c in " -_" else " " for c in said)
    stem = f"{when} {' '.join(plain.split())}"[:90].strip()
    for number in range(1, 1000):
        name = stem if number == 1 else f"{stem} {number}"
        if not place.path(f"{FOLDER}/{name}{ENDING}").exists():
            return name
    raise Refused(fault_in("app.study_work.studies", "studies"))


def keep(wanted: Mapping[str, Any], found: Any, known: str = "") -> str:
    """Write the record of a study; the name it has."""
    from thinstock.studies.sweep import program_version

    name = str(wanted["name"])
    record = {
        "format": FORMAT, "program": f"thinstock {program_version()}", "kind": wanted["kind"],
        "title": wanted["title"], "machine": wanted["machine"], "other": wanted.get("other", ""),
        "other_title": wanted.get("other_title", ""), "asked": wanted["asked"], "found": plain(found, ends=True),
    }  # fmt: skip
    text = json.dumps(record, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    kept(wanted["folder"]).write(f"{FOLDER}/{name}{ENDING}", text, known=known)
    return name


# -- the work ----------------------------------------------------------------------------------------------------------


def work(wanted: dict[str, Any], tell: Callable[..., None]) -> str:
    """Do a study and keep its record; the name of the record."""
    machine = _beside(wanted, wanted["machine"])
    tell(0.0, "")
    return _WORK[wanted["kind"]](wanted, machine, tell)


def _other(wanted: Mapping[str, Any]) -> Machine | None:
    return _beside(wanted, wanted["other"]) if wanted.get("other") else None


def _beside(wanted: Mapping[str, Any], text: str) -> Machine:
    """The machine of a text, with what it names looked for in the workspace."""
    return read_machine(origin_beside(text, "machine", wanted["folder"]))


def _sure(wanted: Mapping[str, Any], machine: Machine, tell: Callable[..., None]) -> str:
    from thinstock.studies.machine_uncertainty import Sampling, monte_carlo

    draws, digits, seed = (wanted["asked"][name] for name in ("draws", "digits", "seed"))
    sampling = Sampling(draws=int(draws) if draws else None, digits=int(digits), seed=int(seed))
    return keep(wanted, monte_carlo(machine, _other(wanted), sampling=sampling, tell=tell))


@contextmanager
def _followed(tell: Callable[..., None], cases: int) -> Iterator[None]:
    """Within, every part of the cases that was run moves the share of so many in all."""
    from thinstock.evidence.cases import watched

    done = [0]

    def told(count: int) -> None:
        if count < FEW:  # single runs beside the draws take no time
            return
        done[0] += count
        tell(min(done[0] / max(cases, 1), 0.99), "")

    with watched(told):
        yield


def _matters(wanted: Mapping[str, Any], machine: Machine, tell: Callable[..., None]) -> str:
    from thinstock.evidence.machine_inputs import uncertain
    from thinstock.studies.matters import matters

    base = int(wanted["asked"]["base"])
    with _followed(tell, base * (len(uncertain(machine)) + 2)):
        found = matters(machine, base=base, seed=int(wanted["asked"]["seed"]))
    return keep(wanted, found)


def _map(wanted: Mapping[str, Any], machine: Machine, tell: Callable[..., None]) -> str:
    from thinstock.studies.machine_axes import varied
    from thinstock.studies.machine_sweep import machine_map

    across, up = varied(machine, wanted["lines"])
    with _followed(tell, len(across.values or ()) * len(up.values or ())):
        found = machine_map(machine, across, up, wanted["asked"]["result"])
    states = sorted({str(state) for state in found.state.ravel()})
    fields = {
        **plain(found, ends=True), "states": states,
        "state": [[states.index(str(s)) for s in row] for row in found.state],
        "value": [[None if v != v else float(f"{v:.7g}") for v in row] for row in found.value.tolist()],
    }  # fmt: skip
    return keep(wanted, fields)


def _sweep(wanted: Mapping[str, Any], machine: Machine, tell: Callable[..., None]) -> str:
    """The record stands from the start, so that a sweep that was stopped can go on."""
    from thinstock.evidence.chosen import NONE, wished
    from thinstock.studies.machine_axes import plan_of, varied
    from thinstock.studies.machine_sweep import Running, machine_sweep, results_of
    from thinstock.studies.plan import chunk_count
    from thinstock.studies.sweep_draws import drawn_plan
    from thinstock.tell.sweep_words import columns, counts

    asked = wanted["asked"]
    seed = int(asked["seed"])
    plan = plan_of(varied(machine, wanted["lines"]), asked["layout"], int(asked["cases"]), seed)
    drawn = wished(machine, asked.get("population", NONE), seed=seed)
    plan = plan if drawn is None else drawn_plan(plan, drawn.draws)
    results, parts = results_of(machine, ()), chunk_count(plan, SIZE)
    place = sweep_folder(wanted["folder"], str(wanted["name"]))
    done = [0, 0]

    def told(account: Mapping[str, Any]) -> None:
        done[0] += 1
        done[1] += int(account["rows"])
        tell(done[0] / parts, f"{done[1]} of {plan.cases} cases")

    with ThreadPoolExecutor(os.cpu_count() or 1) as threads:
        beside = {"columns.json": json.dumps(columns(machine, plan, results, False), indent=1)}
        running = Running(size=SIZE, executor=threads, told=told, beside=beside, drawn=drawn)
        machine_sweep(machine, plan, results, folder=place, running=running)
    before = read(wanted["folder"], str(wanted["name"]))
    found = {**before["found"], "done": True, "said": counts(place)}
    return keep(wanted, found, known=before["digest"])


def sweep_folder(folder: str | os.PathLike[str], name: str) -> Path:
    """Where the parts of a sweep stand; beside its record, under the same name."""
    return kept(folder).path(f"{FOLDER}/{name}{ENDING}").with_suffix("")


def _rebuild(wanted: Mapping[str, Any], machine: Machine, tell: Callable[..., None]) -> str:
    from thinstock.studies.prices import read_prices
    from thinstock.studies.rebuild import rebuild

    after = _other(wanted)
    assert after is not None
    prices = read_prices(wanted["prices"], wanted["asked"]["prices"])
    draws = int(wanted["asked"]["draws"])
    with _followed(tell, RUNS_PER_DRAW * draws):
        found = rebuild(machine, after, prices, draws=draws, seed=int(wanted["asked"]["seed"]))
    return keep(wanted, found)


_WORK: dict[str, Callable[[Mapping[str, Any], Machine, Callable[..., None]], str]] = {
    "sure": _sure, "matters": _matters, "map": _map, "sweep": _sweep, "rebuild": _rebuild,
}  # fmt: skip
