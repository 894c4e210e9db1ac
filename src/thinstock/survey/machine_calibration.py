"""Constants of a machine from its surveys: fitted with the settings of each round, told apart where the data allow it.

The model is the machine itself, run over all small changes at once. What the readings cannot separate is named, with
the reading that would. A symmetric plus-minus misleads on a badly known constant: each has its profile beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations
from typing import Any

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.label import Array
from thinstock.machine.line import Machine
from thinstock.relations.pressing_fit import LEAST_GRAMMAGE_STEP
from thinstock.relations.yankee import ONE_COMBINATION
from thinstock.survey.calibration import Fit, fit
from thinstock.survey.change import cross_covariance
from thinstock.survey.faults import SurveyError, nearest
from thinstock.survey.findings import Findings, findings_of
from thinstock.survey.machine_constants import CARRIES, LENDERS, WHY, Unknown, constants_of, settings_of
from thinstock.survey.machine_model import MachineModel
from thinstock.survey.profiles import Ends, profile_ends
from thinstock.survey.round import Round
from thinstock.survey.table import Reading, Survey
from thinstock.words.note import Note

STEP = 0.05
"""Change of a fitted variable for a slope, in standard uncertainties of its prior."""
TOLD = 1.0
"""A constant is told where the readings alone fix it at least as well as the judgement it began from."""
DIM = 4.0
"""Up to so many times the judgement's uncertainty, readings say something of a constant, if not enough."""
BLIND = 1e-6
"""Information below this (in units of the prior's) is none."""
WEAK = 0.98
"""Above this correlation two constants are hardly told apart."""
SHARE = 0.95
LEVELS = ("contact_level", "hood_factor")


@dataclass(frozen=True, kw_only=True, eq=False)
class Found:
    """One constant that the readings fix."""

    unknown: Unknown
    value: float
    standard_uncertainty: float
    low: float
    high: float
    """Profile of 95 %; infinite where the data do not bound it."""
    by_data: float
    """Standard uncertainty from the readings alone, without the library's judgement of this constant."""
    leans: tuple[tuple[str, float], ...] = ()
    """(a library value held while this was found, change of this for one standard uncertainty of that)."""

    @property
    def name(self) -> str:
        """The last word of the address."""
        return self.unknown.address.rpartition(".")[2]


@dataclass(frozen=True, kw_only=True, eq=False)
class NotTold:
    """One constant that the readings cannot tell, and what would."""

    unknown: Unknown
    why: str
    best: str
    """The reading that would tell it best (or two together), with its uncertainty; empty where two would not do."""

    @property
    def name(self) -> str:
        """The last word of the address."""
        return self.unknown.address.rpartition(".")[2]


@dataclass(frozen=True, kw_only=True, eq=False)
class Checked:
    """One reading before and after the calibration, and as all other readings would have it."""

    round: int
    reading: Reading
    before: float
    """By the machine as it came, with the settings of the round."""
    after: float
    left_out: float
    """By the calibration without this reading (to first order)."""
    left_out_score: float
    """(Reading - left_out) / its standard uncertainty; nan where nothing else says anything of it."""

    @property
    def score_before(self) -> float:
        return (self.reading.value - self.before) / self.reading.standard_uncertainty

    @property
    def score_after(self) -> float:
        return (self.reading.value - self.after) / self.reading.standard_uncertainty


@dataclass(frozen=True, kw_only=True, eq=False)
class Calibration:
    """What surveys say of the constants of a machine."""

    rounds: tuple[Round, ...]
    findings: tuple[Findings | None, ...]
    """Of each round; None where nothing in it can be checked."""
    found: tuple[Found, ...]
    not_told: tuple[NotTold, ...]
    settings: tuple[tuple[Found, ...], ...]
    """Of each round, as its readings have them."""
    checked: tuple[Checked, ...]
    unused: tuple[tuple[Reading, str], ...]
    """Readings the model says nothing of, and why."""
    fit: Fit
    chi_square_before: float
    degrees_of_freedom: int
    correlation: dict[tuple[str, str], float]
    """Of each two constants found."""
    machine: Machine
    """The machine as surveyed (the first round), with what was found."""

    @cached_property
    def notes(self) -> tuple[Note, ...]:
        """What to be wary of."""
        return tuple(_notes(self))

    @property
    def probability(self) -> float:
        """Of a misfit at least this large if readings and model are right."""
        from scipy.special import chdtrc

        return float(chdtrc(max(self.degrees_of_freedom, 1), self.fit.chi_square))


