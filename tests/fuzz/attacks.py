"""Attacks by number: each takes a generator of random numbers and a folder, and fails where the program does.

Whatever is given, the program refuses in words, or answers with numbers that close and are finite. One seed is one
attack, so that a finding can be had again by its kind and its seed.
"""

from __future__ import annotations

import atexit
import contextlib
import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any
from urllib.parse import quote

import numpy as np

import thinstock
from sweep_cases import AXES, water
from thinstock.case import dumps, library
from thinstock.case.write import equal
from thinstock.errors import Refused, steers
from thinstock.files import write
from thinstock.machine.numbers import headline
from thinstock.studies import run_sweep, sobol_plan
from thinstock.words.units import UnitError

HERE = Path(__file__).resolve().parent
CLOSED = 1e-9
SAME = 1e-9
ODD = [
    "\x1b[2J", "\x00", "\u202e", "\ud800", "\ufeff", "é", "紙", "'", '"', "\\", "\r", "\t", "=cmd()", "{{7*7}}", "${x}",
    "<script>", "../../", "%s%n", "1e400", "-0", "nan", "inf", "1_000", "٣", "½", "," * 50, "[" * 200, "{" * 200,
]  # fmt: skip
UNITS = ["m", "%", "kPa", "m/min", "degC", "g/m2", "bar(a)", "bar", "t/h", "furlong", ""]
OTHERS = ["[]", "{}", "[1, 2]", "true", "1", "{ value = 1 }"]
NUMBERS = ["0", "-1", "1e-300", "1e300", "-1e9", "1e-9", "0.5", "999999999999", "1e17", "2", "100"]


class Finding(AssertionError):
    """The program did what it must not."""


def must(good: bool, said: str) -> None:
    """Keep a finding."""
    if not good:
        raise Finding(said)


def refused_well(refused: Refused) -> None:
    """A refusal says something, on single lines, and sends nothing."""
    must(bool(refused.faults), "a refusal without a fault")
    for fault in refused.faults:
        must(not steers(str(fault)) and "\n" not in f"{fault.field}{fault.value}", f"a fault that steers: {fault!r}")
        must(len(str(fault)) < 5000, f"a fault of {len(str(fault))} letters")


# -- results -----------------------------------------------------------------------------------------------------------


def sound(result: Any) -> None:
    """A result closes at every node, hides no number that is none, and sells no energy it has not."""
    worst = result.closure()
    must(max(worst.values()) <= CLOSED, f"does not close: {worst}, formed {result.values.get('formed')}")
    if result.values.get("formed", True):
        for name in headline():
            value = result.values.get(name)
            must(value is None or bool(np.all(np.isfinite(value))), f"{name} is {value}")
    for one in result.energy:
        if np.any(np.asarray(one.power) < 0):
            must(one.id == "yankee_steam" and result["steam_per_product"] < 0, f"{one.id} gives {one.power} W")
            must(any(note.part == "Yankee" and "negative" in note.text for note in result.notes), "and nothing says so")


def ran(machine: Any) -> Any:
    """A run, or None where it is refused."""
    try:
        return machine.run()
    except Refused as refused:
        refused_well(refused)
        return None


# -- files of a machine ------------------------------------------------------------------------------------------------


@lru_cache(maxsize=32)
def machine_text(name: str) -> str:
    return library.machine_text(name)


