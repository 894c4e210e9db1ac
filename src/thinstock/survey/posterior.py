"""The joint posterior of all uncertain inputs of a machine after its surveys, as a population of draws.

Nothing is held: constants, settings of the rounds and every other uncertain input are looked for together, each with
its own prior, and what the readings do not tell keeps its prior and its correlation. Best fit, randomised fits, then a
walk of the whole population until its two halves agree.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.evidence.beliefs import belief
from thinstock.evidence.coupling import FACTOR, anchored, coupled, rewet_address
from thinstock.evidence.distributions import Distribution
from thinstock.evidence.file import Moved, told_by
from thinstock.evidence.links import groups_of, read_shares
from thinstock.evidence.machine_inputs import Bounded, bounds, input_distributions
from thinstock.evidence.population import AS_READ, Population, middle, stream, value_of
from thinstock.evidence.responses import exponents_of, responded
from thinstock.evidence.responses import settings_of as response_settings
from thinstock.evidence.sampling import fits_to, population_walk
from thinstock.files.read import fingerprint
from thinstock.formula.label import Array
from thinstock.machine.line import Machine
from thinstock.survey.machine_constants import Unknown, settings_of
from thinstock.survey.machine_model import MachineModel
from thinstock.survey.round import Round
from thinstock.survey.settle import chi_square_probability
from thinstock.survey.table import Reading
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Q

DRAWS, PASSES, MODE_PASSES = 1000, 5, 5
LEAST_STEPS, MOST_STEPS, AT_ONCE = 9, 30, 3
WIDE = 1.6
"""Half of the draws are pulled to prior points so many times as wide, so that too narrow fits would show."""
LOOSE = 5.0
"""Spread of a setting that the readings decide, in units of its scale."""
GAP, RATIO = 0.2, 0.08
"""The halves agree: medians within so many standard uncertainties, and the spreads within this in their logarithm."""
STEP = 0.1
MISFIT = 0.01
"""Probability of the misfit below which the model is said not to fit."""
DRYNESS = "grade.reel_dryness"
HEADLINES = ("web_pressed", "reel", "steam", "gas", "hood_air", "end_of_forming", "web_formed")
ANOTHER_SPEED, ANOTHER_GRAMMAGE = 1.1, 1.3
"""Ratios between rounds from which response exponents are looked for."""

Tell = Callable[[float, str], None]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Part:
    """One round: its model, and which columns of the scores it takes."""

    model: MachineModel
    machine: Machine
    beliefs: Mapping[str, Distribution]
    columns: Mapping[str, int]
    settings: Mapping[str, float]
    """What response exponents work on, in this round."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Readings:
    """The readings of all rounds as a function of scores."""

    names: tuple[str, ...]
    parts: tuple[_Part, ...]
    surveyed: Mapping[str, float]
    observed: Array
    covariance: Array
    rows: tuple[Reading, ...]
    anchored: bool
    prior: Array
    """Root of the correlation of the scores before the readings (groups)."""
    shift: list[Array] = field(default_factory=list)
    """What full runs say more than fast ones, at the best fit."""

    def values(self, part: _Part, free: Array) -> dict[str, Array]:
        """SI values of one round's inputs; `free` are independent scores."""
        scores = free @ self.prior.T
        found = {one: value_of(part.beliefs[one], scores[:, k]) for one, k in part.columns.items()}
        if self.anchored:
            found = coupled(part.machine, found, middle(part.beliefs, rewet_address(part.machine)))
        return responded(found, part.settings, self.surveyed)

    def __call__(self, free: Array) -> Array:
        answer = np.concatenate([_safe(p.model, self.values(p, free), fast=True) for p in self.parts], axis=1)
        return answer + self.shift[0] if self.shift else answer

    def full(self, free: Array) -> Array:
        """The same by full runs."""
        return np.concatenate([_safe(p.model, self.values(p, free), fast=False) for p in self.parts], axis=1)


def _safe(model: MachineModel, values: Mapping[str, Array], *, fast: bool) -> Array:
    """Cases x readings; not a number where a case cannot be built."""
    count = len(next(iter(values.values())))
    try:
        return model.readings(values, fast=fast)
    except Refused:
        if count == 1:
            return np.full((1, len(model.rows)), np.nan)
    half = count // 2
    sides = ({name: column[rows] for name, column in values.items()} for rows in (slice(0, half), slice(half, None)))
    return np.concatenate([_safe(model, side, fast=fast) for side in sides])


