"""What refining does to a furnish behind the wire: water in the fibre wall, swollen volume, and how both carry into
mat and press.

Refining opens the fibre: more surface, which drains slowly, and more water inside the wall, which stays in mat, box
and nip. Freeness also falls by fines that hold no water; then the slope is 0 and nothing but drainage changes.
Nothing here gives an absolute permeability in the nip: one measured nip does, and the furnish scales it.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, assumed, derived, relation
from thinstock.relations.mat import specific_filtration_resistance_davies
from thinstock.words.constants import value

mat_reference_pressure = value("mat_reference_pressure")


@assumed(
    """risen = water_retention_reference + swelling_slope*log(resistance_coefficient/resistance_reference)
        water_retention_value = max(0.3, risen)""",
    where="straight line in the logarithm; slope 0.33 per e-fold from five library rows, range 0.15 to 0.5",
    holds={"swelling_slope": (0.0, 0.5), "resistance_coefficient": (2e8, 2e10)},
)
def water_retention_from_resistance(
    resistance_coefficient: Num, resistance_reference: Num, water_retention_reference: Num, swelling_slope: Num
) -> Num:
    """Water retention value that goes with a filtration resistance, from a reference pair of both.

    Picture: each time refining makes the stock drain 2.7 times as slowly the wall takes up a third of its own
    weight of water more. Use for: refining of chemical pulp where only freeness is known. Not for: stock slow by
    fines, whose slope is 0. In print: no law; the slope follows rows from memory in which swollen volume rises by
    0.9 L/kg while the resistance grows from 4.35e8 to 6.40e9 m/kg. Made from: swelling as a straight line in the
    logarithm of resistance; two refining levels with both tests give the slope of a mill.
    """
    risen = water_retention_reference + swelling_slope * np.log(resistance_coefficient / resistance_reference)
    return np.maximum(0.3, risen)


@derived(
    "swollen_volume = 1/wall_density + water_retention_value/density", where="fibre wall and its water side by side"
)
def swollen_volume_from_retention(water_retention_value: Num, wall_density: Num, density: Num) -> Num:
    """Volume of wet fibre per dry mass: dry wall and the water it keeps.

    Picture: a sponge and what stays in it. Use for: ratios of two furnishes. Not for: the hydrodynamic volume of a
    permeability test, 0.5 to 0.8 L/kg larger by the water that fibrils hold. In print: nothing. Made from: volumes
    add up.
    """
    return 1.0 / wall_density + water_retention_value / density


@derived(
    """drop = mat_reference_pressure
        resistance = specific_filtration_resistance_davies(drop, specific_surface, swollen_volume, mat_coefficient, mat_exponent)
        0 = resistance - resistance_coefficient""",  # noqa: E501
    gives="specific_surface",
    kind="equation",
    where="inverse of the mat law at 1 kPa: resistance goes with the square of the surface",
)
def specific_surface_from_resistance(
    resistance_coefficient: Num, swollen_volume: Num, mat_coefficient: Num, mat_exponent: Num
) -> Num:
    """Fibre surface that explains a filtration resistance at 1 kPa.

    Picture: surface is what drags; four times the resistance is twice the surface. Use for: telling what refining
    did, and the surface end of the press permeability. Not for: an absolute permeability in the nip. In print: the
    library's pair 1000 m²/kg, 2.5 L/kg and 4.349e8 m/kg. Made from: the resistance of a mat of one square metre per
    kilogram, so no search.
    """
    davies = specific_filtration_resistance_davies.__wrapped__  # type: ignore[attr-defined]
    one = davies(mat_reference_pressure, 1.0, swollen_volume, mat_coefficient, mat_exponent)
    return np.sqrt(resistance_coefficient / one)


@assumed(
    "mat_coefficient = mat_coefficient_reference*(swollen_volume_reference/swollen_volume)**swelling_share",
    where="mats alike at equal share of swollen volume; share 1, range 0 to 1",
    holds={"swelling_share": (0.0, 1.0)},
)
def mat_coefficient_swollen(
    mat_coefficient_reference: Num, swollen_volume_reference: Num, swollen_volume: Num, swelling_share: Num
) -> Num:
    """Mat consistency at 1 kPa of a furnish that swells more or less than the reference.

    Picture: fatter fibres take more room under the same load. Use for: the march and the slots. Not for: a measured
    mat. In print: only that solids after forming go with the furnish's flow resistance (an abstract of 2016). Made
    from: equal share of swollen volume at equal load; share 0 leaves the mat as it was, since refined fibre is also
    more pliable.
    """
    return mat_coefficient_reference * (swollen_volume_reference / swollen_volume) ** swelling_share


@relation(
    """wetter = water_retention_reference/water_retention_value
        specific_permeability = specific_permeability_reference*wetter**(permeability_exponent + 1)""",
    source="BACKSTROM_MOHLIN",
    where="permeability in the nip depends on moisture over water retention; support from the abstract only",
    status="derived",
)
def specific_permeability_swollen(
    specific_permeability_reference: Num,
    water_retention_reference: Num,
    water_retention_value: Num,
    permeability_exponent: Num,
) -> Num:
    """Specific permeability in the nip of a furnish that swells more or less than the reference.

    Picture: a web is as closed as it is full of swollen fibre, whatever made it swell. Use for: refining behind the
    wire. Not for: fines that plug. In print: at one water retention value the solids after dynamic pressing are the
    same however the pulp was refined (abstract). Made from: A M^(n+1) as a function of M/WRV alone.
    """
    return specific_permeability_reference * (water_retention_reference / water_retention_value) ** (
        permeability_exponent + 1.0
    )


@relation(
    """open = (specific_surface_reference/specific_surface)**2
        specific_permeability = specific_permeability_reference*open*(swollen_volume_reference/swollen_volume)**2.5""",
    source="DAVIES_1952",
    where="dense limit of the fibrous pad law: resistance goes with surface squared and swollen volume to the 2.5",
    status="derived",
)
def specific_permeability_kozeny(
    specific_permeability_reference: Num,
    specific_surface_reference: Num,
    swollen_volume_reference: Num,
    specific_surface: Num,
    swollen_volume: Num,
) -> Num:
    """Specific permeability in the nip if the whole hydrodynamic surface still counted there: the strong end.

    Picture: every fibril brakes as it does in a loose mat. Use for: the far end of a range. Not for: a best value;
    where walls touch most of the surface is shut. In print: nothing. Made from: the dense limit of the mat law.
    """
    opened = (specific_surface_reference / specific_surface) ** 2
    return specific_permeability_reference * opened * (swollen_volume_reference / swollen_volume) ** 2.5


@assumed(
    "specific_permeability = swollen*(kozeny/swollen)**surface_share",
    where="between the two ends by their logarithms; share 0, range 0 to 1",
    holds={"surface_share": (0.0, 1.0)},
)
def specific_permeability_blend(swollen: Num, kozeny: Num, surface_share: Num) -> Num:
    """Specific permeability between swelling alone (share 0) and the whole surface (share 1).

    Picture: a dial between two pictures of the same web. Use for: drawing what is not known. Not for: fitting
    without a measured water retention value: slope and share are then not told apart. In print: nothing. Made from:
    the geometric mean with weights.
    """
    return swollen ** (1.0 - surface_share) * kozeny**surface_share