def mutated(text: str, rng: random.Random) -> str:
    """A text with a few changes of many kinds."""
    lines = text.split("\n")
    for _ in range(rng.choice([1, 1, 1, 2, 3, 8])):
        at = rng.randrange(len(lines))
        match rng.randrange(11):
            case 0:
                del lines[at]
            case 1:
                lines.insert(rng.randrange(len(lines)), lines[at])
            case 2 | 3 | 4:
                lines[at] = re.sub(r"-?\d+(\.\d+)?", rng.choice(NUMBERS), lines[at], count=1)
            case 5:
                lines[at] = re.sub(r"(\d) [^\"]+\"", rf'\1 {rng.choice(UNITS)}"', lines[at], count=1)
            case 6:
                place = rng.randrange(len(lines[at]) + 1)
                lines[at] = lines[at][:place] + rng.choice(ODD) + lines[at][place:]
            case 7:
                lines[at] = lines[at].replace('"', "", rng.randrange(1, 3))
            case 8:
                lines[at] = re.sub(r"= .*", f"= {rng.choice(OTHERS)}", lines[at])
            case 9:
                lines = lines[:at] if rng.random() < 0.3 and at > 5 else lines
            case _:
                lines[at] = re.sub(r"^(\w+)", lambda m: m[1][:-1] or "x", lines[at])
        lines = lines or [""]
    return "\n".join(lines)


def machine_file(rng: random.Random, folder: Path) -> None:
    """A bundled machine file with a few changes: refused in words, or a machine that is saved and read back equal."""
    text = mutated(machine_text(rng.choice(library.machine_names())), rng)
    if rng.random() < 0.5:
        place = folder / "m.toml"
        place.write_bytes(text.encode("utf-8", "surrogatepass"))
        given: Callable[[], Any] = lambda: thinstock.load(place)  # noqa: E731
    else:
        given = lambda: thinstock.loads(text, "m.toml")  # noqa: E731
    try:
        machine = given()
    except Refused as refused:
        refused_well(refused)
        return
    result = ran(machine)
    if result is not None:
        sound(result)
    must(equal(thinstock.loads(dumps(machine, full=True)), machine), "not the same after a rewrite")


# -- machines ----------------------------------------------------------------------------------------------------------


@lru_cache(maxsize=512)
def base(name: str, former: str, press: str) -> Any:
    """A bundled machine with another former and press; None where they do not fit."""
    from thinstock.studies.exchange import with_former, with_press

    try:
        machine = thinstock.load(name)
        machine = with_former(machine, former).machine if former else machine
        return with_press(machine, press).machine if press else machine
    except Refused as refused:
        refused_well(refused)
        return None


def inputs(machine: Any) -> list[tuple[str, Any]]:
    """Numeric inputs with a usual range."""
    from thinstock.machine.provenance import known_values

    return [(k.address, k) for k in known_values(machine)
            if k.about.usual is not None and isinstance(k.value, float) and not k.about.limit]  # fmt: skip


def drawn(rng: random.Random) -> Any:
    """A machine out of all formers, presses and grades with some inputs moved, far too; None if it cannot be."""
    from thinstock.studies.exchange import formers, presses

    name = rng.choice(library.machine_names())
    former = rng.choice(["", "", *formers()])
    machine = base(name, former, rng.choice(["", "", *presses()]))
    if machine is None:
        return None
    changes: dict[str, float] = {}
    listed = inputs(machine)
    for where, known in rng.sample(listed, min(len(listed), rng.randrange(6))):
        low, high = known.about.usual
        if rng.random() < 0.3:
            low, high = min(low, known.value) * 0.5, max(high, known.value) * 2.0
        changes[where] = rng.uniform(low, high)
    if rng.random() < 0.4:
        changes["headbox.consistency"] = float(machine.headbox.consistency) * 10 ** rng.uniform(-1.5, 0.5)
    try:
        return machine.with_(changes)
    except Refused as refused:
        refused_well(refused)
        return None


DIRECTIONS = [("grade.reel_grammage", "fibre_per_width", 1), ("headbox.consistency", "flow_per_width", -1),
              ("headbox.consistency", "water_per_fibre", -1), ("grade.reel_grammage", "production", 1)]  # fmt: skip
"""What holds by the balance of fibre alone, for whatever machine."""


