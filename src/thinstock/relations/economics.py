"""Money of a rebuild: present value, rates of return, payback, and what dryness is worth as heat or as speed.

Amounts are in the user's currency at the end of each year, years and yearly amounts are plain counts, and the
yearly production is kg a year. No tax, subsidy or market is known here; a saving of heat and a gain of speed
by the same dryness are either/or.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Array, Num, derived

_TEXTBOOK = "end-of-year flows"


@derived(
    """safe = where(rate == 0, 1, rate)
        annuity_factor = where(rate == 0, years, -expm1(-years*log1p(safe))/safe)""",
    where=_TEXTBOOK,
)
def annuity_factor(rate: Num, years: Num) -> Num:
    """Present value of one paid at the end of every year.

    Picture: fifteen yearly payments of 1 at 8 % are worth 8.56 today.
    """
    free = np.equal(rate, 0.0)
    safe = np.where(free, 1.0, rate)
    return np.where(free, years, -np.expm1(-years * np.log1p(safe)) / safe)[()]


@derived("net_present_value = sum over t = 0, 1, 2, ... of cash_flow[t]/(1 + rate)**t", kind="march", where=_TEXTBOOK)
def net_present_value(rate: Num, cash_flow: Num) -> Num:
    """Worth today of a row of yearly flows. Years on the last axis, the first is today.

    Picture: money a year from now buys less than money now.
    """
    flows = np.asarray(cash_flow, dtype=float)
    growth = 1.0 + np.asarray(rate, dtype=float)[..., None]
    return np.sum(flows / growth ** np.arange(flows.shape[-1]), axis=-1)


def _polished(flows: Array, x: float) -> tuple[float, bool]:
    """A root of the present value in x = 1/(1 + rate) by Newton's method, and whether it is one."""
    slope = np.polynomial.polynomial.polyder(flows)
    for _ in range(60):
        rise = np.polynomial.polynomial.polyval(x, slope)
        if rise == 0.0:
            break
        step = np.polynomial.polynomial.polyval(x, flows) / rise
        x = float(x - step)
        if abs(step) <= 1e-15 * abs(x):
            break
    size = np.polynomial.polynomial.polyval(abs(x), np.abs(flows))
    return x, bool(abs(np.polynomial.polynomial.polyval(x, flows)) <= 1e-12 * size)


@derived(
    "all rate > -1 with sum over t of cash_flow[t]/(1 + rate)**t = 0, ascending",
    gives="rates",
    kind="march",
    where="roots of a polynomial in 1/(1 + rate)",
)
def internal_rates_of_return(cash_flow: Num) -> Array:
    """Every yearly rate at which a row of flows is worth nothing today, ascending; an empty array where none
    is.

    Picture: the interest the investment itself pays. Flows that change sign twice may have two such rates:
    then none of them says whether the rebuild pays; look at the present value against the rate.
    """
    flows = np.trim_zeros(np.asarray(cash_flow, dtype=float))
    if flows.size < 2:
        return np.empty(0)
    roots: list[float] = []
    for candidate in np.roots(flows[::-1]):
        if candidate.real <= 0.0 or abs(candidate.imag) > 1e-6 * abs(candidate):
            continue
        x, is_root = _polished(flows, float(candidate.real))
        if is_root and x > 0.0 and all(abs(x - other) > 1e-6 * x for other in roots):
            roots.append(x)
    return np.sort(1.0 / np.array(roots) - 1.0)


@derived("payback = investment/yearly_saving", where="definition")
def payback_simple(investment: Num, yearly_saving: Num) -> Num:
    """Years until savings have added up to the investment, interest left out."""
    return investment / yearly_saving


@derived(
    """owed = rate*investment/yearly_saving
        safe = where(rate == 0, 1, rate)
        with_interest = -log1p(-min(owed, 1))/log1p(safe)
        payback = where(rate == 0, investment/yearly_saving, with_interest)""",
    where=_TEXTBOOK,
)
def payback_discounted(investment: Num, yearly_saving: Num, rate: Num) -> Num:
    """Years until discounted savings have paid the investment; without end where they do not even pay its
    interest.
    """
    free = np.equal(rate, 0.0)
    owed = rate * investment / yearly_saving
    with np.errstate(divide="ignore"):
        with_interest = -np.log1p(-np.minimum(owed, 1.0)) / np.log1p(np.where(free, 1.0, rate))
    return np.where(free, investment / yearly_saving, with_interest)[()]