class Joint:
    """The readings of all rounds as a function of constants and settings, in units of their priors."""

    def __init__(self, constants: Sequence[Unknown], rounds: Sequence[tuple[MachineModel, Sequence[Unknown]]]) -> None:
        self.constants = tuple(constants)
        self.rounds = tuple((model, tuple(settings)) for model, settings in rounds)
        self.unknowns = (*self.constants, *(s for _, settings in self.rounds for s in settings))

    def __call__(self, units: Any) -> Array:
        return np.asarray(self.many(np.asarray(units, dtype=float)[None, :])[0], dtype=np.float64)

    def many(self, units: Array) -> Array:
        """Cases x readings, for cases x unknowns."""
        parts = []
        for model, columns, unknowns in self._rounds():
            values = {u.address: u.value(units[:, c]) for u, c in zip(unknowns, columns, strict=True)}
            parts.append(model.readings(values))
        return np.concatenate(parts, axis=1)

    def jacobian(self, units: Any) -> Array:
        """Readings x unknowns at one place."""
        return np.asarray(self.slopes(np.asarray(units, dtype=float)[None, :])[1][0], dtype=np.float64)

    def slopes(self, units: Array) -> tuple[Array, Array]:
        """(Readings, slopes) at many places: cases x readings, cases x readings x unknowns; one run per round."""
        cases, count = units.shape
        values, slopes = [], []
        for model, columns, unknowns in self._rounds():
            k = len(columns)
            trial = np.repeat(units[:, None, :], 2 * k + 1, axis=1)
            for j, c in enumerate(columns):
                trial[:, 2 * j + 1, c] += STEP
                trial[:, 2 * j + 2, c] -= STEP
            flat = trial.reshape(-1, count)
            out = model.readings({u.address: u.value(flat[:, c]) for u, c in zip(unknowns, columns, strict=True)})
            out = out.reshape(cases, 2 * k + 1, -1)
            slope = np.zeros((cases, out.shape[2], count))
            for j, c in enumerate(columns):
                slope[:, :, c] = (out[:, 2 * j + 1] - out[:, 2 * j + 2]) / (2.0 * STEP)
            values.append(out[:, 0])
            slopes.append(slope)
        return np.concatenate(values, axis=1), np.concatenate(slopes, axis=1)

    def _rounds(self) -> Iterable[tuple[MachineModel, list[int], tuple[Unknown, ...]]]:
        first = len(self.constants)
        for model, settings in self.rounds:
            columns = [*range(len(self.constants)), *range(first, first + len(settings))]
            yield model, columns, (*self.constants, *settings)
            first += len(settings)


# -- the way through -----------------------------------------------------------------------------------------------


