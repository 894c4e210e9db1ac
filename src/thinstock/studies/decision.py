"""A rebuild as a decision: payback against dryness gained, what to have guaranteed, and what knowing is worth.

All of it comes from the same draws as the account. The worth is split into what follows the gain in dryness, and the
rest, which is kept draw by draw.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.formula.label import Array
from thinstock.studies.knowing import (
    gain_for,
    regressed,
    value_of_knowing,
    value_of_knowing_input,
    value_of_reading_normal,
)
from thinstock.studies.prices import Prices
from thinstock.studies.rebuild_money import Range, account, ranged

GAINS = tuple(0.5 * k for k in range(17))
"""Points of dryness at which the curve is told."""
YEARS, CASES = 5.0, 0.9
"""What is asked of a guarantee: paid back in so many years in so many cases (assumed; a usual way to ask)."""
TRIAL = 1.0
"""Standard uncertainty of the gain that a trial would tell, points (assumed)."""
MOST = 8
GAIN = "gain in dryness"


@dataclass(frozen=True, kw_only=True)
class Link:
    """What the rebuild does if the rewets of old and new press have so much in common."""

    correlation: float
    gain: Range
    """Points of dryness out of the press."""
    wetter: float
    """Share of the draws in which the sheet comes out wetter."""
    saving: Range
    net_present_value: Range
    payback: Range
    pays: float
    knowing_gain: float
    """What knowing the gain exactly is worth."""
    trial: float
    """What a trial that tells it to a point is worth."""


@dataclass(frozen=True, kw_only=True)
class CurvePoint:
    """At one gain: payback and present value over everything else."""

    gain: float
    payback: Range
    net_present_value: Range
    in_time: float
    """Share of the draws that are paid back in time."""
    pays: float


@dataclass(frozen=True, kw_only=True)
class Mover:
    """Present value with one thing at its 5 and its 95 % point, and what is tied to it moved along."""

    name: str
    low: float
    high: float
    knowing: float
    """What knowing it exactly is worth."""


@dataclass(frozen=True, kw_only=True)
class Decision:
    """Same tonnes, in the currency of the prices."""

    curve: tuple[CurvePoint, ...]
    guarantee: float
    """Points that pay back in time in nine cases of ten; infinite where none of those told does."""
    guarantee_worth: float
    """Points at which the present value is not below nothing in nine cases of ten."""
    years: float
    cases: float
    per_point: float
    """Yearly saving for a point of dryness."""
    movers: tuple[Mover, ...]
    knowing: float
    """What knowing everything is worth."""
    knowing_gain: float
    trial: float


def _points(before: Mapping[str, Any], after: Mapping[str, Any]) -> Array:
    return np.asarray(100.0 * (after["dryness_press"] - before["dryness_press"]))


def link_of(
    correlation: float, prices: Prices, money: Mapping[str, Any], before: Mapping[str, Any], same: Mapping[str, Any]
) -> Link:
    """One row of the table of links."""
    made = account(prices, money, before, same)
    gain, worth = _points(before, same), np.asarray(made["npv"])
    return Link(
        correlation=correlation,
        gain=ranged(np.median(gain), gain),
        wetter=float(np.mean(gain < 0.0)),
        saving=ranged(np.median(made["saving"]), made["saving"]),
        net_present_value=ranged(np.median(worth), worth),
        payback=ranged(np.median(made["payback"]), made["payback"]),
        pays=float(np.mean(worth > 0.0)),
        knowing_gain=value_of_knowing_input(worth, gain),
        trial=_trial(worth, gain),
    )


def _slope(worth: Array, gain: Array) -> tuple[float, float]:
    """Worth as a straight line of the gain: (at no gain, for a point)."""
    if not gain.std() > 1e-9:
        return float(worth.mean()), 0.0
    slope, start = np.polyfit(gain, worth, 1)
    return float(start), float(slope)


def _trial(worth: Array, gain: Array) -> float:
    _, slope = _slope(worth, gain)
    return float(value_of_reading_normal(float(worth.mean()), slope, float(gain.std()), TRIAL))


def decision(
    prices: Prices, money: Mapping[str, Any], sampled: Mapping[str, Mapping[str, Any]], scores: Mapping[str, Array]
) -> Decision:
    """Everything a board asks, for the same tonnes.

    `scores`: by name, what is uncertain, one number for each draw: inputs of the machines and prices.
    Source: DERIVED; STRONG_OAKLEY_BRENNAN_2014 for the value of one input. Status: derived.
    """
    before, same = sampled["before"], sampled["same"]
    made = account(prices, money, before, same)
    gain = _points(before, same)
    saving, worth, outlay = (np.asarray(made[name], dtype=float) for name in ("saving", "npv", "outlay"))
    at_none, per_point = _slope(saving, gain)
    worth_none, worth_point = _slope(worth, gain)
    rest, worth_rest = saving - at_none - per_point * gain, worth - worth_none - worth_point * gain
    curve = []
    for points in GAINS:
        here, value = at_none + per_point * points + rest, worth_none + worth_point * points + worth_rest
        with np.errstate(divide="ignore"):
            payback = np.where(here > 0.0, outlay / np.where(here > 0.0, here, 1.0), np.inf)
        curve.append(
            CurvePoint(
                gain=points, payback=ranged(np.median(payback), payback),
                net_present_value=ranged(np.median(value), value), in_time=float(np.mean(payback <= YEARS)),
                pays=float(np.mean(value >= 0.0)),
            )
        )  # fmt: skip
    things = {GAIN: gain, **scores}
    movers = sorted(
        (_mover(name, worth, column) for name, column in things.items()), key=lambda m: -abs(m.high - m.low)
    )
    return Decision(
        curve=tuple(curve),
        guarantee=gain_for(GAINS, [one.in_time for one in curve], CASES),
        guarantee_worth=gain_for(GAINS, [one.pays for one in curve], CASES),
        years=YEARS,
        cases=CASES,
        per_point=per_point,
        movers=tuple(movers[:MOST]),
        knowing=value_of_knowing(worth),
        knowing_gain=value_of_knowing_input(worth, gain),
        trial=_trial(worth, gain),
    )


def _mover(name: str, worth: Array, column: Any) -> Mover:
    values = np.asarray(column, dtype=float)
    if not values.std() > 1e-12 * max(1.0, float(np.abs(values).max())):
        return Mover(name=name, low=float(worth.mean()), high=float(worth.mean()), knowing=0.0)
    said = regressed(worth, values[:, None], 3)
    order = np.argsort(values)
    low, high = (float(said[order[int(p * (values.size - 1))]]) for p in (0.05, 0.95))
    return Mover(name=name, low=low, high=high, knowing=max(0.0, value_of_knowing(said)))