def machine(rng: random.Random, folder: Path) -> None:
    """A random machine closes, with or without a sheet, in a direction that balance demands, in arrays as alone."""
    made = drawn(rng)
    result = None if made is None else ran(made)
    if result is None:
        return
    sound(result)
    if rng.random() < 0.4 and result.values.get("formed", True):
        where, name, sign = rng.choice(DIRECTIONS)
        if name in result.values:
            try:
                more = ran(made.with_({where: float(made.get(where)) * 1.01}))
            except Refused:
                more = None
            moves = made.hold_reel_dryness_by == "speed" and name == "production"
            if more is not None and more.values.get("formed", True) and not moves:
                change = float(more[name]) - float(result[name])
                must(sign * change > -1e-9 * abs(float(result[name])), f"{where} up moves {name} by {change}")
    if rng.random() < 0.4:
        together(made, rng)


def together(made: Any, rng: random.Random) -> None:
    """Cases run together give what each gives alone."""
    factors = np.array([1.0, rng.uniform(0.9, 1.1), rng.uniform(0.05, 2.0)])
    values = float(made.headbox.consistency) * factors
    try:
        many = made.with_({"headbox.consistency": values}).run(fast=True)
        alone = [made.with_({"headbox.consistency": float(v)}).run(fast=True) for v in values]
    except Refused as refused:
        refused_well(refused)
        return
    must(max(many.closure().values()) <= CLOSED, f"arrays do not close: {many.closure()}")
    formed = np.broadcast_to(np.asarray(many.values.get("formed", True)), (3,))
    for k, one in enumerate(alone):
        must(bool(one.values.get("formed", True)) == bool(formed[k]), f"case {k} is formed alone or together only")
        for name in headline():
            single, several = one.values.get(name), many.values.get(name)
            if single is None or several is None or not formed[k]:
                continue
            mine = float(np.broadcast_to(np.asarray(several, dtype=float), (3,))[k])
            if np.isfinite(mine) and np.isfinite(single):
                must(abs(mine - float(single)) <= SAME * max(abs(float(single)), 1e-12), f"{name}: {single} and {mine}")


# -- tables, prices, records, options ----------------------------------------------------------------------------------


@lru_cache(maxsize=4)
def form(kind: str) -> bytes:
    from thinstock.survey.form import form_file

    if kind == "parquet":
        import io

        from pyarrow import csv, parquet

        made_of, rows = io.BytesIO(), [one for one in form("csv").splitlines(keepends=True) if not one.startswith(b"#")]
        table = csv.read_csv(io.BytesIO(b"".join(rows))).replace_schema_metadata({"water_density": "990 kg/m3"})
        parquet.write_table(table, made_of)
        return made_of.getvalue()
    made = form_file(thinstock.load("facial-roll"), f"form.{kind}")
    return made if isinstance(made, bytes) else made.encode()


def survey_file(rng: random.Random, folder: Path) -> None:
    """A survey table with changed bytes, CSV, workbook or Parquet, is read or refused."""
    from thinstock.survey.table import read_survey

    kind = rng.choice(["csv", "xlsx", "xlsx", "parquet"])
    raw = bytearray(form(kind))
    if kind == "csv":
        rows = "\n".join(
            ",".join(
                ("jet", "flow", rng.choice(NUMBERS), rng.choice(["kg/s", "t/h", "%", ""]),
                 rng.choice([*NUMBERS, "1e200", "3 %"]), rng.choice(["1", "2", "0", ""]), rng.choice(ODD),
                 f"a @ {rng.choice(NUMBERS)}", "")
            )
            for _ in range(3)
        )  # fmt: skip
        raw = bytearray((raw.decode() + rows).encode("utf-8", "surrogatepass"))
    elif kind == "xlsx" and rng.random() < 0.4:
        raw = bytearray(repacked(bytes(raw), rng, folder))
    for _ in range(rng.choice([0, 1, 1, 2, 5])):
        at = rng.randrange(len(raw))
        match rng.randrange(4):
            case 0:
                raw[at] ^= 1 << rng.randrange(8)
            case 1:
                del raw[at : at + rng.choice([1, 1, 30])]
            case 2:
                raw[at:at] = rng.choice(ODD).encode("utf-8", "surrogatepass")
            case _:
                raw = raw[:at] or bytearray(b"x")
    place = folder / f"t.{kind}"
    place.write_bytes(raw)
    try:
        read_survey(place, skip_blank=True)
    except Refused as refused:
        refused_well(refused)