def calibrate(
    rounds: Sequence[Round],
    *,
    wanted: Iterable[str] = (),
    without: Iterable[str] = (),
    despite_failed_test: bool = False,
    profiles: bool = True,
) -> Calibration:
    """Fit the constants of the machine to one or more rounds of readings.

    `wanted` names the constants to fit (all where none is named); one of those that the readings cannot tell is then
    refused. `without` sets readings aside. A round that fails its global test is refused unless told. Without
    `profiles` every interval is left open.
    Source: BATES_WATTS_1988, DERIVED. Status: from memory (least squares with priors on the machine's own model).
    """
    aside = tuple(without)
    findings = tuple(_findings(r, aside) for r in rounds)
    if not despite_failed_test:
        _refuse_failed(findings)
    asked = tuple(wanted)
    constants = _chosen(rounds[0].machine, asked)
    models, kept, unused = _models(rounds, findings)
    readings, covariance = _readings(kept), _covariance(kept)
    whole = Joint(constants, models)
    fitted = _fit(whole, readings, covariance, _start(whole, readings, covariance))
    slopes = whole.jacobian(fitted.value)
    held = _lenders_not_told(whole, slopes, covariance, rounds)
    joint = Joint([c for c in constants if c not in held], models)
    if held:
        keep = [i for i, u in enumerate(whole.unknowns) if u not in held]
        fitted = _fit(joint, readings, covariance, fitted.value[keep])
        slopes = joint.jacobian(fitted.value)
    told = _told(joint, slopes, covariance)
    not_told = tuple(
        _not_told(c, joint, fitted, slopes, covariance, told.get(c.address, np.inf))
        for c in constants
        if not told.get(c.address, np.inf) < TOLD
    )
    if asked and not_told:
        raise SurveyError(_fault(n) for n in not_told)
    places = [i for i, c in enumerate(joint.constants) if told[c.address] < TOLD]
    ends = {i: Ends(-np.inf, np.inf) for i in places}
    if profiles:
        ends = profile_ends(joint, everything_values(readings), covariance, fitted, places, share=SHARE)
    found = _found(joint, fitted, told, ends, _leaning(held, joint, models, fitted, slopes, covariance))
    before = _before(joint, readings, covariance)
    machine, settings = _applied(rounds, joint, fitted, found)
    return Calibration(
        rounds=tuple(rounds),
        findings=findings,
        found=found,
        not_told=not_told,
        settings=settings,
        checked=_checked(kept, joint, fitted, slopes, covariance, before),
        unused=unused,
        fit=fitted,
        chi_square_before=before.chi_square,
        degrees_of_freedom=fitted.degrees_of_freedom,
        correlation=_correlation(joint, fitted, [f.unknown.address for f in found]),
        machine=machine,
    )


def _findings(round_: Round, aside: tuple[str, ...]) -> Findings | None:
    inside = round_.network.network.streams
    if not any(r.stream in inside for r in round_.survey.readings):
        return None
    try:
        return findings_of(round_, without=aside)
    except SurveyError as error:
        if "nothing can be checked" in error.faults[0].bound:
            return None
        raise


def _refuse_failed(findings: tuple[Findings | None, ...]) -> None:
    faults = []
    for one in findings:
        if one is None or one.passed:
            continue
        doubt = "; ".join(
            " and ".join(" ".join(one.rows[i].key) for i in members)
            for members in (one.doubts[0].sets if one.doubts else ())
        )
        remedy = f'Set aside what is wrong (--without "{doubt.split("; ")[0]}") after looking at it, ' if doubt else ""
        faults.append(
            Fault(
                field=one.round.name,
                value=f"chi-square {one.reconciliation.result.statistic:.3g} for "
                f"{one.reconciliation.result.degrees_of_freedom}",
                bound="its readings do not agree with each other, and a model fitted to them would hide that",
                remedy=f"{remedy}or calibrate --despite-failed-test. Doubtful: {doubt or 'no single set'}.",
            )
        )
    if faults:
        raise SurveyError(faults)


def _chosen(machine: Machine, asked: tuple[str, ...]) -> tuple[Unknown, ...]:
    """The constants to fit; the others of a pair stay in it with their library value, as an uncertainty to carry."""
    known = constants_of(machine)
    if not asked:
        return known
    faults = []
    chosen = set()
    for text in asked:
        match = [c for c in known if text.strip() in (c.address, _short(c), c.label)]
        if not match:
            names = [_short(c) for c in known]
            remedy = nearest(text.strip(), names) or f"Known: {', '.join(names)}."
            faults.append(Fault(field="--fit", value=text, bound="is no constant of the calibration", remedy=remedy))
        chosen |= {c.address for c in match}
    if faults:
        raise SurveyError(faults)
    return tuple(c for c in known if c.address in chosen)


