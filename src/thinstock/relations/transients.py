"""How long a change takes: tanks one by one and in a net, a furnish change, a break, the shell of a dryer.

Mixed tanks, flows that stand between two events. Nothing here controls a level.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived

_MIXED = "one perfectly mixed tank"
_CHEST = "a mixed chest before a mixed silo, everything else without hold-up"


@derived(
    """gone = exp(-flow*elapsed/tank_mass)
        consistency = inflow_concentration + (start - inflow_concentration)*gone""",
    where=_MIXED + " at a constant level",
    holds={"tank_mass": (1e4, 2e5)},
)
def tank_concentration_step(elapsed: Num, tank_mass: Num, flow: Num, start: Num, inflow_concentration: Num) -> Num:
    """Concentration in a mixed tank some time after what flows in has changed.

    Picture: the tank forgets its past by the same share in every hold-up. Use for: silo, chest, pit one at a time.
    Not for: tanks that feed each other. In print: textbook mixing. Made from: one balance.
    """
    return inflow_concentration + (start - inflow_concentration) * np.exp(-np.multiply(flow, elapsed) / tank_mass)


def _drawn_share(elapsed: Num, tank_mass: Num, inflow: Num, outflow: Num) -> Num:
    """Exponent by which a tank forgets while its level moves, from 0 downwards."""
    moved = np.asarray(np.subtract(inflow, outflow) * elapsed / tank_mass, dtype=float)
    still = np.where(moved == 0.0, 1.0, moved)
    with np.errstate(divide="ignore", invalid="ignore"):
        slower = np.where(moved == 0.0, 1.0, np.log1p(moved) / still)
    return -np.multiply(inflow, elapsed) / tank_mass * slower


@derived(
    """moved = (inflow - outflow)*elapsed/tank_mass
        slower = where(moved == 0, 1, log1p(moved)/moved)
        gone = exp(-inflow*elapsed/tank_mass*slower)
        consistency = inflow_concentration + (start - inflow_concentration)*gone""",
    where=_MIXED + " whose level moves",
    holds={"tank_mass": (5e4, 2e5), "inflow": (1.0, 60.0), "outflow": (1.0, 60.0)},
)
def tank_filling_concentration(
    elapsed: Num, tank_mass: Num, inflow: Num, outflow: Num, start: Num, inflow_concentration: Num
) -> Num:
    """Concentration in a mixed tank while more or less flows in than out; `tank_mass` is what it held at the start.

    Picture: a filling tank forgets more slowly, a falling one faster. Use for: the broke tank in a break. Not for:
    a tank that has run empty, which has no number. In print: nowhere. Made from: two balances.
    """
    gone = np.exp(_drawn_share(elapsed, tank_mass, inflow, outflow))
    return inflow_concentration + (start - inflow_concentration) * gone


def _two_tanks(elapsed: Num, first: Num, second: Num) -> Num:
    """What a chest and a silo in line still miss of a step, also where both are equally slow."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        slow = np.asarray(np.maximum(first, second), dtype=float)
        quick = np.asarray(np.minimum(first, second), dtype=float)
        ahead = np.asarray(np.multiply(elapsed, quick - slow) / (quick * slow))
        ahead = np.where(np.isnan(ahead), -np.inf, ahead)
        apart = np.where(ahead == 0.0, 1.0, np.expm1(ahead) / np.where(ahead == 0.0, 1.0, ahead))
        return np.exp(-elapsed / slow) * (1.0 + elapsed / slow * apart)


def _remaining(
    elapsed: Num, chest_time_constant: Num, time_constant: Num, return_share: Num, retention: Num, reject_share: Num
) -> Num:
    again = (1.0 - reject_share) * return_share * (1.0 - retention)
    with np.errstate(divide="ignore", invalid="ignore"):
        chest = np.exp(-np.divide(elapsed, chest_time_constant))
    return (1.0 - again) * chest + again * _two_tanks(elapsed, chest_time_constant, time_constant)


@derived(
    """round_again = (1 - reject_share)*return_share*(1 - retention)
        chest = exp(-elapsed/chest_time_constant)
        loop = exp(-elapsed/time_constant)
        apart = chest_time_constant - time_constant
        both = (chest_time_constant*chest - time_constant*loop)/apart
        even = (1 + elapsed/time_constant)*loop
        behind = where(apart == 0, even, both)
        step_share = 1 - (1 - round_again)*chest - round_again*behind""",
    where=_CHEST,
    holds={"chest_time_constant": (300.0, 2000.0), "time_constant": (20.0, 200.0)},
)
def grade_change_share(
    elapsed: Num, chest_time_constant: Num, time_constant: Num, return_share: Num, retention: Num, reject_share: Num
) -> Num:
    """Share of a furnish or thick-stock change that the web shows some time after it was made before the chest.

    Picture: the chest is nearly all of it, the silo adds a little. Use for: grade changes. Not for: changes made
    behind the chest. In print: nowhere. Made from: two tanks in line; without a chest `step_share_thick_stock`.
    """
    return 1.0 - _remaining(elapsed, chest_time_constant, time_constant, return_share, retention, reject_share)


