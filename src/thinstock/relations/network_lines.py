"""The random sheet as lines: directions of fibres, their crossings, the polygons between them, and pores.

Part of `network`, which gives these formulas their name. Lines have no width; through-holes are in `pores`.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived, relation

LABELLED_IN = "network"


@relation(
    """
    spread = 1 + orientation**2 - 2*orientation*cos(2*angle)
    orientation_density = (1 - orientation**2)/(pi*spread)
    """,
    source="WRAPPED_CAUCHY",
    status="from memory",
    holds={"orientation": (0.0, 1.0)},
)
def orientation_density_cauchy(angle: Num, orientation: Num) -> Num:
    """Probability density of fibre direction on 0 to π, machine direction at 0.

    Picture: a round rose at orientation 0, a long oval along the machine at 0.5. Use for: drawing and
    simulating orientation. Not for: predicting it from jet and wire speed. In print: axial form with 2θ.
    Made from: textbook distribution, chosen because its sums close.
    """
    spread = 1.0 + orientation**2 - 2.0 * orientation * np.cos(2.0 * angle)
    return (1.0 - orientation**2) / (np.pi * spread)


@derived(
    "orientation_angle = atan((1 - orientation)/(1 + orientation)*tan(pi*(uniform - 1/2)))",
    where="inverse of the distribution",
)
def orientation_angle_cauchy(uniform: Num, orientation: Num) -> Num:
    """Fibre direction from a number between 0 and 1 drawn evenly; angle from the machine direction.

    Picture: turn a die into a direction. Use for: simulated sheets. Not for: uniform exactly 0 or 1.
    Made from: the distribution function turned round.
    """
    return np.arctan((1.0 - orientation) / (1.0 + orientation) * np.tan(np.pi * (uniform - 0.5)))


@derived(
    "orientation_ratio = ((1 + orientation)/(1 - orientation))**2",
    where="density along over density across the machine",
)
def orientation_ratio_cauchy(orientation: Num) -> Num:
    """Density of fibre direction along the machine over that across it.

    Picture: how many fibres point down the machine for each one across. Use for: reading measured roses.
    Not for: tensile ratio, which is another number. Made from: the density at 0 and at π/2.
    """
    return ((1.0 + orientation) / (1.0 - orientation)) ** 2


@derived(
    "orientation = (sqrt(orientation_ratio) - 1)/(sqrt(orientation_ratio) + 1)",
    where="inverse of orientation_ratio_cauchy",
)
def orientation_cauchy(orientation_ratio: Num) -> Num:
    """Orientation from the ratio of densities along and across the machine.

    Picture: as `orientation_ratio_cauchy`, backwards. Use for: a measured ratio. Not for: tensile ratio.
    Made from: `orientation_ratio_cauchy` turned round.
    """
    root = np.sqrt(orientation_ratio)
    return (root - 1.0) / (root + 1.0)


@derived(
    """
    small = abs(orientation) < 1e-4
    q = where(small, 1e-4, orientation)
    crossing_factor = where(small, 1 - 2*orientation**2/3, (1 - q**2)*atanh(q)/q)
    """,
    where="Fourier sum of E abs(sin) closed",
    holds={"orientation": (0.0, 1.0)},
)
def crossing_factor_cauchy(orientation: Num) -> Num:
    """Fibre crossings of an oriented sheet over those of the unoriented one.

    Picture: fibres that run alongside each other seldom cross. Use for: holes, polygons, bonds per area.
    Not for: evenness of square zones, which orientation does not change. Made from: (π/2) times the mean of
    the absolute sine of the angle between two fibres; checked by quadrature.
    """
    small = np.abs(orientation) < 1e-4
    q = np.where(small, 1e-4, orientation)
    return np.where(small, 1.0 - 2.0 * np.square(orientation) / 3.0, (1.0 - q**2) * np.arctanh(q) / q)[()]


@derived("crossings_per_area = line_density**2*crossing_factor/pi", where="mean of crossing line segments")
def crossings_per_area(line_density: Num, crossing_factor: Num) -> Num:
    """Crossings of fibre centre lines per area of sheet.

    Picture: every crossing is a possible bond. Use for: thin sheets. Not for: bonds of a thick sheet, where
    fibres that cross need not touch. Made from: integral geometry.
    """
    return line_density**2 * crossing_factor / np.pi


@relation(
    "polygon_number = line_density**2*crossing_factor/pi",
    source="MILES_1964",
    where="derived again here",
    status="from memory",
)
def polygon_number_miles(line_density: Num, crossing_factor: Num) -> Num:
    """Polygons between random lines, per area.

    Picture: the meshes of a net drawn with a ruler. Use for: long thin fibres. Not for: holes one can see,
    which need the fibre width (`pores`). In print: isotropic lines; the factor is added here. Made from:
    derivation.
    """
    return line_density**2 * crossing_factor / np.pi


@relation(
    "polygon_area = pi/(line_density**2*crossing_factor)",
    source="MILES_1964",
    where="derived again here",
    status="from memory",
)
def polygon_area_miles(line_density: Num, crossing_factor: Num) -> Num:
    """Mean area of the polygons between random lines.

    Picture: mean mesh. Use for: as `polygon_number_miles`, of which it is the inverse. Not for: pores between
    wide fibres. Made from: derivation.
    """
    return np.pi / (line_density**2 * crossing_factor)


@relation("polygon_area_cv = sqrt(pi**2/2 - 1)", source="MILES_1964", where="derived again here", status="from memory")
def polygon_area_cv_miles() -> Num:
    """Coefficient of variation of the areas of polygons between isotropic random lines.

    Picture: very uneven meshes: their scatter is twice their mean. Use for: teaching why large holes occur.
    Not for: oriented lines. Made from: derivation; simulation gives 1.93.
    """
    return np.sqrt(np.pi**2 / 2.0 - 1.0)


@relation(
    "incircle_radius_density = 2*line_density*exp(-2*line_density*radius)",
    source="MILES_1964",
    where="derived again here",
    status="from memory",
)
def incircle_radius_density_miles(radius: Num, line_density: Num) -> Num:
    """Probability density of the largest circle that fits a polygon of isotropic random lines.

    Picture: the largest disc that passes the mesh. Use for: long thin fibres. Not for: oriented lines.
    Made from: derivation.
    """
    return 2.0 * line_density * np.exp(-2.0 * line_density * radius)


@relation("free_length = pi/(2*line_density)", source="MILES_1964", where="derived again here", status="from memory")
def free_fibre_length(line_density: Num) -> Num:
    """Mean distance between crossings along a fibre, isotropic sheet.

    Picture: the free span between two neighbours. Use for: pores. Not for: oriented sheets (divide by the
    crossing factor). Made from: derivation.
    """
    return np.pi / (2.0 * line_density)


@relation(
    "pore_radius_density = 4*pi*radius/free_length**2*k0(2*sqrt(pi)*radius/free_length)",
    source="CORTE_LLOYD_1965",
    where="derived again here",
    status="from memory",
)
def pore_radius_density_corte_lloyd(radius: Num, free_length: Num) -> Num:
    """Probability density of the radius of the circle of equal area to a pore.

    Picture: pores as rectangles whose two sides are independent random spans. Use for: many small pores.
    Not for: the largest holes. In print: K₀ form. Made from: product of two exponentials; integrates to 1.
    """
    from scipy.special import k0

    return 4.0 * np.pi * radius / free_length**2 * k0(2.0 * np.sqrt(np.pi) * radius / free_length)


@relation(
    "pore_radius = sqrt(pi)/4*free_length", source="CORTE_LLOYD_1965", where="mean of the density", status="from memory"
)
def pore_radius_corte_lloyd(free_length: Num) -> Num:
    """Mean pore radius in the picture of `pore_radius_density_corte_lloyd`.

    Picture: as there. Use for: orders of size. Not for: holes one can see. Made from: mean of the density.
    """
    return np.sqrt(np.pi) / 4.0 * free_length


@relation(
    "pore_radius = sqrt(pi)/4*(pi/(2*log(1/porosity)) - 1)*fibre_width",
    source="SAMPSON_2009",
    status="from memory",
    holds={"porosity": (0.208, 1.0)},
)
def pore_radius_layer_sampson(fibre_width: Num, porosity: Num) -> Num:
    """Mean pore radius of a thin slice of a sheet with a known bulk porosity.

    Picture: the sheet as a stack of thin layers. Use for: slices with porosity above 0.208. Not for: the
    open area of a whole sheet put in as porosity (the radius turns negative); through-holes are in `pores`.
    In print: as here. Made from: free span less one fibre width.
    """
    return np.sqrt(np.pi) / 4.0 * (np.pi / (2.0 * np.log(1.0 / porosity)) - 1.0) * fibre_width