def _models(
    rounds: Sequence[Round], findings: Sequence[Findings | None]
) -> tuple[list[tuple[MachineModel, tuple[Unknown, ...]]], list[Survey], tuple[tuple[Reading, str], ...]]:
    """Per round the model of its readings with the settings of the round; surveys of what the model can say."""
    models: list[tuple[MachineModel, tuple[Unknown, ...]]] = []
    kept: list[Survey] = []
    unused: list[tuple[Reading, str]] = []
    for round_, found in zip(rounds, findings, strict=True):
        machine = _as_run(round_)
        aside = set(found.set_aside) if found is not None else set()
        values = MachineModel(machine, _rows(round_.survey.readings)).readings({})[0]
        readings = []
        for reading, value in zip(round_.survey.readings, values, strict=True):
            why = _why_unused(reading, value, aside)
            if why:
                unused.append((reading, why))
            else:
                readings.append(reading)
        survey = replace(round_.survey, readings=tuple(readings))
        kept.append(survey)
        models.append((MachineModel(machine, _rows(readings)), settings_of(round_, machine)))
    if not any(s.readings for s in kept):
        raise SurveyError(Fault(field="readings", bound="none of them is one that the model can answer"))
    return models, kept, tuple(unused)


def _rows(readings: Iterable[Reading]) -> list[tuple[str, str]]:
    return [(r.stream, r.quantity) for r in readings]


def _why_unused(reading: Reading, value: float, aside: set[tuple[str, str]]) -> str:
    if (reading.stream, reading.quantity) in aside:
        return "set aside"
    if not np.isfinite(value):
        return "the model gives no such value"
    if value == 0.0:
        return "the model has no fibre there"
    return ""


def _as_run(round_: Round) -> Machine:
    """The machine with the dryer settings at which it would hold the reel dryness, to begin from."""
    machine, values = round_.machine, round_.network.result.values
    moved: dict[str, Any] = {}
    if machine.yankee is not None and machine.hood is not None:
        if machine.hold_reel_dryness_by == "hood temperature" and "hood.air_temperature" not in round_.settings:
            moved["hood.air_temperature"] = float(values["air_temperature"])
        if machine.hold_reel_dryness_by == "steam pressure" and "yankee.steam_pressure" not in round_.settings:
            moved["yankee.steam_pressure"] = float(values["steam_pressure"])
    for reading in round_.survey.readings:
        if (reading.stream, reading.quantity) == ("reel", "consistency"):
            moved["grade.reel_dryness"] = min(reading.value, 0.99)
        if (reading.stream, reading.quantity) == ("hood_air", "temperature"):
            moved["hood.air_temperature"] = reading.value
    limits = {name: None for name in ("hood.air_temperature_limit",) if "hood.air_temperature" in moved}
    return machine.with_({**moved, **limits}) if moved else machine


def _readings(kept: Sequence[Survey]) -> list[Reading]:
    return [r for s in kept for r in s.readings]


def everything_values(readings: Sequence[Reading]) -> Array:
    """The values of readings."""
    return np.array([r.value for r in readings])


def _covariance(kept: Sequence[Survey]) -> Array:
    """Of all readings of all rounds; groups of one name are shared between rounds too."""
    blocks = [
        [a.covariance() if i == j else cross_covariance(a, b) for j, b in enumerate(kept)] for i, a in enumerate(kept)
    ]
    return np.block(blocks)


def _start(joint: Joint, readings: Sequence[Reading], covariance: Array) -> Array:
    """Library values, but with the resistance that comes nearest, as it may lie far off."""
    start = np.zeros(len(joint.unknowns))
    place = next((i for i, c in enumerate(joint.constants) if _short(c) == "resistance_factor"), None)
    if place is None:
        return start
    unknown = joint.constants[place]
    trial = np.tile(start, (25, 1))
    trial[:, place] = unknown.unit(np.geomspace(max(0.3, 1.01 * unknown.low), 12.0, 25))
    trial[0] = start
    off = (joint.many(trial) - everything_values(readings)) / np.sqrt(np.diag(covariance))
    misfit = np.sum(np.clip(off, -30, 30) ** 2, axis=1)
    if not np.any(np.isfinite(misfit)):
        raise SurveyError(
            Fault(field="machine", bound="forms no sheet at any drainage resistance tried, so nothing can be fitted")
        )
    return np.asarray(trial[int(np.nanargmin(misfit))])


