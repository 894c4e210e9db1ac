"""What a rebuild gains in money: two machines at equal reel dryness, a prices file, and a range for every number.

A drier sheet gives either heat at the same tonnes or speed at the same drying. Both are reckoned, never added. Ranges
come from the uncertain inputs (what the machines share is drawn once and cancels) and from the ranges of the prices.
No tax, subsidy or market is known here, and the uncertainty of the models' form is not in the ranges.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.errors import Fault, Refused
from thinstock.evidence.apply import beside, columns, population
from thinstock.evidence.cases import Cases, held_speeds, run_cases
from thinstock.evidence.links import groups_of, link_correlation, rewet_addresses
from thinstock.evidence.population import Population, stream
from thinstock.machine.limits import limits
from thinstock.machine.line import Machine
from thinstock.relations import economics
from thinstock.studies.decision import Decision, Link, decision, link_of
from thinstock.studies.intervals import SHARE
from thinstock.studies.prices import OWN, Amount, Prices
from thinstock.studies.rebuild_money import KINDS, Line, Range, Way, account, ranged, ways_of
from thinstock.words import address
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Q, show

RESULTS = (
    "speed",
    "production",
    "steam_per_product",
    "gas_per_product",
    "electricity_per_product",
    "fresh_water_per_product",
    "dryness_press",
    "evaporation",
    "air_temperature",
    "steam_pressure",
)
__all__ = ["EITHER", "Factor", "Line", "Range", "Rebuild", "Way", "rebuild"]

EITHER = phrase("studies.rebuild.either_energy_at_same_tonnes")
FEWEST = 100


@dataclass(frozen=True, kw_only=True)
class Factor:
    """One amount that went in, and where it comes from."""

    name: str
    text: str
    low: float | None
    high: float | None
    source: str


@dataclass(frozen=True, kw_only=True)
class Rebuild:
    """The whole account."""

    before: str
    after: str
    prices: Prices
    dryness_before: Range
    dryness_after: Range
    ways: tuple[Way, ...]
    """Same tonnes, then more speed."""
    without_assumed: tuple[Way, ...]
    """The same two if the assumed difference in rewet between the presses is nothing; empty where there is none."""
    rewet: tuple[float, float]
    speed_by_water: float
    """Gain of speed at the same evaporation, by the water alone."""
    heat_per_water: float
    """Steam and gas saved per kilogram of water no longer evaporated, from the two runs, J/kg."""
    held_speed: str
    """What holds the speed of the second way."""
    factors: tuple[Factor, ...]
    not_counted: tuple[str, ...]
    draws: int
    set_aside: Mapping[str, int]
    seed: int
    origin: str
    """Of the population the draws are from."""
    said: tuple[str, ...]
    """What is to be known of it."""
    failing: float
    """Share of the draws in which the new machine does not reach its dryness: they count with the speed it can hold."""
    links: tuple[Link, ...]
    """Gain and money by how much the rewets of old and new press have in common."""
    decision: Decision
    """Payback against dryness gained, what to have guaranteed, what moves the worth, what knowing is worth."""

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader must know."""
        return _notes(self)