@derived(
    """n = last year; got = sum over t of max(cash_flow[t], 0)*(1 + reinvest_rate)**(n - t)
        paid = -sum over t of min(cash_flow[t], 0)/(1 + finance_rate)**t
        rate = (got/paid)**(1/n) - 1""",
    kind="march",
    where=_TEXTBOOK,
)
def modified_rate_of_return(cash_flow: Num, finance_rate: Num, reinvest_rate: Num) -> Num:
    """One rate of return even where flows change sign: outlays financed at one rate, income put by at
    another.
    """
    flows = np.asarray(cash_flow, dtype=float)
    year = np.arange(flows.shape[-1])
    last = flows.shape[-1] - 1
    finance = 1.0 + np.asarray(finance_rate, dtype=float)[..., None]
    reinvest = 1.0 + np.asarray(reinvest_rate, dtype=float)[..., None]
    got = np.sum(np.maximum(flows, 0.0) * reinvest ** (last - year), axis=-1)
    paid = -np.sum(np.minimum(flows, 0.0) / finance**year, axis=-1)
    return (got / paid) ** (1.0 / last) - 1.0


# --- what dryness is worth


@derived("evaporation_saved = reel_dryness*(1/dryness_before - 1/dryness_after)", where="balance")
def evaporation_saved_press_dryness(dryness_before: Num, dryness_after: Num, reel_dryness: Num) -> Num:
    """Water the dryer no longer evaporates per mass of product as sold, when the press leaves the sheet
    drier.
    """
    return reel_dryness * (1.0 / dryness_before - 1.0 / dryness_after)


@derived("yearly_heat = production*evaporation_saved*heat_per_water", where="balance")
def yearly_heat_saved(production: Num, evaporation_saved: Num, heat_per_water: Num) -> Num:
    """Heat saved in a year at the same speed; production in kg a year.

    Take the heat per kilogram of water from the run of the machine (Yankee and hood), not from a rule.
    """
    return production * evaporation_saved * heat_per_water


@derived(
    """earlier = 1/dryness_before - 1/reel_dryness
        later = 1/dryness_after - 1/reel_dryness
        speed_gain = earlier/later - 1""",
    where="equal evaporation",
)
def speed_gain_dryer_limited(dryness_before: Num, dryness_after: Num, reel_dryness: Num) -> Num:
    """Speed gained by a machine that only its dryer holds back, at the same evaporation: the most it can be.

    Picture: the dryer takes the same water from a longer, drier sheet. Heat to warm the sheet and fixed
    losses are left out. Not together with the saving of heat: it is one or the other.
    """
    earlier = 1.0 / dryness_before - 1.0 / reel_dryness
    later = 1.0 / dryness_after - 1.0 / reel_dryness
    return earlier / later - 1.0


@derived("yearly_value = production*speed_gain*contribution_per_mass", where="definition")
def yearly_value_speed(production: Num, speed_gain: Num, contribution_per_mass: Num) -> Num:
    """Money a year from more speed; only if the market takes the paper."""
    return production * speed_gain * contribution_per_mass


@derived("price = (investment/annuity_factor(rate, years) - other_yearly_saving)/yearly_amount", where=_TEXTBOOK)
def break_even_price(investment: Num, rate: Num, years: Num, yearly_amount: Num, other_yearly_saving: Num) -> Num:
    """Price per unit of what is saved each year at which the rebuild neither gains nor loses."""
    return (investment / annuity_factor(rate, years) - other_yearly_saving) / yearly_amount


@derived("yearly_carbon = yearly_heat*emission_factor", where="definition")
def carbon_saved(yearly_heat: Num, emission_factor: Num) -> Num:
    """Carbon dioxide saved in a year with the heat; the emission factor counts on the same heating value."""
    return yearly_heat * emission_factor