def readings_of(
    rounds: Sequence[Round], models: Sequence[MachineModel], readings: Sequence[Reading], covariance: Array
) -> Readings:
    """All rounds as one function of the scores of all their inputs.

    `models` have the readings of each round; `readings` and `covariance` are those of all of them, in order.
    """
    first = models[0].machine
    machine = rounds[0].machine
    shared = _beliefs(rounds[0], first)
    several = len(rounds) > 1 and _apart(rounds)
    if several:
        shared |= exponents_of(machine)
    names = list(shared)
    parts = [_part(models[0], machine, shared, {one: k for k, one in enumerate(names)})]
    for number, (round_, model) in enumerate(zip(rounds[1:], models[1:], strict=True), start=2):
        own = {one.address: one for one in settings_of(round_, model.machine)}
        beliefs = {a: _moved(a, shared[a], first, model.machine) for a in shared}
        columns = {one: k for k, one in enumerate(shared)}
        for address, unknown in own.items():
            beliefs[address] = _setting(unknown, round_.machine)
            columns[address] = len(names)
            names.append(f"round {number}: {address}")
        parts.append(_part(model, round_.machine, beliefs, columns))
    return Readings(
        names=tuple(names),
        parts=tuple(parts),
        surveyed=response_settings(machine),
        observed=np.array([one.value for one in readings]),
        covariance=covariance,
        rows=tuple(readings),
        anchored=anchored(machine),
        prior=_root(names, groups_of(machine)),
    )


def _part(
    model: MachineModel, machine: Machine, beliefs: Mapping[str, Distribution], columns: Mapping[str, int]
) -> Any:
    return _Part(
        model=model, machine=machine, beliefs=beliefs, columns=columns, settings=response_settings(machine)
    )  # fmt: skip


def _apart(rounds: Sequence[Round]) -> bool:
    speeds = [float(r.machine.speed) for r in rounds]
    grammages = [float(r.machine.grade.reel_grammage) for r in rounds]
    return max(speeds) / min(speeds) >= ANOTHER_SPEED or max(grammages) / min(grammages) >= ANOTHER_GRAMMAGE


def _beliefs(round_: Round, standing: Machine) -> dict[str, Distribution]:
    """What is believed of every input of one round: settings that its readings decide are left loose."""
    found = {a: d for a, d in input_distributions(standing).items() if a != DRYNESS}
    return found | {one.address: _setting(one, round_.machine) for one in settings_of(round_, standing)}


def _setting(one: Unknown, machine: Machine) -> Bounded:
    low, high = bounds(machine, one.address)
    spread = one.scale * (1.0 if one.bound else LOOSE)
    if one.log:
        return Bounded(float(np.log(one.centre)), spread, max(low, one.centre * 1e-3), high, True)
    return Bounded(one.centre, spread, low, max(high, one.centre + spread))


def _moved(address: str, shared: Distribution, first: Machine, then: Machine) -> Distribution:
    """The same deviation about the value of another round."""
    if address.startswith("response."):
        return shared
    filed, now = float(first.get(address)), float(then.get(address))
    return shared if filed == now else Moved(shared, filed, now)


def _root(names: Sequence[str], groups: Mapping[str, Mapping[str, float]]) -> Array:
    """Root of the correlation of scores that have groups in common."""
    matrix = np.eye(len(names))
    place = {name: k for k, name in enumerate(names)}
    linked = [one for one in groups if one in place]
    for a in linked:
        for b in linked:
            if a != b:
                one, two = read_shares(groups[a]), read_shares(groups[b])
                matrix[place[a], place[b]] = sum(np.sqrt(one[n] * two[n]) for n in one if n in two)
    return np.asarray(np.linalg.cholesky(matrix), dtype=np.float64)


# -- the way through -------------------------------------------------------------------------------------------------


