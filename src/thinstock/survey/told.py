"""Which constants of a machine readings can tell apart, which lean on another, and what reading would tell the rest."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.label import Array
from thinstock.relations.pressing_fit import LEAST_GRAMMAGE_STEP
from thinstock.relations.yankee import ONE_COMBINATION
from thinstock.survey.calibrated import NotTold
from thinstock.survey.calibration import Fit
from thinstock.survey.joint import Joint
from thinstock.survey.machine_constants import LENDERS, Unknown
from thinstock.survey.machine_model import MachineModel
from thinstock.survey.round import Round
from thinstock.words.phrase import phrase

TOLD = 1.0
"""A constant is told where the readings alone fix it at least as well as the judgement it began from."""
DIM = 4.0
"""Up to so many times the judgement's uncertainty, readings say something of a constant, if not enough."""
BLIND = 1e-6
"""Information below this (in units of the prior's) is none."""
LEVELS = ("contact_level", "hood_factor")


def short(unknown: Unknown) -> str:
    return unknown.address.rpartition(".")[2]


def information(joint: Joint, slopes: Array, covariance: Array) -> Array:
    """What readings and the priors of settings say; the constants' own priors are left out."""
    whitened = np.linalg.solve(np.linalg.cholesky(covariance), slopes)
    prior = [float(u.bound and i >= len(joint.constants)) for i, u in enumerate(joint.unknowns)]
    return np.asarray(whitened.T @ whitened + np.diag(prior), dtype=np.float64)


def spread_of(information: Array, place: int) -> float:
    """Standard uncertainty of one unknown; inf where it lies in a direction nothing sees."""
    size, direction = np.linalg.eigh(information)
    blind = size < BLIND
    if np.any(np.abs(direction[place, blind]) > 1e-3):
        return float("inf")
    part = direction[place, ~blind]
    return float(np.sqrt(np.sum(part**2 / size[~blind])))


def lenders_not_told(joint: Joint, slopes: Array, covariance: Array, rounds: Sequence[Round]) -> tuple[Unknown, ...]:
    """Constants on whose library value another leans, because the readings do not tell the two apart."""
    grammage = [float(r.machine.grade.reel_grammage) for r in rounds]
    step = max(grammage) / min(grammage) >= LEAST_GRAMMAGE_STEP
    seen = information(joint, slopes, covariance)
    held = []
    for i, constant in enumerate(joint.constants):
        name = short(constant)
        if name in LENDERS and not (spread_of(seen, i) < TOLD and (step or name != "rewet")):
            held.append(constant)
    return tuple(held)


def told_by_readings(joint: Joint, slopes: Array, covariance: Array) -> dict[str, float]:
    """Address -> standard uncertainty of each constant by the readings alone, in units of its prior."""
    seen = information(joint, slopes, covariance)
    return {c.address: spread_of(seen, i) for i, c in enumerate(joint.constants)}


def leaning(
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
            if LENDERS[short(lender)] == short(constant):
                value = float(constant.value(fitted.value[i]))
                moved = float(constant.value(fitted.value[i] + gain[i, j])) - value
                out[constant.address] = ((lender.address, moved),)
    return out


CANDIDATES: tuple[tuple[str, str, float, str], ...] = (
    ("end_of_forming", "position:share", 0.05, phrase("survey.told.place_where_forming_ends_to")),
    ("white_water", "consistency", 0.06, phrase("survey.told.white_water_consistency_to")),
    ("white_water", "share:fines", 0.06, phrase("survey.told.share_fines_in_white_water")),
    ("jet", "share:fines", 0.06, phrase("survey.told.share_fines_in_headbox_to")),
    ("jet", "consistency", 0.025, phrase("survey.told.headbox_consistency_to")),
    ("web_formed", "consistency", 0.04, phrase("survey.told.dryness_leaving_former_to")),
    ("web_vacuum", "consistency", 0.04, phrase("survey.told.dryness_into_press_to")),
    ("web_pressed", "consistency", 0.03, phrase("survey.told.dryness_out_press_to")),
    ("reel", "consistency", 0.003, phrase("survey.told.dryness_at_reel_to_points")),
    ("reel", "solids", 0.01, phrase("survey.told.production_at_reel_to")),
    ("steam", "flow", 0.02, phrase("survey.told.steam_flow_yankee_to")),
    ("gas", "power", 0.01, phrase("survey.told.gas_hood_to")),
    ("exhaust", "humidity", 0.04, phrase("survey.told.humidity_exhaust_air_to")),
    ("shell", "temperature", 2.5, phrase("survey.told.surface_temperature_shell_to_k")),
    ("hood_air", "temperature", 3.0, phrase("survey.told.temperature_hood_air_to_k")),
)  # fmt: skip
"""Readings that could be added, with a usual standard uncertainty (a share below 1 K, else K; assumed)."""


def not_told_yet(
    constant: Unknown, joint: Joint, fitted: Fit, slopes: Array, covariance: Array, spread: float
) -> NotTold:
    """Why not, and what reading would tell it best."""
    name = short(constant)
    best = _best_reading(constant, joint, fitted, slopes, covariance) if constant in joint.unknowns else ""
    if spread < DIM:
        why = phrase("remarks.as_surely") if spread < 1.5 else phrase("remarks.less_surely")
        return NotTold(unknown=constant, why=why, best=best)
    why = phrase(f"remarks.why.{name}")
    if name in LEVELS:
        both = {short(c) for c in joint.constants} >= set(LEVELS)
        why = ONE_COMBINATION if both else phrase("remarks.not_shown")
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
    base = information(joint, slopes, covariance)
    for size in (1, 2):
        found = [(spread_of(base + sum(rows[i] for i in c), place), c) for c in combinations(range(len(rows)), size)]
        spread, best = min(found, default=(np.inf, ()))
        if spread < TOLD:
            return phrase("remarks.together").join(said[i] for i in best)
    return ""


def fault_of(one: NotTold) -> Fault:
    remedy = phrase("survey.told.best_to_add", best=one.best) if one.best else ""
    return Fault(field=one.name, bound=phrase("survey.told.cannot_be_told_from_these", why=one.why), remedy=remedy)