def _fit(joint: Joint, readings: Sequence[Reading], covariance: Array, start: Array) -> Fit:
    prior = np.array([1.0 if u.bound else np.inf for u in joint.unknowns])
    low = np.array([u.unit(u.low) for u in joint.unknowns])
    high = np.array([u.unit(u.high) for u in joint.unknowns])
    return fit(
        joint,
        everything_values(readings),
        covariance,
        np.clip(start, low + 1e-9, high - 1e-9),
        uncertainty_known=True,
        prior_mean=np.zeros(start.size),
        prior_uncertainty=prior,
        lower=low + STEP,
        upper=high - STEP,
    )


def _before(joint: Joint, readings: Sequence[Reading], covariance: Array) -> Fit:
    """The same readings with the constants as they came; only the settings of the rounds are fitted."""
    values = {c.address: np.float64(c.centre) for c in joint.constants}
    plain = Joint((), [(model.at(values), settings) for model, settings in joint.rounds])
    return _fit(plain, readings, covariance, np.zeros(len(plain.unknowns)))


# -- what can be told ----------------------------------------------------------------------------------------------


def _short(unknown: Unknown) -> str:
    return unknown.address.rpartition(".")[2]


def _information(joint: Joint, slopes: Array, covariance: Array) -> Array:
    """What readings and the priors of settings say; the constants' own priors are left out."""
    whitened = np.linalg.solve(np.linalg.cholesky(covariance), slopes)
    prior = [float(u.bound and i >= len(joint.constants)) for i, u in enumerate(joint.unknowns)]
    return np.asarray(whitened.T @ whitened + np.diag(prior), dtype=np.float64)


def _spread(information: Array, place: int) -> float:
    """Standard uncertainty of one unknown; inf where it lies in a direction nothing sees."""
    size, direction = np.linalg.eigh(information)
    blind = size < BLIND
    if np.any(np.abs(direction[place, blind]) > 1e-3):
        return float("inf")
    part = direction[place, ~blind]
    return float(np.sqrt(np.sum(part**2 / size[~blind])))


def _lenders_not_told(joint: Joint, slopes: Array, covariance: Array, rounds: Sequence[Round]) -> tuple[Unknown, ...]:
    """Constants on whose library value another leans, because the readings do not tell the two apart."""
    grammage = [float(r.machine.grade.reel_grammage) for r in rounds]
    step = max(grammage) / min(grammage) >= LEAST_GRAMMAGE_STEP
    information = _information(joint, slopes, covariance)
    held = []
    for i, constant in enumerate(joint.constants):
        name = _short(constant)
        if name in LENDERS and not (_spread(information, i) < TOLD and (step or name != "rewet")):
            held.append(constant)
    return tuple(held)


def _told(joint: Joint, slopes: Array, covariance: Array) -> dict[str, float]:
    """Address -> standard uncertainty of each constant by the readings alone, in units of its prior."""
    information = _information(joint, slopes, covariance)
    return {c.address: _spread(information, i) for i, c in enumerate(joint.constants)}