def posterior(model: Readings, *, draws: int = DRAWS, seed: int = 1, tell: Tell | None = None) -> tuple[Array, Any]:
    """(Draws x scores, record): what the readings leave of all inputs together.

    Source: KITANIDIS_1995, COTTER_2013. Status: published (the population as its own law derived).
    """
    say = tell if tell is not None else _silent
    say(0.02, phrase("survey.posterior.best"))
    centre, slopes = _best(model)
    model.shift[:] = [np.nan_to_num(model.full(centre[None, :]) - model(centre[None, :]))[0]]
    generator = stream(seed, "posterior")
    prior = generator.standard_normal((draws, centre.size))
    prior[1::2] *= WIDE
    say(0.1, phrase("survey.posterior.fits"))
    scores = fits_to(
        model, model.observed, model.covariance, centre=centre, slopes=slopes, prior=prior, passes=PASSES,
        generator=generator,
    )  # fmt: skip
    energy = _energy(model)
    watched = _Watched(model)
    steps = 0
    unsettled: list[str] = []
    while steps < MOST_STEPS:
        scores, _ = population_walk(energy, scores, steps=AT_ONCE, generator=generator)
        steps += AT_ONCE
        say(0.35 + 0.6 * steps / MOST_STEPS, phrase("survey.posterior.walk", steps=steps))
        if steps >= LEAST_STEPS:
            unsettled = watched.differing(scores)
            if not unsettled:
                break
    best = model(centre[None, :])[0]
    off = model.observed - best
    chi_square = float(off @ np.linalg.solve(model.covariance, off))
    return scores, {
        "steps": steps,
        "settled": not unsettled,
        "unsettled": tuple(unsettled),
        "chi_square": chi_square,
        "best": best,
        "centre": centre,
    }


def _silent(share: float, text: str) -> None:
    """Nobody listens."""


def _best(model: Readings) -> tuple[Array, Array]:
    """The best fit and the slopes of the readings there."""
    count = len(model.names)
    root = np.linalg.cholesky(model.covariance)
    centre = _start(model)
    slopes = np.zeros((len(model.rows), count))
    for _ in range(MODE_PASSES):
        trial = np.repeat(centre[None, :], 2 * count + 1, axis=0)
        for k in range(count):
            trial[2 * k + 1, k] += STEP
            trial[2 * k + 2, k] -= STEP
        said = model(trial)
        slopes = np.nan_to_num((said[1::2] - said[2::2]).T / (2.0 * STEP))
        target, *_ = np.linalg.lstsq(
            np.vstack([np.linalg.solve(root, slopes), np.eye(count)]),
            np.concatenate([np.linalg.solve(root, model.observed - said[0]) , -centre]), rcond=None,
        )  # fmt: skip
        tried = centre + np.array([0.0, 1.0, 0.5, 0.25, 0.1])[:, None] * target
        cost = _energy(model)(tried)
        better = int(np.argmin(cost))
        moved = float(np.max(np.abs(tried[better] - centre)))
        centre = tried[better]
        if moved < 0.02:
            break
    return centre, slopes


def _start(model: Readings) -> Array:
    """Beliefs, but with the resistance that comes nearest, as it may lie far off."""
    start = np.zeros(len(model.names))
    where = "stock.resistance_factor"
    if where not in model.names:
        return start
    trial = np.tile(start, (25, 1))
    trial[1:, model.names.index(where)] = np.linspace(-2.5, 2.5, 24)
    off = (model(trial) - model.observed) / np.sqrt(np.diag(model.covariance))
    misfit = np.sum(np.clip(off, -30, 30) ** 2, axis=1)
    return trial[int(np.nanargmin(misfit))] if np.any(np.isfinite(misfit)) else start


def _energy(model: Readings) -> Callable[[Array], Array]:
    """Half of the squares of scores and scaled misfits; infinite where no sheet is formed."""
    root = np.linalg.cholesky(model.covariance)

    def energy(scores: Array) -> Array:
        off = np.linalg.solve(root, (model.observed - model(scores)).T)
        with np.errstate(invalid="ignore"):
            found = 0.5 * np.sum(scores**2, axis=1) + 0.5 * np.sum(off**2, axis=0)
        return np.where(np.isfinite(found), found, np.inf)

    return energy


class _Watched:
    """The headlines over which the two halves of the draws must agree."""

    def __init__(self, model: Readings) -> None:
        self.model = model
        self.places = [k for k, row in enumerate(model.rows) if row.stream in HEADLINES]

    def differing(self, scores: Array) -> list[str]:
        """Headlines over which the halves differ."""
        said = self.model(scores)[:, self.places]
        even, odd = said[0::2], said[1::2]
        spread = said.std(axis=0, ddof=1)
        known = spread > 0.0
        gap = np.abs(np.median(even, axis=0) - np.median(odd, axis=0))[known] / spread[known]
        ratio = np.log(even.std(axis=0, ddof=1)[known] / odd.std(axis=0, ddof=1)[known])
        names = [f"{self.model.rows[self.places[k]].stream}" for k in np.flatnonzero(known)]
        far = [name for name, one in zip(names, gap, strict=True) if one > GAP]
        if float(np.sqrt(np.mean(ratio**2))) > RATIO:
            far.append(names[int(np.argmax(np.abs(ratio)))])
        return list(dict.fromkeys(far))