def repacked(raw: bytes, rng: random.Random, folder: Path) -> bytes:
    """A workbook in whose parts something stands otherwise."""
    whole, packed = folder / "whole.xlsx", folder / "packed.xlsx"
    whole.write_bytes(raw)
    with zipfile.ZipFile(whole) as source, zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as target:
        names = source.namelist()
        chosen = rng.choice(names)
        for name in names:
            content = bytearray(source.read(name))
            if name == chosen and content:
                for _ in range(rng.choice([1, 3])):
                    at = rng.randrange(len(content))
                    content[at : at + rng.choice([0, 1, 40])] = rng.choice(["<", ">", "&", "x", "9", '"', *ODD]).encode(
                        "utf-8", "surrogatepass"
                    )
            target.writestr(name, bytes(content))
    return packed.read_bytes()


def historian(rng: random.Random, folder: Path) -> None:
    """Signals over time with changed bytes, CSV or Parquet, are read or refused."""
    from thinstock.survey import read_series

    rows = "".join(f"2026-03-29 0{k // 60}:{k % 60:02d};{k / 7:.3f};{rng.choice(NUMBERS)};good\n" for k in range(90))
    text = rng.choice(["time;x;y;x quality\n;%;kg/s;\n", "time,tag,value,unit\n", "# zone: UTC\ntime;x;y;q\n"]) + rows
    place = folder / rng.choice(["s.csv", "s.parquet"])
    if place.suffix == ".parquet":
        import pyarrow as pa
        import pyarrow.parquet as pq

        times = np.arange(50).astype("datetime64[m]").astype("datetime64[us]")
        pq.write_table(pa.table({"time": times, "x": np.linspace(0, 1, 50)}), place)
        raw = bytearray(place.read_bytes())
    else:
        raw = bytearray(text.encode())
    for _ in range(rng.choice([0, 1, 1, 4])):
        at = rng.randrange(len(raw))
        raw[at : at + rng.choice([0, 1, 3])] = rng.choice([*ODD, *NUMBERS, ";", "\n"]).encode("utf-8", "surrogatepass")
    place.write_bytes(raw)
    try:
        read_series(place, zone=rng.choice(["UTC", "Europe/Berlin", None, "Nowhere/Else"]))
    except Refused as refused:
        refused_well(refused)


def prices(rng: random.Random, folder: Path) -> None:
    """A prices file with changes is read or refused."""
    from importlib.resources import files

    from thinstock.studies.prices import read_prices

    text = files("thinstock").joinpath("library", "prices", "example.toml").read_text(encoding="utf-8")
    try:
        read_prices(mutated(text, rng), "p.toml")
    except Refused as refused:
        refused_well(refused)


def lesson(rng: random.Random, folder: Path) -> None:
    """A lesson with changes is read or refused."""
    from importlib.resources import files

    from thinstock.lesson.read import read

    found = [p for p in files("thinstock").joinpath("library", "lessons").iterdir() if p.name.endswith(".toml")]
    if found:
        text = rng.choice(sorted(found, key=lambda p: p.name)).read_text(encoding="utf-8")
        try:
            read(mutated(text, rng), "l.toml")
        except Refused as refused:
            refused_well(refused)


def records(rng: random.Random, folder: Path) -> None:
    """A record with changes is an object or refused."""
    from thinstock.files.read import record

    text = json.dumps({"format": 1, "kind": "map", "found": {"a": [1.5, None, "x"] * 5}, "asked": {}, "machine": "m"})
    at = rng.randrange(len(text))
    text = text[:at] + rng.choice([*ODD, "NaN", "Infinity", "]", "}"]) + text[at + rng.randrange(4) :]
    (folder / "r.json").write_bytes(text.encode("utf-8", "surrogatepass"))
    try:
        must(isinstance(record(folder / "r.json", 100_000), dict), "no object")
    except Refused as refused:
        refused_well(refused)