@derived(
    """0 = 1 - grade_change_share(elapsed, chest_time_constant, time_constant, return_share, retention, reject_share) - remaining_share""",  # noqa: E501
    gives="elapsed",
    kind="equation",
    where=_CHEST,
    holds={"chest_time_constant": (300.0, 2000.0), "time_constant": (20.0, 200.0)},
)
def grade_change_time(
    remaining_share: Num,
    chest_time_constant: Num,
    time_constant: Num,
    return_share: Num,
    retention: Num,
    reject_share: Num,
) -> Num:
    """Time after a change before the chest until only this share of it is still to come.

    Picture: three chest times bring it to 5 %. Use for: how long off-grade paper is made. Not for: a share of 0,
    which never comes. In print: nowhere. Made from: `grade_change_share` and a bracketed search.
    """
    from scipy.optimize import elementwise

    given = (remaining_share, chest_time_constant, time_constant, return_share, retention, reject_share)
    wanted, chest, loop, again, kept, lost = np.broadcast_arrays(*(np.asarray(one, dtype=float) for one in given))

    def left(t: Num, *rest: Num) -> Num:
        return _remaining(t, *rest[1:]) - rest[0]

    last = np.maximum(chest, loop) * 2.0 * np.log(2.0 / np.minimum(wanted, 1.0)) + 1.0
    found = elementwise.find_root(
        left, (np.zeros_like(last), last), args=(wanted, chest, loop, again, kept, lost),
        tolerances={"xatol": 1e-12, "xrtol": 1e-14},
    )  # fmt: skip
    time: Num = np.where(wanted >= 1.0, 0.0, found.x)[()]
    return time


@derived(
    """round_again = (1 - reject_share)*return_share*(1 - retention)
        off_grade = web_solids*(chest_time_constant + round_again*time_constant)""",
    where="area above the curve of `grade_change_share`",
)
def off_grade_equivalent(
    web_solids: Num, chest_time_constant: Num, time_constant: Num, return_share: Num, retention: Num, reject_share: Num
) -> Num:
    """Fibre wholly off grade that a furnish change costs, counted as if it came all at once.

    Picture: the area between where the sheet is and where it should be. Use for: comparing ways of changing grade.
    Not for: how much paper is refused, which hangs on the tolerance. In print: nowhere. Made from: the integral.
    """
    again = (1.0 - reject_share) * return_share * (1.0 - retention)
    return web_solids * (chest_time_constant + again * time_constant)


@derived(
    """above = broke_consistency - white_water_consistency
        water_draw = web_solids*(1 - broke_consistency/web_dryness)/above""",
    where="balance of water and fibre at the broke pulper",
    holds={"web_dryness": (0.3, 0.97), "broke_consistency": (0.02, 0.05), "white_water_consistency": (0.0, 0.002)},
)
def break_water_draw(web_solids: Num, web_dryness: Num, broke_consistency: Num, white_water_consistency: Num) -> Num:
    """White water that a pulper asks for while the web falls into it.

    Picture: dry paper drinks thirty times its mass. Use for: how fast a break empties the pit. Not for: a pulper run
    on fresh water. In print: nowhere. Made from: dilution of the web to the broke's consistency.
    """
    above = broke_consistency - white_water_consistency
    return web_solids * (1.0 - np.divide(broke_consistency, web_dryness)) / above