# -- as a population of the machine -----------------------------------------------------------------------------------


def population_after(
    rounds: Sequence[Round], model: Readings, scores: Array, record: Mapping[str, Any], *, seed: int, aside: Any = ()
) -> Population:
    """The draws as a population of the machine of the first round, with the record that its file keeps."""
    machine = rounds[0].machine
    linked = scores @ model.prior.T
    part = model.parts[0]
    addresses = tuple(part.columns)
    columns = {one: linked[:, part.columns[one]] for one in addresses}
    beliefs = dict(part.beliefs)
    read = next((r for r in rounds[0].survey.readings if (r.stream, r.quantity) == ("reel", "consistency")), None)
    if read is not None:
        columns[DRYNESS], beliefs[DRYNESS] = _dryness(model, scores, read)
    generator_names = [one for one in exponents_of(machine) if one not in columns]
    for one in generator_names:
        columns[one] = stream(seed, one).standard_normal(len(scores))
        beliefs[one] = exponents_of(machine)[one]
    freedom = len(model.rows)
    probability = chi_square_probability(float(record["chi_square"]), max(1, freedom - _loose(rounds, model)))
    off = (model.observed - record["best"]) / np.sqrt(np.diag(model.covariance))
    worst = [model.rows[k] for k in np.argsort(-np.abs(off))[:3]]
    return Population(
        addresses=tuple(columns),
        scores=np.column_stack(list(columns.values())),
        origin=AS_READ,
        seed=seed,
        distributions={one: beliefs[one] for one in columns},
        machine=machine,
        anchored=model.anchored and FACTOR in columns,
        record={
            "made_by": "calibrate",
            "settled": record["settled"],
            "unsettled": record["unsettled"],
            "misfit": probability < MISFIT,
            "worst": tuple(f"{one.stream} {one.quantity}" for one in worst) if probability < MISFIT else (),
            "surveyed": dict(model.surveyed),
            "rounds": tuple(_round(one, model, record["chi_square"], probability, aside) for one in rounds),
            "roles": _roles(machine, tuple(columns)),
            "steps": record["steps"],
        },
    )


def _loose(rounds: Sequence[Round], model: Readings) -> int:
    """Settings that only the readings decide."""
    pairs = zip(rounds, model.parts, strict=True)
    return sum(1 for round_, part in pairs for one in settings_of(round_, part.model.machine) if not one.bound)


def _dryness(model: Readings, scores: Array, read: Reading) -> tuple[Array, Distribution]:
    """The reel dryness of each draw as a setting to hold: what the dryer makes at its settings."""
    part = model.parts[0]
    dryness = _safe(part.model.of([("reel", "consistency")]), model.values(part, scores), fast=True)[:, 0]
    law = Bounded(min(read.value, 0.99), read.standard_uncertainty, 0.5, 0.995)
    return np.clip((dryness - law.centre) / law.spread, -8.0, (law.high - law.centre) / law.spread - 1e-3), law


def _round(one: Round, model: Readings, chi_square: float, probability: float, aside: Any) -> dict[str, Any]:
    origin = one.survey.origin
    return {
        "table": origin.name if origin is not None else one.name,
        "digest": fingerprint(origin)[:16],
        "read": len(one.survey.readings),
        "used": len(model.rows),
        "aside": [" ".join(key) for key in aside],
        "chi_square": float(f"{chi_square:.4g}"),
        "probability": float(f"{probability:.3g}"),
    }


def _roles(machine: Machine, addresses: Sequence[str]) -> dict[str, str]:
    """Whether an input is a setting (its draws move along with an edit) or a constant."""
    found = {}
    for one in addresses:
        if one.startswith("response."):
            found[one] = "constant"
            continue
        about = machine.declaration(one).about
        row = belief(about) if isinstance(about, Q) else None
        found[one] = "setting" if row is not None and row.setting else "constant"
    return found


def told(population: Population) -> dict[str, str]:
    """By address whether the readings told an input: "read", "partly" or "as judged"."""
    return {one: told_by(float(population.scores[:, k].std(ddof=1))) for k, one in enumerate(population.addresses)}
