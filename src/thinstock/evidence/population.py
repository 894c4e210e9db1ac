"""One population of a machine's uncertain inputs: the draws every command and page takes its ranges from.

A draw is one score for each input, standard normal before any reading; the value is the quantile of the input's
distribution at that score. The scores of an address come from a stream of their own, so that the same address has the
same draws on every machine and an input more changes no other.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Hashable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.evidence.cases import Cases, run_cases
from thinstock.evidence.coupling import FACTOR, SHARE, anchored, coupled, rewet_address
from thinstock.evidence.distributions import Distribution, Normal
from thinstock.evidence.links import groups_of
from thinstock.evidence.machine_inputs import input_distributions
from thinstock.formula.bell import below
from thinstock.formula.label import Array
from thinstock.machine.line import Machine
from thinstock.words.fault import fault_in
from thinstock.words.note import Note

AS_BELIEVED, RUNS, AS_READ = "as believed", "runs", "as read"
DRAWS = 1000
KEPT_DRAWS = 2048
"""Draws of an input that are kept; more of them are no longer small."""
FEWEST_SHARE = 0.02
"""Share of draws that must run; below it the beliefs and the statement that the machine runs contradict each other."""
MOVED = 0.1
"""Scores whose mean moves by more, because the machine runs, are told."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Population:
    """Draws of the inputs of a machine, on their scores."""

    addresses: tuple[str, ...]
    scores: Array
    """Draws x inputs, in the order of the addresses."""
    origin: str
    """"as believed", "runs" or "as read"."""
    seed: int
    distributions: Mapping[str, Distribution]
    """Of each input, before any reading."""
    accepted: float = 1.0
    """Share of the draws that run, where only those are kept."""
    rows: Any = None
    """Numbers of the draws kept; nothing where all are."""
    machine: Machine | None = field(default=None, repr=False)
    anchored: bool = False
    """Whether the permeability factor is one on the permeability worked out for the drawn share and rewet."""
    record: Mapping[str, Any] = field(default_factory=dict, repr=False)
    """What the evidence file says besides: rounds, what was surveyed, whether the draws settled."""
    notes: tuple[Note, ...] = ()

    def __post_init__(self) -> None:
        scores = np.asarray(self.scores, dtype=np.float32).astype(np.float64)
        if scores.ndim != 2 or scores.shape[1] != len(self.addresses) or not np.all(np.isfinite(scores)):
            raise Refused(fault_in("evidence.population.scores", "scores", str(scores.shape)))
        scores.setflags(write=False)
        object.__setattr__(self, "scores", scores)

    @property
    def draws(self) -> int:
        """How many."""
        return len(self.scores)

    def values(self, addresses: Iterable[str] | None = None) -> dict[str, Array]:
        """SI values of some inputs, one for each draw; of all where none are named."""
        wanted = self.addresses if addresses is None else tuple(addresses)
        place = {address: k for k, address in enumerate(self.addresses)}
        if unknown := [one for one in wanted if one not in place]:
            raise Refused([fault_in("evidence.population.no_input", "addresses", one) for one in unknown])
        needed = set(wanted)
        if self.coupled and FACTOR in needed:
            needed |= {FACTOR, SHARE, rewet_address(self.coupled)} & set(place)
        found = {one: value_of(self.distributions[one], self.scores[:, place[one]]) for one in needed}
        if self.coupled and FACTOR in needed:
            found = coupled(self.coupled, found, self.rewet_base)
        return {one: found[one] for one in wanted}

    @property
    def rewet_base(self) -> float:
        """The rewet that the permeability factor belongs to: the middle of what was believed of it."""
        return middle(self.distributions, rewet_address(self.machine)) if self.machine is not None else 0.0

    @property
    def coupled(self) -> Machine | None:
        """The machine whose permeability factor follows the rewet drawn with it."""
        return self.machine if self.anchored else None

    def take(self, count: int) -> Population:
        """The first draws of it."""
        from dataclasses import replace

        rows = None if self.rows is None else self.rows[:count]
        return replace(self, scores=self.scores[:count], rows=rows)


def middle(distributions: Mapping[str, Distribution], address: str) -> float:
    """The median of an input before any reading; 0 where it is not among them."""
    return float(np.asarray(distributions[address].quantile(0.5))) if address in distributions else 0.0


def value_of(distribution: Distribution, score: Array) -> Array:
    """Values at scores; those of a run's draws are kept, since most stay when one input is moved."""
    if isinstance(distribution, Normal):
        return np.asarray(distribution.centre + distribution.spread * score)
    if score.ndim == 1 and score.size <= KEPT_DRAWS and isinstance(distribution, Hashable):
        with suppress(TypeError):  # one of its parts may be an array
            return _values_kept(distribution, score.tobytes()).copy()
    return np.asarray(distribution.quantile(below(score)))


@lru_cache(maxsize=256)
def _values_kept(distribution: Any, scores: bytes) -> Array:
    return np.asarray(distribution.quantile(below(np.frombuffer(scores))), dtype=float)


def stream(seed: int, address: str) -> np.random.Generator:
    """The generator of one address: Philox keyed by the seed and the first eight bytes of the address' SHA-256."""
    if not 0 <= seed < 2**64:
        raise Refused(fault_in("studies.inputs.seed", "seed", str(seed)))
    key = int.from_bytes(hashlib.sha256(address.encode()).digest()[:8], "little")
    return np.random.Generator(np.random.Philox(key=np.array([seed, key], dtype=np.uint64)))


