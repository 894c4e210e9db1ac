"""The wet mat and the fabric under it: viscosity and density of the water, how dense the mat is, how it
resists flow.

The mat is a cake of swollen fibres that gives way under load. Fines that plug it, orientation and the
machine's short times are not in here; one `resistance_factor` per machine stands for them where the mat
is used.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived, relation
from thinstock.words.constants import value

mat_reference_pressure = value("mat_reference_pressure")

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)
_T = 0.5 * (_NODES + 1.0)
_SHARE = 0.5 * _WEIGHTS


# --- water


@relation(
    """
    r = temperature/300
    viscosity = 1e-6*(280.68*r**-1.9 + 511.45*r**-7.7 + 61.131*r**-19.6 + 0.45903*r**-40)
    """,
    source="IAPWS_SR6_08",
    where="viscosity at 0.1 MPa",
    status="from memory",
    holds={"temperature": (253.15, 383.15)},
    in_units={"temperature": "K"},
)
def viscosity_water_iapws(temperature: Num) -> Num:
    """Viscosity of liquid water at atmospheric pressure.

    Picture: 2 % thinner for every degree near 40 °C; warm stock drains faster. Use for: white water and
    filtrate. Not for: water with much dissolved starch.
    """
    r = temperature / 300.0
    return 1e-6 * (280.68 * r**-1.9 + 511.45 * r**-7.7 + 61.131 * r**-19.6 + 0.45903 * r**-40.0)


@relation(
    """
    t = temperature - 273.15
    low = 999.83952 + 16.945176*t - 7.9870401e-3*t**2
    high = -46.170461e-6*t**3 + 105.56302e-9*t**4 - 280.54253e-12*t**5
    density = (low + high)/(1 + 16.879850e-3*t)
    """,
    source="KELL_1975",
    where="density at 1 atm",
    status="from memory",
    holds={"temperature": (273.15, 373.15)},
    in_units={"temperature": "K"},
)
def density_water_kell(temperature: Num) -> Num:
    """Density of liquid water at one atmosphere.

    Picture: heaviest at 4 °C, 1 % lighter at 45 °C. Use for: stock and white water at papermaking
    consistency. Not for: thick stock. In print: temperature in °C.
    """
    t = temperature - 273.15
    top = 999.83952 + t * (
        16.945176 + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - t * 280.54253e-12)))
    )
    return top / (1.0 + 16.879850e-3 * t)


# --- the mat


@relation(
    """
    borne = max(mat_load, mat_pressure_floor)/mat_reference_pressure
    mat_consistency = mat_coefficient*borne**mat_exponent
    """,
    source="HIGGINS_DE_YONG_1965",
    where="power law of the abstract; its two constants are from memory, the floor is an assumption of this project",
    status="published",
)
def mat_consistency_power(mat_load: Num, mat_coefficient: Num, mat_exponent: Num, mat_pressure_floor: Num) -> Num:
    """Dry fibre per volume of wet mat under load.

    Picture: a sponge of fibres; ten times the pressure makes it a little over twice as dense. The floor
    keeps an unloaded mat from being infinitely loose and is `assumed`. Use for: 0.1 to 100 kPa. Not for:
    wet pressing.
    """
    return mat_coefficient * (np.maximum(mat_load, mat_pressure_floor) / mat_reference_pressure) ** mat_exponent


@relation(
    "kozeny_factor = 3.5*porosity**3*(1 - porosity)**-0.5*(1 + 57*(1 - porosity)**3)",
    source="DAVIES_1952",
    where="fibrous beds; used for pulp mats by Ingmanson, Andrews and Johnson 1959",
    status="from memory",
    holds={"porosity": (0.4, 0.99)},
)
def kozeny_factor_davies(porosity: Num) -> Num:
    """Kozeny factor of a fibre bed that is not constant but follows its porosity.

    Picture: in a loose bed water finds its way round single fibres, in a dense one through pores. Use
    for: mats below 250 kg/m³. Not for: very dense mats.
    """
    return 3.5 * porosity**3 * (1.0 - porosity) ** -0.5 * (1.0 + 57.0 * (1.0 - porosity) ** 3)


@relation(
    """
    porosity = 1 - swollen_volume*mat_consistency
    permeability = porosity**3/(kozeny_factor*specific_surface**2*mat_consistency**2)
    """,
    source="ROBERTSON_MASON_1949",
    where="Kozeny and Carman's law for swollen fibres; factor 5.55 at medium porosity",
    status="from memory",
)
def permeability_kozeny(mat_consistency: Num, specific_surface: Num, swollen_volume: Num, kozeny_factor: Num) -> Num:
    """Permeability of a mat of swollen fibres.

    Picture: water creeps through pores as wide as void volume over fibre surface. Use for: medium
    porosity, 0.5 to 0.9. Not for: porosity above 0.9 with a constant factor.
    """
    porosity = 1.0 - swollen_volume * mat_consistency
    return porosity**3 / (kozeny_factor * specific_surface**2 * mat_consistency**2)


@derived(
    """
    solid = swollen_volume*mat_consistency
    resistance = 3.5*specific_surface**2*sqrt(mat_consistency/swollen_volume)*(1 + 57*solid**3)
    """,
    gives="specific_filtration_resistance",
    where="1/(permeability x mat consistency) with Davies' Kozeny factor",
    holds={"mat_consistency": (5.0, 250.0)},
)
def specific_filtration_resistance_local_davies(
    mat_consistency: Num, specific_surface: Num, swollen_volume: Num
) -> Num:
    """Resistance of a thin layer of mat at one consistency.

    Picture: surface squared times the closeness of the fibres. Use for: what a layer adds. Not for: a
    whole mat under flow, whose layers bear different loads.
    """
    solid = swollen_volume * mat_consistency
    return 3.5 * specific_surface**2 * np.sqrt(mat_consistency / swollen_volume) * (1.0 + 57.0 * solid**3)


@relation(
    """
    resistance = pressure_drop/(integral over p from 0 to pressure_drop of 1/local(c))
    local = specific_filtration_resistance_local_davies
    c = mat_coefficient*(p/mat_reference_pressure)**mat_exponent
    """,
    gives="specific_filtration_resistance",
    kind="march",
    source="RUTH_1935",
    where="cake theory, on the local resistance after Davies",
    status="from memory",
    holds={"pressure_drop": (100.0, 100e3)},
)
def specific_filtration_resistance_davies(
    pressure_drop: Num, specific_surface: Num, swollen_volume: Num, mat_coefficient: Num, mat_exponent: Num
) -> Num:
    """Mean resistance of a mat whose layers carry loads from nothing at the top to the whole drop at the
    fabric.

    Picture: the layer at the fabric is squeezed hardest and resists most. Use for: filtration resistance
    from specific surface and swollen volume; fitting coefficient and exponent over a former's pressures.
    Not for: mats plugged by fines. Made from: substitution p = drop t^(1/e), e = 1 - N/2, that removes
    the end singularity, and 48-point Gauss quadrature.
    """
    drop, surface, volume, coefficient, exponent = np.broadcast_arrays(
        np.asarray(pressure_drop, float), specific_surface, swollen_volume, mat_coefficient, mat_exponent
    )
    e = 1.0 - 0.5 * exponent
    load = drop[..., None] * _T ** (1.0 / e[..., None])
    layer = coefficient[..., None] * (load / mat_reference_pressure) ** exponent[..., None]
    denser = np.sum(_SHARE / (1.0 + 57.0 * (volume[..., None] * layer) ** 3), axis=-1)
    level = 3.5 * surface**2 * np.sqrt(coefficient / volume) * (drop / mat_reference_pressure) ** (0.5 * exponent)
    return level * e / denser


@relation(
    "resistance = resistance_coefficient*(pressure_drop/mat_reference_pressure)**resistance_exponent",
    gives="specific_filtration_resistance",
    source="COMMON_PRACTICE",
    where="power law of compressible cakes",
    status="common practice",
)
def specific_filtration_resistance_power(
    pressure_drop: Num, resistance_coefficient: Num, resistance_exponent: Num
) -> Num:
    """Mean filtration resistance as a power of the pressure drop.

    Picture: a straight line on log paper, true over one decade at most. Use for: the pressure range it
    was fitted in. Not for: carrying a tester's value (1 kPa) to 30 kPa with one exponent: that is wrong
    by a factor of two.
    """
    return resistance_coefficient * (pressure_drop / mat_reference_pressure) ** resistance_exponent


@derived(
    "exponent = log(resistance_high/resistance_low)/log(pressure_drop_high/pressure_drop_low)",
    gives="resistance_exponent",
    where="slope on log paper",
)
def resistance_exponent_two_points(
    pressure_drop_low: Num, resistance_low: Num, pressure_drop_high: Num, resistance_high: Num
) -> Num:
    """Exponent of the filtration resistance from its values at two pressures.

    Picture: the slope between two points. Use for: fitting the power law to the former in hand. Not for:
    pressures so close together that errors of measurement rule.
    """
    return np.log(resistance_high / resistance_low) / np.log(pressure_drop_high / pressure_drop_low)


@derived("dryness = 1/(1 + density/mat_consistency - density/wall_density)", where="mat with all voids full of water")
def dryness_saturated(mat_consistency: Num, density: Num, wall_density: Num) -> Num:
    """Dryness of a mat whose voids are full of water.

    Picture: what is left when the last free stock is gone and no air has come in. Use for: dryness
    leaving a former. Not for: after air has displaced water.
    """
    return 1.0 / (1.0 + density / mat_consistency - density / wall_density)


# --- the fabric


@derived(
    "fabric_resistance = viscous_share*test_pressure/(air_viscosity*air_permeability)",
    where="Darcy's law on the viscous share of the air test",
)
def fabric_resistance_air(air_permeability: Num, test_pressure: Num, air_viscosity: Num, viscous_share: Num) -> Num:
    """Viscous resistance of a forming fabric from its air permeability.

    Picture: the part of the air test's drop that would halve with half the speed. Use for: a band, shares
    0 to 1; one air reading cannot split viscous from inertial. Not for: both bounds at once (counts the
    drop twice).
    """
    return viscous_share * test_pressure / (air_viscosity * air_permeability)


@derived(
    "fabric_inertia = 2*(1 - viscous_share)*test_pressure/(air_density*air_permeability**2)",
    where="the rest of the air test's drop as dynamic pressures",
)
def fabric_inertia_air(air_permeability: Num, test_pressure: Num, air_density: Num, viscous_share: Num) -> Num:
    """Inertial resistance of a forming fabric from its air permeability, in dynamic pressures.

    Picture: the part of the air test's drop that would quarter with half the speed. Use for: the other
    half of the same band. Not for: use without the matching viscous share.
    """
    return 2.0 * (1.0 - viscous_share) * test_pressure / (air_density * air_permeability**2)
