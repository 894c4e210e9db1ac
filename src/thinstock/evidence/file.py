"""The evidence kept beside a machine file: a text to read, and the draws to compute with.

`cal.evidence.toml` says what was read and what it left of each input; `cal.evidence.parquet` has the scores of the
draws, one column for each input. Nothing is thinned: small correlations carry exact cancellations.
"""

from __future__ import annotations

import ast
import hashlib
import math
import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from thinstock.errors import Fault, Refused, needs
from thinstock.evidence import distributions as kinds
from thinstock.evidence.beliefs import Within, belief
from thinstock.evidence.coupling import FACTOR, as_filed, rewet_address
from thinstock.evidence.distributions import Distribution
from thinstock.evidence.machine_inputs import Bounded
from thinstock.evidence.normal import conditional_normal
from thinstock.evidence.population import AS_READ, Population, middle, value_of
from thinstock.files.read import content, fingerprint, foreign
from thinstock.files.write import put
from thinstock.formula.label import Array
from thinstock.machine.line import Machine
from thinstock.words.fault import fault_in
from thinstock.words.note import Note
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Q, show

FORMAT = 1
LARGEST, LARGEST_DRAWS = 20_000_000, 1_000_000_000
"""Bytes of the text and of the draws that are read at all."""
MOST_INPUTS, MOST_DRAWS = 1000, 1_000_000
"""More than any calibration has; what a file asks for beyond them is not worked out."""
FARTHEST = 3.0
"""A constant entered by hand so many uncertainties from what was read contradicts the reading."""
SETTINGS = "setting"
READ, PARTLY = 0.5, 0.9
"""Standard deviations of a score below which the readings told an input, or told it partly."""


def digest(values: Mapping[str, float]) -> str:
    """A short fingerprint of named values: SHA-256 of the sorted lines "address = value", first 16 digits.

    Source: DERIVED. Status: derived (a definition).
    """
    lines = sorted(f"{name} = {float(value)!r}" for name, value in values.items())
    return hashlib.sha256("".join(f"{line}\n" for line in lines).encode()).hexdigest()[:16]


def told_by(spread: float) -> str:
    """Whether readings told an input, by the spread of its score."""
    return "read" if spread < READ else "partly" if spread <= PARTLY else "as judged"


# -- writing ---------------------------------------------------------------------------------------------------------


def write_evidence(population: Population, path: str | Path) -> Path:
    """Keep a population beside its machine file; gives back the path of the text.

    The draws go to a file of the same name that ends in `.parquet`; both are written whole or not at all.

    Raises
    ------
    Refused
        A folder that cannot be written.

    Source: DERIVED. Status: derived (a definition).
    """
    target = Path(path)
    draws = target.with_suffix(".parquet")
    content = _parquet(population)
    text = _text(population, draws.name, hashlib.sha256(content).hexdigest()[:16])
    put(draws, content)
    put(target, text.encode("utf-8"))
    return target


def _parquet(population: Population) -> bytes:
    pyarrow, parquet = needs("pyarrow", "tables"), needs("pyarrow.parquet", "tables")
    columns = {a: population.scores[:, k].astype(np.float32) for k, a in enumerate(population.addresses)}
    about = {b"format": str(FORMAT).encode(), b"seed": str(population.seed).encode()}
    table = pyarrow.table(columns).replace_schema_metadata(about)
    sink = pyarrow.BufferOutputStream()
    parquet.write_table(table, sink, compression="zstd")
    return bytes(sink.getvalue().to_pybytes())