@derived(
    "time_left = where(draw > supply, tank_mass/(draw - supply), inf)",
    gives="time_left",
    where="draw and supply stand",
    holds={"draw": (1.0, 30.0), "supply": (0.5, 20.0), "tank_mass": (1e4, 2e5)},
    in_units={"tank_mass": "kg", "draw": "kg/s", "supply": "kg/s"},
)
def tank_time_left(tank_mass: Num, draw: Num, supply: Num) -> Num:
    """Time until a tank is empty when more is drawn than comes; without end where enough comes. `draw` in kg/s.

    Picture: how long the store lasts. Use for: pit and clear tank in a break or without fresh water. Not for: a level
    that is topped up. In print: nowhere. Made from: one balance.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(np.greater(draw, supply), np.divide(tank_mass, np.subtract(draw, supply)), np.inf)[()]


@derived(
    """gain = thick_solids*dosing_share - broke_rate
        time_left = where(gain > 0, broke_solids/gain, inf)""",
    where="dosing and making of broke stand",
    holds={"broke_rate": (0.005, 0.03)},
)
def broke_clearing_time(broke_solids: Num, thick_solids: Num, dosing_share: Num, broke_rate: Num) -> Num:
    """Time until stored broke is worked off at a share of the thick stock; without end where more is made.

    Picture: the tank falls by what is dosed less what still comes. Use for: how long a break is felt. Not for: a
    dosing that follows the level. In print: nowhere. Made from: one balance.
    """
    gain = np.multiply(thick_solids, dosing_share) - broke_rate
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(gain > 0.0, np.divide(broke_solids, gain), np.inf)[()]


@derived(
    "time_constants = -1/eigenvalues of (transfer - diagonal of outflow)/tank_mass",
    gives="time_constant",
    kind="march",
    where="perfectly mixed tanks",
)
def loop_time_constants(tank_mass: Num, transfer: Num, outflow: Num) -> Num:
    """Time constants of a network of mixed tanks, the longest first.

    Picture: the ways in which the whole net forgets. Use for: how long to wait before reading. Not for: how much of
    a change each one carries. In print: linear systems. Made from: the eigenvalues of the net.
    """
    exchange = np.asarray(transfer, dtype=float) - np.diag(np.asarray(outflow, dtype=float))
    eigenvalues = np.linalg.eigvals(exchange / np.asarray(tank_mass, dtype=float)[:, None])
    return np.sort(-1.0 / eigenvalues.real)[::-1]


@derived(
    """for each tank i, c = start at time 0:
        tank_mass[i]*dc[i]/dt = sum over j of transfer[i, j]*c[j] - outflow[i]*c[i] + feed[i]
        through[i] = integral of c[i] from 0 to elapsed""",
    gives="tank_through",
    kind="march",
    where="perfectly mixed tanks, augmented matrix exponential",
)
def tank_network_integral(tank_mass: Num, transfer: Num, outflow: Num, feed: Num, start: Num, elapsed: Num) -> Num:
    """Time integral of each tank's consistency; times first, tanks last.

    Picture: what has gone through each tank, per flow. Use for: the ledger: what left is the sum of (outflow less
    what stays inside) times this. Not for: flows that change on the way: cut the run where they do. In print:
    nowhere. Made from: the exponential that answers `tank_network_response`, one column wider.
    """
    from scipy.linalg import expm

    mass = np.asarray(tank_mass, dtype=float)
    size = mass.size
    exchange = np.asarray(transfer, dtype=float) - np.diag(np.asarray(outflow, dtype=float))
    augmented = np.zeros((2 * size + 1, 2 * size + 1))
    augmented[:size, :size] = exchange / mass[:, None]
    augmented[:size, size] = np.asarray(feed, dtype=float) / mass
    augmented[size + 1 :, :size] = np.eye(size)
    time = np.asarray(elapsed, dtype=float)
    state = np.concatenate([np.asarray(start, dtype=float), [1.0], np.zeros(size)])
    return (expm(augmented * time[..., None, None]) @ state)[..., size + 1 :]


@derived("time_constant = water_mass/leaving_water", where="the whole loop taken as one mixed tank")
def dissolved_time_constant(water_mass: Num, leaving_water: Num) -> Num:
    """Time in which dissolved matter follows a change of closure.

    Picture: hours, where fibre takes minutes. Use for: when to look again after a shower was changed. Not for: which
    tank is first. In print: nowhere. Made from: all water of the loop over all that leaves.
    """
    return water_mass / leaving_water


@derived(
    """half = shell_thickness/(2*conductivity)
        inside = 1/(1/inner_coefficient + half)
        outside = 1/(1/outer_coefficient + half)
        time_constant = density*heat_capacity*shell_thickness/(inside + outside)""",
    where="shell as one lump in its middle",
)
def shell_time_constant(
    shell_thickness: Num,
    density: Num,
    heat_capacity: Num,
    conductivity: Num,
    inner_coefficient: Num,
    outer_coefficient: Num,
) -> Num:
    """Time in which the shell of a dryer follows a change of steam or sheet.

    Picture: half a minute of iron. Use for: how soon a dryer may be taken as steady. Not for: one turn of the shell.
    In print: nowhere. Made from: heat stored over the two ways out of it.
    """
    half = shell_thickness / (2.0 * np.asarray(conductivity, dtype=float))
    inside = 1.0 / (1.0 / np.asarray(inner_coefficient, dtype=float) + half)
    outside = 1.0 / (1.0 / np.asarray(outer_coefficient, dtype=float) + half)
    return density * np.asarray(heat_capacity) * shell_thickness / (inside + outside)


@derived(
    """outside = abs(value - final) > tolerance
        elapsed = last crossing of the band's edge, straight between points; inf where the last is outside""",
    gives="elapsed",
    kind="march",
    where="read off a drawn course",
)
def time_within(elapsed: Num, value: Num, final: Num, tolerance: Num) -> Num:
    """Time from which a course stays within a band round its final value; without end where it is still outside.

    Picture: after that nobody sees the change any more. Use for: courses of one case, times rising. Not for: a band
    narrower than the course's own steps. In print: nowhere. Made from: straight lines between points.
    """
    time, course = np.asarray(elapsed, dtype=float), np.asarray(value, dtype=float) - final
    outside = np.flatnonzero(np.abs(course) > tolerance)
    if outside.size == 0:
        return float(time[0])
    last = int(outside[-1])
    if last == time.size - 1:
        return float("inf")
    edge = np.copysign(tolerance, course[last])
    share = (edge - course[last]) / (course[last + 1] - course[last])
    return float(time[last] + share * (time[last + 1] - time[last]))