_EVIDENCE: list[tuple[str, bytes]] = []


def kept_evidence(folder: Path) -> tuple[str, bytes]:
    """The text and the draws of an invented evidence."""
    if _EVIDENCE:
        return _EVIDENCE[0]
    from thinstock.evidence import Population, write_evidence
    from thinstock.evidence.machine_inputs import Bounded

    made, where = thinstock.load("facial-roll"), "press.nip.suction_pressure_roll.rewet"
    law = Bounded(float(made.get(where)), 2e-4, 0.0, 0.02)
    kept = Population(addresses=(where,), scores=np.linspace(-2, 2, 50)[:, None], origin="read from readings", seed=1,
                      distributions={where: law}, machine=made, anchored=False)  # fmt: skip
    place = write_evidence(kept, folder / "kept.evidence.toml")
    _EVIDENCE.append((place.read_text(encoding="utf-8"), place.with_suffix(".parquet").read_bytes()))
    return _EVIDENCE[0]


def evidence(rng: random.Random, folder: Path) -> None:
    """Evidence with changes, with its draws, other draws or none, is read or refused."""
    from thinstock.evidence import read_evidence

    text, draws = kept_evidence(folder)
    place = folder / "kept.evidence.toml"
    place.write_bytes(mutated(text, rng).encode("utf-8", "surrogatepass"))
    match rng.randrange(3):
        case 0:
            place.with_suffix(".parquet").unlink(missing_ok=True)
        case 1:
            place.with_suffix(".parquet").write_bytes(draws)
        case _:
            place.with_suffix(".parquet").write_bytes(draws[: rng.randrange(len(draws))])
    try:
        found = read_evidence(place, thinstock.load("facial-roll"))
        must(found.draws > 0, "no draws")
    except Refused as refused:
        refused_well(refused)


def options(rng: random.Random, folder: Path) -> None:
    """Values, ranges and units as one types them are taken or refused."""
    from thinstock.case.overrides import machine_from
    from thinstock.studies.machine_axes import varied
    from thinstock.words import units

    made = thinstock.load("facial-roll")
    where = rng.choice([a for a, _ in inputs(made)])
    text = rng.choice([*NUMBERS, *ODD]) + rng.choice(["", " ", " %", " m/min", " kPa", " g/m2", " x 3", "..2 % x 3"])
    for attempt in (
        lambda: machine_from("facial-roll", (f"{where}={text}",)),
        lambda: varied(made, [f"{where}={text}"]),
        lambda: units.parse(text, rng.choice(["pressure", "speed", "temperature", "number"]), field="x"),
    ):
        try:
            attempt()
        except Refused as refused:
            refused_well(refused)
        except UnitError:
            pass


# -- the page ----------------------------------------------------------------------------------------------------------

_CLIENT: list[Any] = []