def _text(population: Population, draws_file: str, draws_digest: str) -> str:
    from importlib.metadata import version

    from thinstock.case.entries import literal

    record = population.record
    head: dict[str, Any] = {
        "format": FORMAT,
        "made_by": str(record.get("made_by", population.origin)),
        "program": version("thinstock"),
        "seed": population.seed,
        "draws": population.draws,
        "settled": bool(record.get("settled", True)),
        "misfit": bool(record.get("misfit", False)),
        "anchored": population.anchored,
        "draws_file": draws_file,
        "draws_digest": draws_digest,
        "machine_digest": digest(_as_filed(population)),
    }
    lines = [f"{name} = {literal(value)}" for name, value in head.items()]
    for name in ("unsettled", "worst"):
        if record.get(name):
            lines.append(f"{name} = {literal(list(record[name]))}")
    if record.get("surveyed"):
        lines += ["", "[surveyed]"]
        lines += [f"{literal(a)} = {literal(_said(population, a, v))}" for a, v in record["surveyed"].items()]
        lines += ["", "[surveyed_si]"]
        lines += [f"{literal(a)} = {float(v)!r}" for a, v in record["surveyed"].items()]
    for one in record.get("rounds", ()):
        lines += ["", "[[round]]", *(f"{name} = {literal(value)}" for name, value in one.items())]
    values = population.values()
    filed = _as_filed(population)
    for k, address in enumerate(population.addresses):
        ends = np.quantile(values[address], [0.05, 0.5, 0.95])
        score = population.scores[:, k]
        row: dict[str, Any] = {
            "address": address,
            "role": str(record.get("roles", {}).get(address, "constant")),
            "belief": belief_text(population.distributions[address]),
            "median": _said(population, address, ends[1]),
            "low": _said(population, address, ends[0]),
            "high": _said(population, address, ends[2]),
            "filed": float(filed.get(address, ends[1])),
            "mean_score": round(float(score.mean()), 6),
            "spread_score": round(float(score.std(ddof=1)), 6) if len(score) > 1 else 0.0,
        }
        row["told"] = told_by(row["spread_score"])
        row["believed"] = stamp(population.machine, address)
        lines += ["", "[[input]]", *(f"{name} = {literal(value)}" for name, value in row.items())]
    lines += ["", "[correlation]", "rows = ["]
    lines += [f"  {literal(row)}," for row in _triangle(population.scores)]
    lines.append("]")
    return "\n".join(lines) + "\n"


def _as_filed(population: Population) -> dict[str, float]:
    """Values of the inputs as the machine file has them."""
    machine = population.machine
    if machine is None:
        return {}
    known = dict(machine.addresses())
    return {a: float(known[a]) for a in population.addresses if known.get(a) is not None}


def _said(population: Population, address: str, value: float) -> str:
    """A value as a person would read it."""
    if population.machine is None or address.startswith("response."):
        return f"{float(value):.4g}"
    about = population.machine.declaration(address).about
    return show(float(f"{float(value):.4g}"), about) if isinstance(about, Q) else f"{float(value):.4g}"


def _triangle(scores: Array) -> list[str]:
    """Lower triangle of the correlation of the scores, three digits, one row for each input."""
    with np.errstate(invalid="ignore", divide="ignore"):
        matrix = np.nan_to_num(np.atleast_2d(np.corrcoef(scores, rowvar=False)))
    return [" ".join(f"{matrix[i, j]:.3f}" for j in range(i)) for i in range(scores.shape[1])]


def belief_text(distribution: Distribution) -> str:
    """A distribution as text that can be read back: its kind and its numbers in base SI."""
    return repr(distribution)


def belief_of(text: str) -> Distribution:
    """The distribution of a text; refused where it is none."""
    known: dict[str, Callable[..., Distribution]] = {
        name: getattr(kinds, name)
        for name in ("Arcsine", "CurvilinearTrapezoid", "LogUniform", "Lognormal", "Normal", "Rectangular", "Student",
                     "Triangular", "TwoPiece")
    }  # fmt: skip
    known |= {"Bounded": Bounded, "Within": Within}
    try:
        found: Distribution = _made(ast.parse(text, mode="eval").body, known)
        return found
    except (AssertionError, KeyError, SyntaxError, TypeError, ValueError) as wrong:
        raise Refused(fault_in("evidence.file.belief", "belief", text)) from wrong


def _made(node: ast.expr, known: Mapping[str, Callable[..., Distribution]]) -> Any:
    """A distribution, or one of its numbers."""
    if not isinstance(node, ast.Call):
        return _number(node)
    assert isinstance(node.func, ast.Name)
    given = {str(k.arg): _made(k.value, known) for k in node.keywords}
    return known[node.func.id](*[_made(one, known) for one in node.args], **given)