class Streams:
    """Scores of many addresses, drawn on from where each stopped; those of a group have its share in common."""

    def __init__(self, seed: int, addresses: Iterable[str], groups: Mapping[str, Mapping[str, float]] = {}) -> None:
        self.addresses = tuple(addresses)
        self.groups = {one: groups[one] for one in self.addresses if one in groups}
        self.own = [stream(seed, address) for address in self.addresses]
        names = sorted({name for shares in self.groups.values() for name in shares})
        self.shared = {name: stream(seed, f"group: {name}") for name in names}

    def more(self, count: int) -> Array:
        """Draws x addresses."""
        columns = {one: generator.standard_normal(count) for one, generator in zip(self.addresses, self.own)}
        common = {name: generator.standard_normal(count) for name, generator in self.shared.items()}
        for one, shares in self.groups.items():
            rest = max(0.0, 1.0 - sum(abs(share) for share in shares.values()))
            columns[one] = math.sqrt(rest) * columns[one] + sum(
                math.copysign(math.sqrt(abs(share)), share) * common[name] for name, share in shares.items()
            )
        return np.column_stack(list(columns.values())) if columns else np.zeros((count, 0))


def population_of(
    machine: Machine, *, draws: int = DRAWS, seed: int = 1, evidence: Population | None = None
) -> Population:
    """The population of a machine's uncertain inputs.

    Parameters
    ----------
    machine : Machine
        One case.
    draws, seed : how many draws, and the number that fixes them.
    evidence : Population, optional
        What was read of this machine (`read_evidence`); its draws are taken.

    Returns
    -------
    Population
        Origin "as read" with evidence; "runs" where the machine file says that the machine exists: draws in which it
        forms a sheet and reaches its reel dryness inside its limits; else "as believed".

    Raises
    ------
    Refused
        A machine with arrays, or one that exists and runs in fewer than two draws of a hundred.

    Source: DERIVED. Status: derived.
    """
    if machine.cases() is not None:
        raise Refused(fault_in("evidence.population.machine", "machine", "arrays"))
    if evidence is not None:
        return evidence.take(draws) if draws < evidence.draws else evidence
    distributions = input_distributions(machine)
    addresses = tuple(distributions)
    streams = Streams(seed, addresses, groups_of(machine))
    if not machine.exists:
        return Population(
            addresses=addresses,
            scores=streams.more(draws),
            origin=AS_BELIEVED,
            seed=seed,
            distributions=distributions,
            machine=machine,
            anchored=anchored(machine),
        )
    return _that_run(machine, distributions, streams, draws, seed)


def _that_run(
    machine: Machine, distributions: Mapping[str, Distribution], streams: Streams, draws: int, seed: int
) -> Population:
    """Draws in which the machine runs."""
    kept: list[Array] = []
    rows: list[Any] = []
    tried = found = 0
    follows = anchored(machine)
    while found < draws:
        batch = max(200, int(1.2 * (draws - found) / max(found / tried, FEWEST_SHARE))) if tried else 2 * draws
        scores = np.asarray(streams.more(batch), dtype=np.float32).astype(np.float64)
        values = {one: value_of(distributions[one], scores[:, k]) for k, one in enumerate(distributions)}
        values = coupled(machine, values, middle(distributions, rewet_address(machine))) if follows else values
        good = np.flatnonzero(run_cases(machine, values, ()).usable)
        kept.append(scores[good])
        rows.append(tried + good)
        tried, found = tried + batch, found + good.size
        if found < FEWEST_SHARE * tried:
            raise Refused(_contradiction(machine, distributions, found, tried))
    every = np.concatenate(kept)
    moved = every.mean(axis=0)
    shifts = sorted(zip(distributions, moved, strict=True), key=lambda pair: -abs(pair[1]))
    return Population(
        addresses=tuple(distributions),
        scores=every[:draws],
        origin=RUNS,
        seed=seed,
        distributions=distributions,
        accepted=found / tried,
        rows=np.concatenate(rows)[:draws],
        machine=machine,
        anchored=follows,
        record={"moved": {address: float(mean) for address, mean in shifts if abs(mean) > MOVED}},
    )


def runs(cases: Cases) -> Any:
    """Cases in which the machine forms a sheet and dries it as wanted."""
    return cases.usable


def _contradiction(machine: Machine, distributions: Mapping[str, Distribution], found: int, tried: int) -> Any:
    """The fault of a machine that exists and does not run by what is believed, with the input to look at first."""
    count = len(distributions)
    middle = {one: float(np.asarray(value_of(d, np.zeros(1)))[0]) for one, d in distributions.items()}
    columns = {one: np.full(2 * count + 1, value) for one, value in middle.items()}
    for k, (one, belief) in enumerate(distributions.items()):
        columns[one][[2 * k + 1, 2 * k + 2]] = value_of(belief, np.array([-2.0, 2.0]))
    name = "reel_dryness_reached"
    reached = run_cases(machine, columns, (name,))[name]
    gain = np.nan_to_num(reached[1:] - reached[0]).reshape(count, 2).max(axis=1)
    most = tuple(distributions)[int(np.argmax(gain))]
    return fault_in("evidence.population.does_not_run", "exists", f"{found} of {tried}", most=most)
