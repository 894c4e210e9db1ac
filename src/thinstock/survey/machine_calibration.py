"""Constants of a machine from its surveys: fitted with the settings of each round, told apart where the data allow it.

The model is the machine itself, run over all small changes at once. What the readings cannot separate is named, with
the reading that would. A symmetric plus-minus misleads on a badly known constant: each has its profile beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from thinstock.errors import Fault, Refused
from thinstock.formula.label import Array
from thinstock.machine.line import Machine
from thinstock.survey.calibrated import Calibration, Checked, Found
from thinstock.survey.calibration import Fit, fit
from thinstock.survey.change import cross_covariance
from thinstock.survey.faults import NothingToCheck, SurveyError, nearest
from thinstock.survey.findings import Findings, findings_of
from thinstock.survey.joint import STEP, Joint
from thinstock.survey.machine_constants import CARRIES, Unknown, constants_of, settings_of
from thinstock.survey.machine_model import MachineModel
from thinstock.survey.posterior import Tell
from thinstock.survey.profiles import Ends, profile_ends
from thinstock.survey.round import Round
from thinstock.survey.surer import by_draws
from thinstock.survey.table import Reading, Survey
from thinstock.survey.told import (
    TOLD,
    fault_of,
    leaning,
    lenders_not_told,
    not_told_yet,
    short,
    told_by_readings,
)  # fmt: skip
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

SHARE = 0.95
LEVELS = ("yankee.contact_level", "hood.hood_factor")
EVENNESS = "yankee.uneven_variance"
"""What the levels stand on, kept beside them."""


# -- the way through -----------------------------------------------------------------------------------------------


def calibrate(
    rounds: Sequence[Round],
    *,
    wanted: Iterable[str] = (),
    without: Iterable[str] = (),
    despite_failed_test: bool = False,
    profiles: bool = True,
    draws: int = 0,
    tell: Tell | None = None,
) -> Calibration:
    """Fit the constants of the machine to one or more rounds of readings.

    Parameters
    ----------
    rounds : sequence of Round
        As `thinstock.read_round` gives them, of one machine.
    wanted : iterable of str
        Constants to fit; all where none is named.
    without : iterable of str
        Readings to set aside.
    despite_failed_test : bool
        Go on with a round that fails its global test.
    profiles : bool
        Without them every interval is left open.
    draws : int
        Draws of all inputs together, from which constants and intervals are then taken, and which the calibration
        keeps as its evidence; none without.
    tell : callable, optional
        Is told (share done, words) while the draws are made.

    Returns
    -------
    Calibration
        Values and standard uncertainties in base SI, what the readings cannot tell, and the machine with what was
        found.

    Raises
    ------
    Refused
        A wanted constant that the readings cannot tell, or a round that fails its global test, unless told to go on.

    Source: BATES_WATTS_1988, DERIVED. Status: from memory (least squares with priors on the machine's own model).
    """
    aside = tuple(without)
    findings = tuple(_findings(r, aside) for r in rounds)
    if not despite_failed_test:
        _refuse_failed(findings)
    constants = _chosen(rounds[0].machine, asked := tuple(wanted))
    models, kept, unused = _models(rounds, findings)
    readings, covariance = _readings(kept), _covariance(kept)
    whole = Joint(constants, models)
    fitted = _fit(whole, readings, covariance, _start(whole, readings, covariance))
    slopes = whole.jacobian(fitted.value)
    held = lenders_not_told(whole, slopes, covariance, rounds)
    joint = Joint([c for c in constants if c not in held], models)
    if held:
        keep = [i for i, u in enumerate(whole.unknowns) if u not in held]
        fitted = _fit(joint, readings, covariance, fitted.value[keep])
        slopes = joint.jacobian(fitted.value)
    told = told_by_readings(joint, slopes, covariance)
    not_told = tuple(
        not_told_yet(c, joint, fitted, slopes, covariance, told.get(c.address, np.inf))
        for c in constants
        if not told.get(c.address, np.inf) < TOLD
    )
    if asked and not_told:
        raise SurveyError(fault_of(n) for n in not_told)
    places = [i for i, c in enumerate(joint.constants) if told[c.address] < TOLD]
    ends = {i: Ends(-np.inf, np.inf) for i in places}
    if profiles and not draws:
        ends = profile_ends(joint, everything_values(readings), covariance, fitted, places, share=SHARE)
    found = _found(joint, fitted, told, ends, leaning(held, joint, models, fitted, slopes, covariance))
    before = _before(joint, readings, covariance)
    machine, settings = _applied(rounds, joint, fitted, found)
    made = Calibration(
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
    return by_draws(made, [m for m, _ in models], kept, covariance, draws=draws, tell=tell) if draws else made


def _findings(round_: Round, aside: tuple[str, ...]) -> Findings | None:
    inside = round_.network.network.streams
    if not any(r.stream in inside for r in round_.survey.readings):
        return None
    try:
        return findings_of(round_, without=aside)
    except NothingToCheck:
        return None


def _refuse_failed(findings: tuple[Findings | None, ...]) -> None:
    faults = []
    for one in findings:
        if one is None or one.passed:
            continue
        doubt = "; ".join(
            " and ".join(" ".join(one.rows[i].key) for i in members)
            for members in (one.doubts[0].sets if one.doubts else ())
        )
        remedy = (
            phrase("survey.machine_calibration.set_aside_what_wrong_without", split=doubt.split("; ")[0])
            if doubt
            else ""
        )
        faults.append(
            fault_in(
                "survey.machine_calibration.its_readings_do_not_agree",
                one.round.name,
                phrase(
                    "survey.machine_calibration.chi_square_for",
                    statistic=f"{one.reconciliation.result.statistic:.3g}",
                    degrees_of_freedom=one.reconciliation.result.degrees_of_freedom,
                ),
                remedy=remedy,
                the_value=doubt or "no single set",
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
        match = [c for c in known if text.strip() in (c.address, short(c), c.label)]
        if not match:
            names = [short(c) for c in known]
            remedy = nearest(text.strip(), names) or f"Known: {', '.join(names)}."
            faults.append(
                Fault(
                    field="--fit",
                    value=text,
                    bound=phrase("survey.machine_calibration.no_constant_calibration"),
                    remedy=remedy,
                )
            )
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
        raise SurveyError(fault_in("survey.machine_calibration.readings", "readings"))
    return models, kept, tuple(unused)


def _rows(readings: Iterable[Reading]) -> list[tuple[str, str]]:
    return [(r.stream, r.quantity) for r in readings]


def _why_unused(reading: Reading, value: float, aside: set[tuple[str, str]]) -> str:
    if (reading.stream, reading.quantity) in aside:
        return phrase("remarks.set_aside")
    if not np.isfinite(value):
        return phrase("remarks.no_value")
    if value == 0.0:
        return phrase("remarks.no_fibre")
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
    place = next((i for i, c in enumerate(joint.constants) if short(c) == "resistance_factor"), None)
    if place is None:
        return start
    unknown = joint.constants[place]
    trial = np.tile(start, (25, 1))
    trial[:, place] = unknown.unit(np.geomspace(max(0.3, 1.01 * unknown.low), 12.0, 25))
    trial[0] = start
    off = (joint.many(trial) - everything_values(readings)) / np.sqrt(np.diag(covariance))
    misfit = np.sum(np.clip(off, -30, 30) ** 2, axis=1)
    if not np.any(np.isfinite(misfit)):
        raise SurveyError(fault_in("survey.machine_calibration.machine", "machine"))
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


# -- what was found ------------------------------------------------------------------------------------------------


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
        (short(joint.constants[a]), short(joint.constants[b])): float(fitted.correlation[a, b])
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
    if any(f.unknown.address in LEVELS for f in found):
        machine = _with_evenness(machine)
    return _with_origin(machine, rounds, found, {name: u for name, (_, u) in stood.items()}), tuple(settings)


def _with_evenness(machine: Machine) -> Machine:
    """The machine with the unevenness that its dryer's levels stand on, where it runs."""
    try:
        dried = machine.run(fast=True)
    except Refused:
        return machine
    return machine.with_({EVENNESS: float(f"{float(dried['drying_cv']) ** 2:.4g}")})


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

    if EVENNESS in given and machine.get(EVENNESS) is not None:
        given[EVENNESS] = replace(
            given[EVENNESS], text="", status="derived", source=source, note=phrase("survey.calibration.evenness"),
            line=None, changed=False,
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