def _number(node: ast.expr) -> Any:
    """A number, or "inf" with or without a sign."""
    if isinstance(node, ast.Name) and node.id in ("inf", "nan"):
        return float(node.id)
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        return -_number(node.operand)
    return ast.literal_eval(node)


def stamp(machine: Machine | None, address: str) -> str:
    """A short fingerprint of all an input's belief comes from: its row of the library, what the file says of it."""
    if machine is None or address.startswith("response.") or machine.get(address) is None:
        return ""
    about, given = machine.declaration(address).about, machine.given.get(address)
    own = None if given is None else (given.uncertainty, given.ends, given.hard, given.group)
    said = repr((belief(about) if isinstance(about, Q) else None, own))
    return hashlib.sha256(said.encode()).hexdigest()[:8]


def _beliefs_changed(data: Mapping[str, Any], machine: Machine) -> list[Note]:
    """Inputs of which something else is believed than when they were read; a what-if is no other belief."""
    known = dict(machine.addresses())
    names = []
    for one in data["input"]:
        where, then = str(one["address"]), str(one.get("believed", ""))
        given = machine.given.get(where)
        if then and known.get(where) is not None and not (given is not None and given.changed):
            names += [where] if stamp(machine, where) != then else []
    return [_note("beliefs_changed", names=", ".join(names))] if names else []


# -- reading ---------------------------------------------------------------------------------------------------------


def read_evidence(path: str | Path, machine: Machine) -> Population:
    """The population kept in an evidence file, for the machine as it stands now.

    Parameters
    ----------
    path : str or Path
        The text, `NAME.evidence.toml`.
    machine : Machine
        A constant changed by hand since is taken as known: the draws are those with it. A changed setting moves the
        draws of that setting along.

    Returns
    -------
    Population
        Origin "as read", with notes on everything that is not as it was.

    Raises
    ------
    Refused
        A newer format, draws that are not those the text was written with, correlations that cannot be, or a constant
        entered more than three uncertainties from what was read.

    Source: DERIVED. Status: derived.
    """
    with foreign(Path(path).name):
        return _population(Path(path), machine)


def _population(file: Path, machine: Machine) -> Population:
    data = _parsed(file)
    inputs = data.get("input", [])
    addresses = tuple(str(one["address"]) for one in inputs)
    distributions = {str(one["address"]): belief_of(str(one["belief"])) for one in inputs}
    notes: list[Note] = []
    scores = _draws(file, data, addresses, notes)
    if data.get("misfit"):
        worst = ", ".join(data.get("worst", ())) or "-"
        notes.append(_note("misfit", worst=worst))
    if not data.get("settled", True):
        notes.append(_note("unsettled", names=", ".join(data.get("unsettled", ())) or "-"))
    notes += _tables_changed(file, data)
    notes += _beliefs_changed(data, machine)
    follows = bool(data.get("anchored", False))
    scores, distributions = _edited(machine, inputs, (scores, distributions), notes, anchored=follows)
    record: dict[str, Any] = {
        name: data[name] for name in ("made_by", "settled", "misfit", "worst", "unsettled") if name in data
    }
    record |= {
        "surveyed": dict(data.get("surveyed_si", {})),
        "rounds": tuple(data.get("round", ())),
        "roles": {str(one["address"]): str(one.get("role", "constant")) for one in inputs},
    }
    return Population(
        addresses=addresses,
        scores=scores,
        origin=AS_READ,
        seed=int(data.get("seed", 1)),
        distributions=distributions,
        machine=machine,
        anchored=follows,
        record=record,
        notes=tuple(notes),
    )


def _note(key: str, **slots: object) -> Note:
    return Note(part="evidence", level="information", text=phrase(f"evidence.notes.{key}", **slots))