def rebuild(before: Machine, after: Machine, prices: Prices, *, draws: int = 2000, seed: int = 1) -> Rebuild:
    """The account of replacing `before` by `after` at the prices given."""
    if draws < FEWEST:
        raise Refused(fault_in("studies.rebuild.draws", "draws", str(draws), fewest=FEWEST))
    _same_product(before, after)
    before, after = _holding(before, "before"), _holding(after, "after")
    cap, held_by = _cap(after)
    rewets = _rewets(before, after)
    nominal = _runs(before, after, cap, rewets, {}, {}, fast=False)
    _must_run(nominal)
    amounts = {name: np.full(1, one.value) for name, one in _amounts(prices).items()}
    _must_be_priced(prices, nominal)
    drawn = _population(before, draws, seed)
    drawn_prices = _prices_drawn(prices, drawn.draws, seed)
    sampled, aside, failing = _sampled(before, after, drawn, cap, rewets)
    good = aside.pop("rows")
    drawn_prices = {name: values[good] for name, values in drawn_prices.items()}
    ways = ways_of(prices, amounts, nominal, drawn_prices, sampled, "")
    spare = ways_of(prices, amounts, nominal, drawn_prices, sampled, "plain ") if rewets else ()
    one, two = nominal["before"], nominal["same"]
    dryness = {
        which: ranged(nominal[which]["dryness_press"], sampled[which]["dryness_press"]) for which in ("before", "same")
    }
    reel = float(before.grade.reel_dryness)
    water = economics.evaporation_saved_press_dryness(dryness["before"].value, dryness["same"].value, reel)
    heat = sum(float(one[n][0] - two[n][0]) for n in ("steam_per_product", "gas_per_product"))
    fast = nominal["speed"]["speed"][0]
    linked = _links(before, after, drawn, sampled, drawn_prices, prices, good)
    scores = {**drawn_prices, **dict(zip(drawn.addresses, drawn.scores[good].T, strict=True))}
    return Rebuild(
        before=before.title,
        after=after.title,
        prices=prices,
        dryness_before=dryness["before"],
        dryness_after=dryness["same"],
        ways=ways,
        without_assumed=spare,
        rewet=(float(before.press.nip[-1].rewet), float(after.press.nip[-1].rewet)),
        speed_by_water=float(economics.speed_gain_dryer_limited(dryness["before"].value, dryness["same"].value, reel)),
        heat_per_water=heat / float(water) if abs(water) > 1e-9 else float("nan"),
        held_speed=held_by if fast >= cap * (1 - 1e-6) else phrase("studies.rebuild.drying_with_hood_air_steam"),
        factors=_factors(prices),
        not_counted=_not_counted(prices, nominal),
        draws=drawn.draws,
        set_aside=aside,
        seed=seed,
        origin=drawn.origin,
        said=tuple(note.text for note in drawn.notes),
        failing=failing,
        links=linked,
        decision=decision(prices, drawn_prices, sampled, scores),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Sampled:
    """A rebuild draw by draw, same tonnes."""

    drawn: Population
    rows: Any
    """Draws that count, by their number in `drawn`."""
    gain: Any
    """Points of dryness out of the press."""
    saving: Any
    """In a year, money."""
    worth: Any
    """Present value, money."""
    outlay: Any
    payback: Any
    """Years; infinite where it never pays."""


def sampled_rebuild(before: Machine, after: Machine, prices: Prices, *, draws: int = 2000, seed: int = 1) -> Sampled:
    """What replacing `before` by `after` brings in every draw, for the same tonnes; the same draws as `rebuild`."""
    _same_product(before, after)
    before, after = _holding(before, "before"), _holding(after, "after")
    rewets = _rewets(before, after)
    drawn = _population(before, draws, seed)
    sampled, aside, _ = _sampled(before, after, drawn, _cap(after)[0], rewets)
    rows = aside["rows"]
    price = {name: values[rows] for name, values in _prices_drawn(prices, drawn.draws, seed).items()}
    one, two = sampled["before"], sampled["same"]
    money = account(prices, price, one, two)
    return Sampled(
        drawn=drawn, rows=rows, gain=100.0 * (two["dryness_press"] - one["dryness_press"]), saving=money["saving"],
        worth=money["npv"], outlay=money["outlay"], payback=money["payback"],
    )  # fmt: skip


# -- the machines ------------------------------------------------------------------------------------------------------


def _same_product(before: Machine, after: Machine) -> None:
    """Both must make the same paper."""
    faults = [
        fault_in(
            "studies.rebuild.must_be_that_machine_before",
            f"grade.{name}",
            _said(after, name),
            getattr=_said(before, name),
        )
        for name in ("reel_grammage", "reel_dryness")
        if abs(getattr(after.grade, name) / getattr(before.grade, name) - 1) > 1e-9
    ]
    if (before.yankee is None) != (after.yankee is None):
        faults.append(fault_in("studies.rebuild.yankee", "yankee"))
    if faults:
        raise Refused(faults)


def _said(machine: Machine, name: str) -> str:
    about = machine.declaration(f"grade.{name}").about
    return show(float(getattr(machine.grade, name)), about) if isinstance(about, Q) else ""


def _holding(machine: Machine, which: str) -> Machine:
    """A machine that holds its reel dryness, so that both are compared at equal dryness."""
    if machine.yankee is not None and machine.hold_reel_dryness_by == "nothing":
        raise Refused(
            fault_in("studies.rebuild.hold_reel_dryness_by", "hold_reel_dryness_by", f"nothing ({which})")
        )  # fmt: skip
    if which == "after" and machine.hold_reel_dryness_by == "speed":
        return dataclasses.replace(machine, hold_reel_dryness_by="hood temperature")
    return machine


def _cap(after: Machine) -> tuple[float, str]:
    """The highest speed of the machine after by its limits other than drying, and which limit that is."""
    rows = [r for r in limits(after) if r.scope == "highest" and r.id != "drying" and r.speed is not None]
    lowest = min(rows, key=lambda r: r.speed or 0.0, default=None)
    if lowest is None or lowest.speed is None:
        return 50.0, phrase("studies.rebuild.nothing_below_m_min")
    return float(lowest.speed), lowest.part


def _rewets(before: Machine, after: Machine) -> dict[str, str]:
    """Nips whose rewet differs, address after -> address before; matched from the Yankee backwards."""
    found = {}
    names = [address.item_names(m.press.nip) for m in (before, after)]
    for old, new, name_old, name_new in zip(
        reversed(before.press.nip), reversed(after.press.nip), reversed(names[0]), reversed(names[1]), strict=False
    ):
        if float(old.rewet) != float(new.rewet):
            found[f"press.nip.{name_new}.rewet"] = f"press.nip.{name_old}.rewet"
    return found


def _runs(
    before: Machine,
    after: Machine,
    cap: float,
    rewets: Mapping[str, str],
    on_before: Mapping[str, Any],
    on_after: Mapping[str, Any],
    *,
    fast: bool,
    base: Cases | None = None,
) -> dict[str, Cases]:
    """Before; after at the same speed; after at the same drying; and the last two with the rewet of before.

    Of draws, only those in which the machine before runs as it does.
    """
    if base is None:
        base = run_cases(before, on_before or _as_it_is(before), RESULTS, fast=fast)
    own = dict(on_after)
    if on_before:
        rows = np.flatnonzero(base.usable)
        base = base.take(rows)
        own = {where: column[rows] for where, column in own.items()}
        on_before = {where: column[rows] for where, column in on_before.items()}
    found = {"before": base}
    if not len(base):
        return found
    for prefix in ("", "plain ") if rewets else ("",):
        if prefix:
            own |= {new: np.asarray(on_before.get(old, before.get(old)), dtype=float) for new, old in rewets.items()}
        found[f"{prefix}same"] = run_cases(after, {**own, after.speed_address: base["speed"]}, RESULTS, fast=fast)
        speed = np.minimum(_speed(after, own, base, fast), cap)
        found[f"{prefix}speed"] = run_cases(after, {**own, after.speed_address: speed}, RESULTS, fast=fast)
    return found


def _as_it_is(machine: Machine) -> dict[str, Any]:
    return {machine.speed_address: np.full(1, float(machine.speed))}


def _speed(after: Machine, own: Mapping[str, Any], base: Cases, fast: bool) -> Any:
    """Speed at which the machine after dries the sheet as the machine before did: same hood air, same steam."""
    present = np.where(np.isfinite(base["speed"]), base["speed"], 1.0)
    if after.yankee is None:
        return _speed_of_dryer(after, own, base, present, fast)
    assert after.hood is not None
    changes: dict[str, Any] = dict(own)
    for where, name in (("hood.air_temperature", "air_temperature"), ("yankee.steam_pressure", "steam_pressure")):
        owner, _, last = where.partition(".")
        limit = getattr(getattr(after, owner), f"{last}_limit")
        value = np.where(np.isfinite(base[name]), base[name], float(after.get(where)))
        changes[where] = value if limit is None else np.minimum(value, float(limit))
    changes[after.speed_address] = np.minimum(present, _limit_of_speed(after))
    quick = dataclasses.replace(after, hold_reel_dryness_by="speed")
    return held_speeds(quick, changes, fast=fast)


def _limit_of_speed(machine: Machine) -> float:
    owner: Any = machine.yankee if machine.yankee is not None else machine.dryer
    return 60.0 if owner.speed_limit is None else float(owner.speed_limit)


def _speed_of_dryer(after: Machine, own: Mapping[str, Any], base: Cases, present: Any, fast: bool) -> Any:
    """Speed at which a dryer of stated specific energy evaporates what it evaporated before."""
    speed = np.minimum(present, _limit_of_speed(after))
    for _ in range(12):
        now = run_cases(after, {**own, after.speed_address: speed}, ("evaporation",), fast=fast)["evaporation"]
        better = np.clip(speed * base["evaporation"] / now, 0.2 * present, _limit_of_speed(after))
        better = np.where(np.isfinite(better), better, speed)
        if np.all(np.abs(better - speed) <= 1e-9 * speed):
            break
        speed = better
    return speed


def _must_run(nominal: Mapping[str, Cases]) -> None:
    """The machines must run as they stand."""
    words = {
        "before": phrase("studies.rebuild.machine_before"),
        "same": phrase("studies.rebuild.machine_after_at_speed_one"),
    }
    faults = []
    for which, who in words.items():
        flags = nominal[which].flags
        for flag, bound in (
            ("possible", phrase("studies.rebuild.cannot_be_built_so")),
            ("formed", phrase("studies.rebuild.gives_no_sheet")),
            ("reached", phrase("studies.rebuild.does_not_dry_sheet_as")),
        ):
            if not flags[flag][0]:
                remedy = phrase("studies.rebuild.change_it_until_thinstock_run")
                faults.append(Fault(field=which, value=who, bound=bound, remedy=remedy))
                break
    if faults:
        raise Refused(faults)


# -- draws -------------------------------------------------------------------------------------------------------------


def _amounts(prices: Prices) -> dict[str, Amount]:
    return {**prices.amounts, "rebuild.rate": prices.rate}


def _population(before: Machine, draws: int, seed: int) -> Population:
    """The machine before stands and runs: as read where it was surveyed, else draws in which it runs."""
    return population(dataclasses.replace(before, exists=True), draws=draws, seed=seed)


def _prices_drawn(prices: Prices, draws: int, seed: int) -> dict[str, Any]:
    """Prices, investment and rate, each from its own stream."""
    return {
        name: np.full(draws, one.value)
        if one.distribution is None
        else np.asarray(one.distribution.sample(stream(seed, f"price: {name}"), draws))
        for name, one in _amounts(prices).items()
    }


def _sampled(
    before: Machine, after: Machine, drawn: Population, cap: float, rewets: Mapping[str, str], link: float | None = None
) -> tuple[dict[str, dict[str, Any]], dict[str, Any], float]:
    """Runs of the draws; nothing is set aside because of the machine after: it then holds the speed it can."""
    own = beside(drawn, before, after, link=link)
    values = columns(drawn, before)
    base = run_cases(before, values, RESULTS)
    rows = np.flatnonzero(base.usable)
    runs = _runs(before, after, cap, rewets, values, own, fast=True, base=base)
    failing = float(np.mean(~runs["same"].usable)) if len(rows) else 1.0
    good: Any = np.ones(len(rows), dtype=bool)
    kept: dict[str, dict[str, Any]] = {}
    for which, cases in runs.items():
        spare = runs[which.replace("same", "speed")]
        lost = ~cases.usable
        kept[which] = {n: np.where(lost, spare[n], cases[n]) for n in RESULTS}
        good &= cases.usable | spare.usable
    if np.sum(good) < FEWEST:
        raise Refused(
            fault_in("studies.rebuild.too_few_in_which_both", "draws", f"{int(np.sum(good))} of {drawn.draws}")
        )
    aside = {"before": drawn.draws - len(rows), "after": int(np.sum(~good)), "rows": rows[good]}
    return {which: {n: values[good] for n, values in one.items()} for which, one in kept.items()}, aside, failing


LINKS = (0.0, None, 1.0)


def _links(
    before: Machine,
    after: Machine,
    drawn: Population,
    sampled: Mapping[str, Mapping[str, Any]],
    money: Mapping[str, Any],
    prices: Prices,
    good: Any,
) -> tuple[Link, ...]:
    """Gain and money at no link of the rewets, at the usual one, and at the closest; same tonnes."""
    names = [rewet_addresses(m)[-1] for m in (before, after)]
    usual = link_correlation(groups_of(before)[names[0]], groups_of(after)[names[1]])
    if names[0] == names[1]:
        return (link_of(1.0, prices, money, sampled["before"], sampled["same"]),)
    found = []
    for r in LINKS:
        if r is None:
            found.append(link_of(usual, prices, money, sampled["before"], sampled["same"]))
            continue
        own = {where: column[good] for where, column in beside(drawn, before, after, link=r).items()}
        base = sampled["before"]
        same = run_cases(after, {**own, after.speed_address: base["speed"]}, RESULTS)
        rows = np.flatnonzero(same.flags["formed"])
        one, two = {n: base[n][rows] for n in RESULTS}, {n: same[n][rows] for n in RESULTS}
        found.append(link_of(r, prices, {n: v[rows] for n, v in money.items()}, one, two))
    return tuple(found)


# -- words -------------------------------------------------------------------------------------------------------------


def _must_be_priced(prices: Prices, nominal: Mapping[str, Cases]) -> None:
    """Every energy the machines use needs its price."""
    used = [k for k in KINDS if any(float(nominal[w][f"{k}_per_product"][0]) > 0 for w in ("before", "same"))]
    faults = [
        Fault(field=f"price.{kind}", bound=phrase("studies.rebuild.needed_machines_use", kind=kind), file=prices.file,
              remedy=phrase("studies.rebuild.add_under_price", kind=kind))
        for kind in used
        if prices.get(f"price.{kind}") is None
    ]  # fmt: skip
    if faults:
        raise Refused(faults)


def _factors(prices: Prices) -> tuple[Factor, ...]:
    found = [
        Factor(name=name, text=one.text, low=one.low, high=one.high, source=one.source)
        for name, one in _amounts(prices).items()
    ]
    return (*found, Factor(name="rebuild.years", text=f"{prices.years} a", low=None, high=None, source=OWN))


def _not_counted(prices: Prices, nominal: Mapping[str, Cases]) -> tuple[str, ...]:
    """What the prices file leaves out."""
    texts = {
        "price.fresh_water": phrase("studies.rebuild.fresh_water_has_no_price"),
        "price.co2": phrase("studies.rebuild.carbon_dioxide_has_no_price"),
        "rebuild.stop": phrase("studies.rebuild.days_stop_not_given"),
        "rebuild.contribution": phrase("studies.rebuild.what_tonne_more_brings_not"),
    }
    found = [text for name, text in texts.items() if prices.get(name) is None]
    for kind in KINDS:
        if prices.get(f"emission.{kind}") is None and float(nominal["before"][f"{kind}_per_product"][0]) > 0:
            found.append(phrase("studies.rebuild.carbon_dioxide_has_no_factor", kind=kind))
    if not prices.yearly:
        found.append(phrase("studies.rebuild.felts_fabrics_sleeves_upkeep_no"))
    return tuple(found)


def _notes(study: Rebuild) -> tuple[str, ...]:
    found = [EITHER, phrase(f"studies.machine_uncertainty.origin.{study.origin.replace(' ', '_')}"), *study.said]
    if study.failing > 0:
        found.append(phrase("studies.rebuild.failing", share=f"{100 * study.failing:.2g}"))
    aside = study.set_aside
    if aside["before"]:
        share = 100 * aside["before"] / study.draws
        found.append(
            phrase(
                "studies.rebuild.in_draws_machine_before_could",
                aside=aside["before"],
                draws=study.draws,
                share=f"{share:.2g}",
            )
        )
    if aside["after"]:
        share = 100 * aside["after"] / study.draws
        found.append(
            phrase(
                "studies.rebuild.in_draws_machine_after_does",
                aside=aside["after"],
                draws=study.draws,
                share=f"{share:.2g}",
            )
        )
    if study.without_assumed:
        old, new = (1e3 * r for r in study.rewet)
        found.append(phrase("studies.rebuild.rewet_presses_before_g_m", old=f"{old:.2g}", new=f"{new:.2g}"))
    if any(len(way.rates_of_return) > 1 for way in study.ways):
        found.append(phrase("studies.rebuild.more_than_one_rate_return"))
    found += [f"not counted: {text}" for text in study.not_counted]
    found.append(phrase("studies.rebuild.ranges_hold_draws_do_not", share=f"{SHARE:.0%}"))
    return tuple(found)
