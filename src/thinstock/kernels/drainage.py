"""The march along a former: how the stock drains through one or two open sides, element by element, to
the dry line.

One state is carried in machine direction: filtrate and fibre of each side. Water and fibre balances hold
by construction. Air, rewet and whatever disturbs the sheet are not in here (`relations.vacuum` takes over
after the dry line); the undrained stock is a calm layer that moves with the fabric.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from thinstock.formula.label import Array, Num, derived
from thinstock.kernels.compiled import distinct, over_cases
from thinstock.kernels.drainage_input import DrainageInput, common_cases, element_table, material_rows
from thinstock.kernels.drainage_input import Element as Element
from thinstock.kernels.drainage_input import Law as Law
from thinstock.kernels.drainage_lanes import march_many as march


class Drained(NamedTuple):
    """What the march leaves; the first axis is the case. Sides are wire, back."""

    stock_depth: Array
    drained: Array
    drained_side: Array
    deposited: Array
    deposited_side: Array
    dry_line: Array
    dry_line_element: NDArray[np.int64]
    white_water: Array
    white_water_fibre: Array
    drainage_impulse: Array
    flux_highest: Array
    stalled: NDArray[np.bool_]
    depth_leaving: Array
    dryness_leaving: Array
    closure: Array


# --- what a caller sees


@derived(
    """
    per side: d(drained)/dt = u; d(deposited)/dt = kappa*u/(1 - kappa/mat_consistency(p))
    u = min(flux_mat_kept(p, deposited, kept, resistance_factor*resistance_coefficient), flux_cap), 0 where p <= 0
    kept = mat_memory*largest drop that the mat has borne
    p = load + head*(1 - x/length) + gravity*density*g*h - curvature*density*h*speed**2
    h = stock_depth - drained of both sides
    kappa = retention*consistency*density; stock_depth = grammage/kappa; dry line where deposited = grammage
    from the dry line on h closes at once to grammage/mat_consistency(largest p of a side that can take water)
    table roll: a pulse of filtrate 2*nip_radius*(u/speed)**2
    """,
    gives=Drained._fields,
    kind="march",
    where="water and fibre balance of a calm layer over one or two growing mats",
)
def drain(
    elements: Sequence[Element],
    *,
    speed: Num,
    grammage: Num,
    consistency: Num,
    retention: Num,
    density: Num,
    viscosity: Num,
    resistance_coefficient: Num,
    resistance_exponent: Num,
    resistance_factor: Num,
    mat_coefficient: Num,
    mat_exponent: Num,
    mat_pressure_floor: Num,
    wall_density: Num,
    mat_memory: Num = 0.0,
) -> Drained:
    """Drainage of a sheet along the elements of a former. For one case or an array of cases.

    Picture: every square metre of fabric starts with its millimetres of stock; each open side takes
    filtrate through a mat that grows by the fibre of that filtrate and holds some of the water. Use for:
    drainage capacity of any former, where each litre leaves, the place where free stock ends. Not for:
    whether the sheet survives it. Made from: steps in filtrate, in which time and fibre are nearly
    straight lines (fourth-order Runge-Kutta), landing on element ends, dry line, uptake and changes of
    sign of a pressure.
    """
    words = dict(locals())
    return drained(words.pop("elements"), DrainageInput(**words))


def drained(elements: Sequence[Element], sheet: DrainageInput) -> Drained:
    """The march of `drain` for the record of a sheet."""
    materials, table = common_cases(material_rows(sheet), element_table(elements))
    kept, back = distinct((*materials.T, *table.columns), materials.shape[0])
    materials, table = materials[kept], table._replace(columns=np.ascontiguousarray(table.columns[:, kept]))
    cases = materials.shape[0]
    single = np.empty((cases, 12))
    by_element = np.empty((cases, len(elements), 2, 2))
    impulses = np.empty((cases, len(elements), 2))

    def work(first: int, stop: int) -> None:
        march(table, materials, first, stop, single, by_element, impulses)

    over_cases(work, cases)
    single, by_element, impulses = single[back], by_element[back], impulses[back]
    return Drained(
        stock_depth=single[:, 0],
        drained=single[:, 1] + single[:, 2],
        drained_side=single[:, 1:3],
        deposited=single[:, 3] + single[:, 4],
        deposited_side=single[:, 3:5],
        dry_line=single[:, 5],
        dry_line_element=single[:, 6].astype(np.int64),
        white_water=by_element[..., 0],
        white_water_fibre=by_element[..., 1],
        drainage_impulse=impulses,
        flux_highest=single[:, 7],
        stalled=single[:, 8] > 0.0,
        depth_leaving=single[:, 9],
        dryness_leaving=single[:, 10],
        closure=single[:, 11],
    )