def _parsed(file: Path) -> dict[str, Any]:
    if not file.exists():
        raise Refused(fault_in("evidence.file.missing", "evidence", str(file)))
    try:
        data = tomllib.loads(content(file, LARGEST).decode("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as wrong:
        fault = Fault(field="evidence", value=str(wrong), bound=phrase("evidence.file.unreadable"), file=file.name)
        raise Refused(fault) from None
    if int(data.get("format", 0)) > FORMAT or "input" not in data:
        raise Refused(fault_in("evidence.file.format", "format", str(data.get("format", "nothing")), known=FORMAT))
    counts = {"input": (len(data["input"]), MOST_INPUTS), "draws": (int(data.get("draws", 1000)), MOST_DRAWS)}
    for name, (count, most) in counts.items():
        if not 0 < count <= most:
            raise Refused(fault_in("evidence.file.many", name, str(count), most=most))
    return data


def _draws(file: Path, data: Mapping[str, Any], addresses: tuple[str, ...], notes: list[Note]) -> Array:
    """The scores kept, or such as have the same means, spreads and correlations where they are gone."""
    draws = file.with_name(str(data.get("draws_file", "")))
    if data.get("draws_file") and draws.exists():
        raw = content(draws, LARGEST_DRAWS)
        if hashlib.sha256(raw).hexdigest()[:16] != data.get("draws_digest"):
            raise Refused(fault_in("evidence.file.other_draws", "draws_file", draws.name))
        pyarrow, parquet = needs("pyarrow", "tables"), needs("pyarrow.parquet", "tables")
        found = parquet.ParquetFile(pyarrow.BufferReader(raw))
        if tuple(found.schema_arrow.names) != addresses:
            raise Refused(fault_in("evidence.file.other_draws", "draws_file", draws.name))
        if found.metadata.num_rows > MOST_DRAWS:
            raise Refused(fault_in("evidence.file.many", "draws", str(found.metadata.num_rows), most=MOST_DRAWS))
        table = found.read()
        return np.column_stack([table[name].to_numpy() for name in addresses]).astype(np.float64)
    notes.append(_note("rebuilt", file=draws.name))
    return _rebuilt(data, len(addresses))


def _rebuilt(data: Mapping[str, Any], count: int) -> Array:
    """Draws of the normal law that the text tells."""
    mean = np.array([float(one["mean_score"]) for one in data["input"]])
    spread = np.array([float(one["spread_score"]) for one in data["input"]])
    matrix = np.eye(count)
    for i, row in enumerate(data.get("correlation", {}).get("rows", ())):
        for j, number in enumerate(str(row).split()):
            matrix[i, j] = matrix[j, i] = float(number)
    size, direction = np.linalg.eigh(matrix)
    if size[0] < -5e-3 * math.sqrt(count):
        raise Refused(fault_in("evidence.file.correlation", "correlation.rows", f"{size[0]:.2g}"))
    root = direction * np.sqrt(np.maximum(size, 0.0))
    generator = np.random.Generator(np.random.Philox(key=np.array([int(data.get("seed", 1)), 0], dtype=np.uint64)))
    chance = generator.standard_normal((int(data.get("draws", 1000)), count))
    return np.asarray(mean + spread * (chance @ root.T))


def _tables_changed(file: Path, data: Mapping[str, Any]) -> list[Note]:
    """Tables of readings that are not as they were read."""
    found = []
    for one in data.get("round", ()):
        table = file.with_name(str(one.get("table", "")))
        now = fingerprint(table) if one.get("table") and one.get("digest") else ""
        if now and now[:16] != one["digest"]:
            found.append(_note("table_changed", table=table.name))
    return found


def _edited(
    machine: Machine,
    inputs: list[dict[str, Any]],
    drawn: tuple[Array, dict[str, Distribution]],
    notes: list[Note],
    *,
    anchored: bool,
) -> tuple[Array, dict[str, Distribution]]:
    """Draws and beliefs after what was changed in the machine file by hand."""
    known = dict(machine.addresses())
    scores, distributions = drawn
    places: list[int] = []
    wanted: list[float] = []
    faults: list[Fault] = []
    beliefs = dict(distributions)
    for k, one in enumerate(inputs):
        address, filed = str(one["address"]), float(one["filed"])
        now = known.get(address)
        if now is None or float(now) == filed:
            continue
        if one.get("role") == SETTINGS:
            beliefs[address] = Moved(distributions[address], filed, float(now))
            continue
        own = float(now)
        if anchored and address == FACTOR:
            own /= as_filed(machine, middle(distributions, rewet_address(machine)))
        score = score_of(distributions[address], own)
        off = (score - scores[:, k].mean()) / max(float(scores[:, k].std()), 1e-9)
        if not abs(off) <= FARTHEST:
            field, slots = address, {"found": one.get("median", ""), "low": one.get("low", ""), "high": one.get("high")}
            faults.append(fault_in("evidence.file.contradicts", field, _shown(machine, address), **slots))
        places.append(k)
        wanted.append(score)
    if faults:
        raise Refused(faults)
    if not places:
        return scores, beliefs
    before = scores
    scores = conditioned(scores, places, wanted)
    for k in places:
        one = inputs[k]
        notes.append(_edit_note(machine, one, inputs, before, scores, k))
    return scores, beliefs


def conditioned(scores: Array, places: list[int], wanted: list[float]) -> Array:
    """Draws once some scores are known: each draw moves along the normal law of all (exact for a normal law)."""
    covariance = np.cov(scores, rowvar=False)
    mean = scores.mean(axis=0)
    after, _ = conditional_normal(mean, covariance, places, wanted)
    gain = np.linalg.lstsq(covariance[np.ix_(places, places)], covariance[places], rcond=1e-12)[0].T
    moved = scores + (np.asarray(wanted) - scores[:, places]) @ gain.T
    moved += after - moved.mean(axis=0)
    moved[:, places] = wanted
    return np.asarray(moved)


def _edit_note(
    machine: Machine, one: Mapping[str, Any], inputs: list[dict[str, Any]], before: Array, after: Array, place: int
) -> Note:
    """What a constant entered by hand does to the one that moves most with it."""
    shift = np.abs(after.mean(axis=0) - before.mean(axis=0))
    shift[place] = -1.0
    k = int(np.argmax(shift))
    return _note(
        "edited",
        name=str(one["address"]).rpartition(".")[2],
        found=one.get("median", ""),
        low=one.get("low", ""),
        high=one.get("high", ""),
        now=_shown(machine, str(one["address"])),
        other=str(inputs[k]["address"]).rpartition(".")[2],
        mean_before=f"{before[:, k].mean():.2f}",
        mean_after=f"{after[:, k].mean():.2f}",
        spread_before=f"{before[:, k].std():.2f}",
        spread_after=f"{after[:, k].std():.2f}",
    )


def _shown(machine: Machine, address: str) -> str:
    about = machine.declaration(address).about
    return show(machine.get(address), about) if isinstance(about, Q) else str(machine.get(address))


def score_of(distribution: Distribution, value: float) -> float:
    """The score at which a distribution has a value; infinite outside of what it allows."""
    low, high = -8.5, 8.5
    ends = [float(value_of(distribution, np.array([z]))[0]) for z in (low, high)]
    if not ends[0] <= value <= ends[1]:
        return math.inf
    for _ in range(80):
        middle = 0.5 * (low + high)
        if float(value_of(distribution, np.array([middle]))[0]) < value:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


class Moved:
    """A belief about a setting that has been changed since: the same deviations about the new value."""

    def __init__(self, base: Distribution, filed: float, now: float) -> None:
        self.base, self.filed, self.now = base, filed, now

    def __repr__(self) -> str:
        return repr(self.base)

    def _moved(self, value: Any) -> Any:
        ratio = self.filed > 0.0 and self.now > 0.0
        return value * (self.now / self.filed) if ratio else value + (self.now - self.filed)

    @property
    def mean(self) -> float:
        return float(self._moved(self.base.mean))

    @property
    def standard_deviation(self) -> float:
        return float(self.base.standard_deviation * (self.now / self.filed if self.filed > 0.0 < self.now else 1.0))

    def quantile(self, p: Any) -> Any:
        """Of the base, moved."""
        return self._moved(self.base.quantile(p))

    def sample(self, generator: np.random.Generator, size: Any) -> Array:
        return np.asarray(self._moved(self.base.sample(generator, size)))