def path(rng: random.Random, folder: Path) -> None:
    """A hostile address or request gets an answer that leaks nothing and is no fault."""
    from app_client import ORIGIN, Client

    if not _CLIENT:
        place = Path(os.path.realpath(folder)).parent / f"workspace-{os.getpid()}"
        place.mkdir(exist_ok=True)
        (place.parent / f"secret-{os.getpid()}.toml").write_text('secret = "precious"\n', encoding="utf-8")
        _CLIENT.append(Client(place))
        atexit.register(_CLIENT[0].close)
    client = _CLIENT[0]
    secret = f"secret-{os.getpid()}.toml"
    up = rng.choice(["../", "..%2f", "%2e%2e/", "..\\", "....//", "/", "//", "%00", "\u2025/", "..%c0%af"])
    odd = rng.choice(ODD) + ".toml"
    name = rng.choice([up * rng.randrange(1, 5) + secret, f"C:{secret}", "con.toml", "a" * 300 + ".toml", odd])
    match rng.randrange(4):
        case 0:
            address = rng.choice(["/static/", "/download/", "/files/", "/charts/", "/jobs/", "/lesson/", "/"]) + name
            reply = client.get("/" + quote(address.lstrip("/"), safe="/%\\", errors="surrogatepass"))
        case 1:
            page = rng.choice(["machine", "sheet", "formers", "options", "study", "survey", "class"])
            key = rng.choice(["file", "machine", "table", "kept", "set", "units"])
            asked = {key: name.replace("\ud800", "?")}
            reply = client.http.get(f"/{page}", params=asked, headers={"accept": "text/html"})
        case 2:
            query = rng.choice(["", "machine=facial-roll", f"file={name}"])
            raw = json.dumps({"query": query, "name": name, "text": rng.choice(ODD)})
            where = rng.choice(["/machine/answer", "/files/save", "/files/drop", "/sheet/answer", "/survey/answer"])
            headers = {"origin": ORIGIN, "content-type": "application/json"}
            reply = client.http.post(where, content=raw, headers=headers)
        case _:
            garbage = bytes(rng.randrange(256) for _ in range(rng.randrange(60)))
            headers = {"origin": ORIGIN, "content-type": "application/json"}
            reply = client.http.post("/machine/answer", content=garbage, headers=headers)
    must(reply.status_code < 500, f"{reply.status_code} for {reply.request.url}: {client.reported[-1:]}")
    must("precious" not in reply.text, f"{reply.request.url} leaks")


# -- writing and sweeps ------------------------------------------------------------------------------------------------


def writing(rng: random.Random, folder: Path) -> None:
    """A write that is stopped at any step leaves the old file or the new one, whole, and nothing beside it."""
    place = folder / "target"
    old, new = b"old" * rng.randrange(1, 9000), b"new" * rng.randrange(1, 9000)
    there = rng.random() < 0.8
    if there:
        place.write_bytes(old)
    step, stop = rng.choice(["fsync", "replace", "open", "link", "lstat"]), rng.randrange(3)
    error = rng.choice([KeyboardInterrupt(), OSError(28, "No space left on device"), MemoryError(), SystemExit()])
    true, count = getattr(os, step), [0]

    def failing(*given: Any, **more: Any) -> Any:
        count[0] += 1
        if count[0] == stop + 1:
            raise error
        return true(*given, **more)

    setattr(write.os, step, failing)
    try:
        write.put(place, new, new=not there and rng.random() < 0.5)
    except (KeyboardInterrupt, Refused, MemoryError, SystemExit):
        pass
    finally:
        setattr(write.os, step, true)
    if place.exists():
        must(place.read_bytes() in (old, new), "neither the old file nor the new one")
    must(there <= place.exists(), "the old file is gone")
    must(sorted(p.name for p in folder.iterdir()) in ([], ["target"]), f"left behind: {list(folder.iterdir())}")


PLAN = sobol_plan(AXES, 400, 3)


@lru_cache(maxsize=1)
def undisturbed() -> dict[str, bytes]:
    import tempfile

    with tempfile.TemporaryDirectory() as held:
        run_sweep(PLAN, water, folder=held, size=50)
        return {p.name: p.read_bytes() for p in Path(held).iterdir()}