def _leaning(
    held: tuple[Unknown, ...],
    joint: Joint,
    models: Sequence[tuple[MachineModel, tuple[Unknown, ...]]],
    fitted: Fit,
    slopes: Array,
    covariance: Array,
) -> dict[str, tuple[tuple[str, float], ...]]:
    """Per constant that leans on a held one: how far it moves (in SI) with one standard uncertainty of that."""
    if not held:
        return {}
    wide = Joint([*joint.constants, *held], models)
    first = len(joint.constants)
    units = np.concatenate([fitted.value[:first], np.zeros(len(held)), fitted.value[first:]])
    new = wide.jacobian(units)[:, first : first + len(held)]
    inverse = np.linalg.inv(covariance)
    prior = np.diag([float(u.bound) for u in joint.unknowns])
    gain = -np.linalg.solve(slopes.T @ inverse @ slopes + prior, slopes.T @ inverse @ new)
    out: dict[str, tuple[tuple[str, float], ...]] = {}
    for j, lender in enumerate(held):
        for i, constant in enumerate(joint.constants):
            if LENDERS[_short(lender)] == _short(constant):
                value = float(constant.value(fitted.value[i]))
                moved = float(constant.value(fitted.value[i] + gain[i, j])) - value
                out[constant.address] = ((lender.address, moved),)
    return out


CANDIDATES: tuple[tuple[str, str, float, str], ...] = (
    ("end_of_forming", "position:share", 0.05, "the place where forming ends, to 5 %"),
    ("white_water", "consistency", 0.06, "the white-water consistency, to 6 %"),
    ("white_water", "share:fines", 0.06, "the share of fines in the white water, to 6 %"),
    ("jet", "share:fines", 0.06, "the share of fines in the headbox, to 6 %"),
    ("jet", "consistency", 0.025, "the headbox consistency, to 2.5 %"),
    ("web_formed", "consistency", 0.04, "the dryness leaving the former, to 4 %"),
    ("web_vacuum", "consistency", 0.04, "the dryness into the press, to 4 %"),
    ("web_pressed", "consistency", 0.03, "the dryness out of the press, to 3 %"),
    ("reel", "consistency", 0.003, "the dryness at the reel, to 0.3 points"),
    ("reel", "solids", 0.01, "the production at the reel, to 1 %"),
    ("steam", "flow", 0.02, "the steam flow of the Yankee, to 2 %"),
    ("gas", "power", 0.01, "the gas of the hood, to 1 %"),
    ("exhaust", "humidity", 0.04, "the humidity of the exhaust air, to 4 %"),
    ("shell", "temperature", 2.5, "the surface temperature of the shell, to 2.5 K"),
    ("hood_air", "temperature", 3.0, "the temperature of the hood air, to 3 K"),
)  # fmt: skip
"""Readings that could be added, with a usual standard uncertainty (a share below 1 K, else K; assumed)."""


def _not_told(constant: Unknown, joint: Joint, fitted: Fit, slopes: Array, covariance: Array, spread: float) -> NotTold:
    """Why not, and what reading would tell it best."""
    name = _short(constant)
    best = _best_reading(constant, joint, fitted, slopes, covariance) if constant in joint.unknowns else ""
    if spread < DIM:
        ratio = "as surely as" if spread < 1.5 else "less surely than"
        why = f"the readings fix it {ratio} the judgement it begins from, not more"
        return NotTold(unknown=constant, why=why, best=best)
    why = WHY[name]
    if name in LEVELS:
        both = {_short(c) for c in joint.constants} >= set(LEVELS)
        why = ONE_COMBINATION if both else "the readings of the dryer do not show it"
    return NotTold(unknown=constant, why=why, best=best)


def _best_reading(constant: Unknown, joint: Joint, fitted: Fit, slopes: Array, covariance: Array) -> str:
    """The reading that would tell it best, or the best two together where one is not enough."""
    place = joint.unknowns.index(constant)
    model, settings = joint.rounds[0]
    trial = Joint(joint.constants, [(model.of([(s, q) for s, q, _, _ in CANDIDATES]), settings)])
    units = fitted.value[: len(trial.unknowns)]
    values, new = trial.slopes(units[None, :])
    rows, said = [], []
    for i, (_, quantity, share, words) in enumerate(CANDIDATES):
        value = values[0, i]
        if not np.isfinite(value) or not np.all(np.isfinite(new[0, i])):
            continue
        u = share if quantity == "temperature" or share == 0.003 else share * abs(value)
        row = np.zeros(len(joint.unknowns))
        row[: units.size] = new[0, i] / u
        rows.append(np.outer(row, row))
        said.append(words)
    base = _information(joint, slopes, covariance)
    for size in (1, 2):
        found = [(_spread(base + sum(rows[i] for i in c), place), c) for c in combinations(range(len(rows)), size)]
        spread, best = min(found, default=(np.inf, ()))
        if spread < TOLD:
            return ", together with ".join(said[i] for i in best)
    return ""


