"""The money of a rebuild, over cases: yearly saving line by line, present value, rate of return, paybacks, break-even.

Takes production and energy per product of the machines as they were run; runs none. Saved is what a tonne takes less,
times all tonnes; a tonne more counts at the energy a tonne takes now.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.relations import economics
from thinstock.studies.intervals import SHARE, central_interval
from thinstock.studies.prices import Prices
from thinstock.words.phrase import phrase

KINDS = ("electricity", "gas", "steam")


@dataclass(frozen=True, kw_only=True)
class Range:
    """A number at the likeliest inputs, the middle of its draws, and the ends of their central 90 %."""

    value: float
    median: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class Line:
    """One part of the yearly saving."""

    name: str
    amount: Range
    """Saved in a year: J, kg, or kg of product more; money for other costs."""
    money: Range
    unit: str


@dataclass(frozen=True, kw_only=True)
class Way:
    """One way to use the rebuild, with its money."""

    name: str
    said: str
    speed: Range
    tonnes: Range
    """Product in a year, kg."""
    lines: tuple[Line, ...]
    carbon: Range
    """Carbon dioxide saved in a year, kg; negative is more."""
    outlay: Range
    """Investment and the stop, at the start."""
    yearly_saving: Range
    net_present_value: Range
    rates_of_return: tuple[float, ...]
    rate_of_return: Range
    payback: Range
    payback_discounted: Range
    break_even: Mapping[str, float]
    """By name, the price (SI) at which the rebuild neither gains nor loses, all else as it stands."""
    pays: float
    """Share of the draws with a present value above zero."""


def ranged(nominal: Any, sample: Any) -> Range:
    """The number at the likeliest inputs, with the middle of its draws and their ends."""
    known = np.asarray(sample, dtype=float)
    known = known[~np.isnan(known)]
    low, middle, high = central_interval(known, SHARE) if known.size else (np.nan,) * 3
    return Range(value=float(np.asarray(nominal).ravel()[0]), median=middle, low=low, high=high)


def ways_of(
    prices: Prices,
    amounts: Mapping[str, Any],
    nominal: Mapping[str, Any],
    drawn: Mapping[str, Any],
    sampled: Mapping[str, Any],
    prefix: str,
) -> tuple[Way, ...]:
    """Same tonnes, then more speed; `prefix` picks the runs with the rewet of the machine before."""
    made = []
    for name, which, said in (
        ("same tonnes", "same", phrase("studies.rebuild_money.market_takes_no_more_paper")),
        ("more speed", "speed", phrase("studies.rebuild_money.dryer_held_machine_back_speed")),
    ):
        one, many = (
            account(prices, p, r["before"], r[prefix + which]) for p, r in ((amounts, nominal), (drawn, sampled))
        )
        made.append(_way(name, said, prices, one, many))
    return tuple(made)


def account(prices: Prices, price: Mapping[str, Any], before: Any, after: Any) -> dict[str, Any]:
    """All money of one way, over cases.

    Each line counts what a tonne takes less, times all tonnes; a tonne more brings its contribution at the energy a
    tonne takes now. Together that is the profit after less the profit before, and nothing twice.
    """
    hours = price["run.hours"]
    old, new = before["production"] * hours, after["production"] * hours
    more = new - old
    same = np.abs(after["speed"] / before["speed"] - 1) < 1e-12
    new = np.where(same, old, new)
    more = np.where(same, 0.0, more)
    lines: dict[str, tuple[Any, Any, str]] = {}
    carbon: Any = np.zeros_like(old)
    for kind in KINDS:
        saved = new * (before[f"{kind}_per_product"] - after[f"{kind}_per_product"])
        lines[kind] = (saved, saved * price.get(f"price.{kind}", 0.0), "J")
        carbon = carbon + economics.carbon_saved(saved, price.get(f"emission.{kind}", 0.0))
    water = new * (before["fresh_water_per_product"] - after["fresh_water_per_product"])
    lines["fresh water"] = (water, water * price.get("price.fresh_water", 0.0), "kg")
    lines["carbon dioxide"] = (carbon, carbon * price.get("price.co2", 0.0), "kg")
    contribution = price.get("rebuild.contribution", np.nan)
    lines["tonnes more"] = (more, np.where(more == 0, 0.0, more * contribution), "kg")
    for name in prices.yearly:
        cost = price[f"yearly.{name}"]
        lines[name] = (-cost, -cost, "money")
    saving: Any = sum(money for _, money, _ in lines.values())
    lost = before["production"] * price.get("rebuild.stop", 0.0)
    outlay = price["rebuild.investment"] + lost * np.nan_to_num(contribution)
    return {
        "lines": lines,
        "carbon": carbon - more * _carbon_per_product(price, before),
        "saving": saving,
        "outlay": outlay,
        "tonnes": new,
        "speed": after["speed"],
        "lost": lost,
        **_worth(outlay, saving, price["rebuild.rate"], prices.years),
    }


def _carbon_per_product(price: Mapping[str, Any], before: Any) -> Any:
    """Carbon dioxide of a kilogram of product as it is made now."""
    return sum(before[f"{kind}_per_product"] * price.get(f"emission.{kind}", 0.0) for kind in KINDS)


def _worth(outlay: Any, saving: Any, rate: Any, years: int) -> dict[str, Any]:
    flows = np.concatenate([-outlay[:, None], np.repeat(saving[:, None], years, axis=1)], axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        pays = saving > 0
        simple = np.where(pays, economics.payback_simple(outlay, saving), np.inf)
        discounted = np.where(pays, economics.payback_discounted(outlay, np.where(pays, saving, 1.0), rate), np.inf)
    return {
        "npv": economics.net_present_value(rate, flows),
        "rate": _rates(outlay, saving, years),
        "payback": simple,
        "discounted": discounted,
        "flows": flows,
    }


def _rates(outlay: Any, saving: Any, years: int) -> Any:
    """Internal rate of return of equal savings, over cases; -inf where the savings never pay the outlay back."""
    low, high = np.full(outlay.shape, -0.9999), np.full(outlay.shape, 1.0)
    for _ in range(30):
        high = np.where(economics.annuity_factor(high, years) * saving > outlay, 2 * high, high)
    for _ in range(80):
        middle = 0.5 * (low + high)
        above = economics.annuity_factor(middle, years) * saving > outlay
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return np.where(saving > 0, 0.5 * (low + high), -np.inf)


def _way(name: str, said: str, prices: Prices, one: Mapping[str, Any], many: Mapping[str, Any]) -> Way:
    lines = tuple(
        Line(name=what, amount=ranged(amount, many["lines"][what][0]), money=ranged(money, many["lines"][what][1]),
             unit=unit)
        for what, (amount, money, unit) in one["lines"].items()
    )  # fmt: skip
    rates = economics.internal_rates_of_return(one["flows"][0]) if np.all(np.isfinite(one["flows"])) else ()
    return Way(
        name=name,
        said=said,
        speed=ranged(one["speed"], many["speed"]),
        tonnes=ranged(one["tonnes"], many["tonnes"]),
        lines=lines,
        carbon=ranged(one["carbon"], many["carbon"]),
        outlay=ranged(one["outlay"], many["outlay"]),
        yearly_saving=ranged(one["saving"], many["saving"]),
        net_present_value=ranged(one["npv"], many["npv"]),
        rates_of_return=tuple(float(r) for r in rates),
        rate_of_return=ranged(one["rate"], many["rate"]),
        payback=ranged(one["payback"], many["payback"]),
        payback_discounted=ranged(one["discounted"], many["discounted"]),
        break_even=_break_even(prices, one),
        pays=float(np.mean(many["npv"] > 0)),
    )


def _break_even(prices: Prices, one: Mapping[str, Any]) -> dict[str, float]:
    """Each price at which the present value is nothing, the others as they stand."""
    rate, years = prices.rate.value, prices.years
    investment, saving = float(one["outlay"][0]), float(one["saving"][0])
    found = {}
    for kind in KINDS:
        amount, money, _ = (float(np.ravel(v)[0]) if not isinstance(v, str) else 0.0 for v in one["lines"][kind])
        if prices.get(f"price.{kind}") is not None and abs(amount) > 0:
            found[f"price.{kind}"] = float(economics.break_even_price(investment, rate, years, amount, saving - money))
    more, money, _ = one["lines"]["tonnes more"]
    given = prices.get("rebuild.contribution")
    if given is not None and float(more[0]) > 0:
        annuity = float(economics.annuity_factor(rate, years))
        amount = float(more[0]) - float(one["lost"][0]) / annuity
        if amount > 0:
            plain = investment - float(one["lost"][0]) * given.value
            found["rebuild.contribution"] = float(
                economics.break_even_price(plain, rate, years, amount, saving - float(money[0]))
            )
    found["rebuild.investment"] = saving * float(economics.annuity_factor(rate, years)) - (
        investment - float(prices.amounts["rebuild.investment"].value)
    )
    return found