def sweep(rng: random.Random, folder: Path) -> None:
    """A sweep that fails anywhere, or whose folder is damaged anywhere, ends as one that was never disturbed."""
    place = folder / "s"
    fails, calls = rng.randrange(10), [0]

    def failing(**given: Any) -> Any:
        calls[0] += 1
        if calls[0] == fails:
            raise KeyboardInterrupt
        return water(**given)

    failing.__module__, failing.__qualname__ = water.__module__, water.__qualname__
    with contextlib.suppress(KeyboardInterrupt):
        run_sweep(PLAN, failing, folder=place, size=50)
    for _ in range(rng.randrange(4)):
        names = sorted(p for p in place.iterdir())
        victim = rng.choice(names)
        raw = bytearray(victim.read_bytes())
        match rng.randrange(4):
            case 0 if raw:
                raw[rng.randrange(len(raw))] ^= 1 << rng.randrange(8)
                victim.write_bytes(raw)
            case 1:
                victim.write_bytes(raw[: rng.randrange(len(raw) + 1)])
            case 2:
                victim.unlink()
            case _:
                other = rng.choice(names)
                if other != victim:
                    shutil.copy(other, victim)
        names = sorted(place.iterdir())
        if not names:
            break
    try:
        run_sweep(PLAN, water, folder=place, size=50)
    except Refused as refused:
        refused_well(refused)
        must("parts without" in str(refused) or "another sweep" in str(refused), f"refused: {refused}")
        return
    found = {p.name: p.read_bytes() for p in place.iterdir()}
    must(found == undisturbed(), "differs: " + ", ".join(n for n in found if found[n] != undisturbed().get(n)))


def killed(rng: random.Random, folder: Path) -> None:
    """A sweep killed at a random moment goes on to the same bytes."""
    code = ("import sys; sys.path.insert(0, sys.argv[1]); import sweep_cases as s; from thinstock.studies import *\n"
            "run_sweep(sobol_plan(s.AXES, 400, 3), s.water, folder=sys.argv[2], size=50)")  # fmt: skip
    place = folder / "s"
    child = subprocess.Popen([sys.executable, "-c", code, str(HERE.parent), str(place)], stderr=subprocess.DEVNULL)
    try:
        until = time.monotonic() + 60
        while child.poll() is None and not place.exists() and time.monotonic() < until:
            time.sleep(0.002)
        time.sleep(rng.uniform(0.0, 0.4))
        if child.poll() is None:
            os.kill(child.pid, signal.SIGKILL)
    finally:
        child.kill()
        child.wait()
    for left in place.glob(".*.half"):
        os.utime(left, (1e9, 1e9))
    run_sweep(PLAN, water, folder=place, size=50)
    must({p.name: p.read_bytes() for p in place.iterdir()} == undisturbed(), "differs after a kill")


def killed_write(rng: random.Random, folder: Path) -> None:
    """A writer killed at a random moment leaves the old file or the new one."""
    code = ("import sys\nfrom thinstock.files.write import put\nprint('go', flush=True)\n"
            "for n in range(100000): put(sys.argv[1], b'new!' * (50_000 + n % 7))")  # fmt: skip
    place = folder / "t"
    place.write_bytes(b"old!")
    with subprocess.Popen([sys.executable, "-c", code, str(place)], stdout=subprocess.PIPE) as child:
        assert child.stdout is not None
        child.stdout.readline()
        time.sleep(rng.uniform(0.0, 0.2))
        child.kill()
    raw = place.read_bytes()
    must(raw == b"old!" or (len(raw) >= 200_000 and set(raw) == set(b"new!")), f"{len(raw)} bytes of neither")
    write.tidy(folder, time.time() + 10)
    must([p.name for p in folder.iterdir()] == ["t"], "half files stay after tidying")


KINDS: dict[str, tuple[Callable[[random.Random, Path], None], int]] = {
    "machine_file": (machine_file, 30), "machine": (machine, 30), "survey_file": (survey_file, 20),
    "historian": (historian, 10), "prices": (prices, 5), "lesson": (lesson, 5), "records": (records, 5),
    "evidence": (evidence, 5), "options": (options, 5), "path": (path, 20), "writing": (writing, 10),
    "sweep": (sweep, 4), "killed": (killed, 1), "killed_write": (killed_write, 1),
}  # fmt: skip
"""Each kind with how often it comes among the others."""
SLOW = ("killed", "killed_write")
"""Kinds that start a process of their own: in the suite once."""


def attack(kind: str, seed: int, folder: Path) -> None:
    """One attack."""
    place = folder / f"{kind}-{seed}"
    place.mkdir(parents=True)
    try:
        KINDS[kind][0](random.Random(f"{kind} {seed}"), place)
    finally:
        shutil.rmtree(place, ignore_errors=True)