def _fault(one: NotTold) -> Fault:
    remedy = f"Best to add: {one.best}." if one.best else ""
    return Fault(field=one.name, bound=f"cannot be told from these readings: {one.why}", remedy=remedy)


def _found(
    joint: Joint, fitted: Fit, told: dict[str, float], ends: dict[int, Ends], leaning: dict[str, Any]
) -> tuple[Found, ...]:
    return tuple(
        replace(_one(c, fitted, i, told[c.address], ends[i]), leans=leaning.get(c.address, ()))
        for i, c in enumerate(joint.constants)
        if i in ends
    )


def _one(unknown: Unknown, fitted: Fit, place: int, by_data: float, ends: Ends | None = None) -> Found:
    value = float(unknown.value(fitted.value[place]))
    u = unknown.si(float(fitted.standard_uncertainty[place]), value)
    low = float(unknown.value(ends.low)) if ends is not None and np.isfinite(ends.low) else -np.inf
    high = float(unknown.value(ends.high)) if ends is not None and np.isfinite(ends.high) else np.inf
    return Found(
        unknown=unknown, value=value, standard_uncertainty=u, low=low, high=high, by_data=unknown.si(by_data, value)
    )


def _checked(
    kept: Sequence[Survey], joint: Joint, fitted: Fit, slopes: Array, covariance: Array, before: Fit
) -> tuple[Checked, ...]:
    """Each reading by the machine as it came, as calibrated, and as the others have it."""
    rows = [(k, r) for k, s in enumerate(kept) for r in s.readings]
    read = everything_values([r for _, r in rows])
    after = read - fitted.residual
    inverse = np.linalg.inv(covariance)
    prior = np.diag([float(u.bound) for u in joint.unknowns])
    inner = np.linalg.pinv(slopes.T @ inverse @ slopes + prior, hermitian=True)
    precision = inverse - inverse @ slopes @ inner @ slopes.T @ inverse
    pull = inverse @ fitted.residual
    own = np.diag(precision)
    out = []
    for i, (k, reading) in enumerate(rows):
        lone = own[i] < 1e-9 / covariance[i, i]
        off = np.nan if lone else pull[i] / own[i]
        out.append(
            Checked(
                round=k,
                reading=reading,
                before=float(read[i] - before.residual[i]),
                after=float(after[i]),
                left_out=float(reading.value - off),
                left_out_score=float("nan") if lone else float(pull[i] / np.sqrt(own[i])),
            )
        )
    return tuple(out)


def _correlation(joint: Joint, fitted: Fit, names: Sequence[str]) -> dict[tuple[str, str], float]:
    places = [i for i, c in enumerate(joint.constants) if c.address in names]
    return {
        (_short(joint.constants[a]), _short(joint.constants[b])): float(fitted.correlation[a, b])
        for n, a in enumerate(places)
        for b in places[n + 1 :]
    }


# -- into the machine ----------------------------------------------------------------------------------------------

KEPT_SETTINGS = ("hood.make_up_temperature", "hood.heat_recovery", "hood.air_temperature")
"""Settings that are carried for their uncertainty and left in the machine as they were."""


def _applied(
    rounds: Sequence[Round], joint: Joint, fitted: Fit, found: tuple[Found, ...]
) -> tuple[Machine, tuple[tuple[Found, ...], ...]]:
    """The machine of the first round with what was found, and the settings of every round."""
    settings = []
    first = len(joint.constants)
    for _, unknowns in joint.rounds:
        settings.append(
            tuple(
                _one(u, fitted, first + k, np.inf)
                for k, u in enumerate(unknowns)
                if not u.bound and u.address not in KEPT_SETTINGS
            )
        )
        first += len(unknowns)
    stood = {s.unknown.address: (s.value, s.standard_uncertainty) for s in settings[0]}
    for reading in rounds[0].survey.readings:
        if (reading.stream, reading.quantity) == ("reel", "consistency"):
            stood["grade.reel_dryness"] = (min(reading.value, 0.99), reading.standard_uncertainty)
    stood |= {f.unknown.address: (f.value, f.standard_uncertainty) for f in found}
    machine = rounds[0].machine.with_({name: _tidy(value, u) for name, (value, u) in stood.items()})
    return _with_origin(machine, rounds, found, {name: u for name, (_, u) in stood.items()}), tuple(settings)


def _tidy(value: float, uncertainty: float) -> float:
    """A value to a hundredth of its uncertainty, as it goes into the file."""
    if not (np.isfinite(uncertainty) and uncertainty > 0.0 and value != 0.0):
        return value
    digits = int(np.clip(np.ceil(np.log10(abs(value) / uncertainty)), 0, 8)) + 3
    return float(f"{value:.{digits - 1}e}")


def _with_origin(
    machine: Machine, rounds: Sequence[Round], found: tuple[Found, ...], stood: dict[str, float]
) -> Machine:
    """Every value that the survey gave says so."""
    source = "; ".join(dict.fromkeys(r.name for r in rounds))
    where = ", ".join(dict.fromkeys(_file(r) for r in rounds))
    given = dict(machine.given)

    def mark(address: str, uncertainty: float, note: str) -> None:
        given[address] = replace(
            given[address], text="", status="measured", source=source, where=where, note=note, line=None,
            uncertainty=float(f"{uncertainty:.2e}"), changed=False,
        )  # fmt: skip

    for f in found:
        leans = "".join(f"; found with {lender} as it stands" for lender, _ in f.leans)
        carries = f"; {CARRIES[f.name]}" if f.name in CARRIES else ""
        mark(f.unknown.address, f.standard_uncertainty, f"calibrated{leans}{carries}")
    constants = {f.unknown.address for f in found}
    for address, uncertainty in stood.items():
        if address not in constants:
            mark(address, uncertainty, "as surveyed")
    return replace(machine, given=given)


def _file(round_: Round) -> str:
    return round_.survey.origin.name if round_.survey.origin is not None else "readings given"


def _notes(calibration: Calibration) -> list[Note]:
    notes = []
    for one in calibration.findings:
        if one is not None and not one.passed:
            text = "calibrated although its readings do not agree with each other: doubt every number below"
            notes.append(Note(part=one.round.name, level="limit", text=text))
        if one is None:
            text = "nothing in the round checks its readings: an error goes straight into the constants"
            notes.append(Note(part="survey", level="blind spot", text=text))
    for (a, b), r in calibration.correlation.items():
        if abs(r) > WEAK:
            notes.append(Note(part=f"{a} and {b}", level="blind spot", text=f"weakly told apart (correlation {r:.2f})"))
    for f in calibration.found:
        if not (np.isfinite(f.low) and np.isfinite(f.high)):
            notes.append(Note(part=f.name, level="blind spot", text="these data do not bound it on one side"))
    if calibration.degrees_of_freedom > 0 and calibration.probability < 0.01:
        text = (
            f"machine and readings still disagree after the fit (χ² {calibration.fit.chi_square:.3g} for "
            f"{calibration.degrees_of_freedom}): the model lacks something, or a reading is wrong"
        )
        notes.append(Note(part="fit", level="unusual", text=text))
    text = (
        "uncertainties are those of readings and judgement; that of the form of the model is not in them, and the file "
        "cannot hold the correlation of constants"
    )
    notes.append(Note(part="calibration", level="information", text=text))
    return notes
