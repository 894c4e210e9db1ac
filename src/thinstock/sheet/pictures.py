"""Pictures of simulated sheets for a class: clouds, holes, layers, close-up, histogram; one by one or side by side.

Every picture carries a scale bar and is readable on a projector; hues are chosen so that colour-blind people see them.
What is compared is drawn to the same scale and with the same gain.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thinstock.errors import needs
from thinstock.formula.label import worksheet
from thinstock.relations import pores
from thinstock.sheet.cast import SheetMap, simulate
from thinstock.sheet.formation import formation
from thinstock.sheet.furnish import Furnish
from thinstock.sheet.look import EXTINCTION, SCATTERING, grey, look_through
from thinstock.sheet.zones import coverage_histogram, zone_cv
from thinstock.words.phrase import phrase

BARE = (230, 159, 0)
LAYERS: tuple[tuple[int, int, int], ...] = (
    BARE,
    (226, 237, 247),
    (176, 208, 232),
    (116, 171, 213),
    (62, 128, 188),
    (26, 88, 150),
    (10, 48, 96),
)
"""Colour of 0, 1, 2, ... fibre layers: bare places orange, then ever darker blue."""
INK, PAPER, SOFT, SPOT = (20, 20, 20), (255, 255, 255), (110, 110, 110), (213, 94, 0)
SHINE = 2.0
"""Gain in direct light: bare places are white, one layer is nearly so, more are dark."""
MIDDLE = 0.75
"""Where the automatic gain puts the mean of diffuse light, before gamma."""

LIGHT_SHEET = ("excess_reference", "decay_exponent", "grammage_reference", "excess_spread")

GAMMAS = {"diffuse": 0.5, "direct": 1.0}
"""Steeper than the eye's own: clouds must be seen from the back of the room, and only bare places may shine."""

Image = Any
"""A picture of the imaging library (PIL.Image.Image)."""


def picture(
    sheet_map: SheetMap,
    mode: str = "diffuse",
    *,
    across: int = 900,
    gain: float | None = None,
    scattering: float = SCATTERING["tissue"],
    extinction: float = EXTINCTION,
    title: str = "",
) -> Image:
    """The sheet against the light, or its layers, about `across` pixels wide, with a scale bar.

    Modes: "diffuse" shows clouds, "direct" lets holes shine, "layers" colours the number of fibre layers.
    """
    columns = sheet_map.coverage.shape[1]
    block = max(1, columns // across)
    if mode == "layers":
        colours = layer_colours(sheet_map.coverage[::block, ::block])
    else:
        through = look_through(sheet_map, mode, scattering=scattering, extinction=extinction, block=block)
        colours = np.repeat(grey(through, gain or gain_of(through, mode), GAMMAS[mode])[:, :, None], 3, axis=2)
    made = framed(colours, sheet_map.pixel * columns / colours.shape[1], across)
    return _titled(made, title) if title else made


def framed(colours: NDArray[np.uint8], pixel: float, across: int) -> Image:
    """Colours of a map as a picture so many pixels wide, with a scale bar; `pixel` is the side of a colour, m."""
    rows, columns = colours.shape[:2]
    made = _scaled(_image(colours), across, max(1, round(across * rows / columns)))
    _scale_bar(made, pixel * columns / across)
    return made


def gain_of(transmittance: NDArray[Any], mode: str) -> float:
    """A gain that suits a sheet; take it from one sheet for all that are compared.

    In diffuse light the mean becomes a middle grey; in direct light the gain is the same for all.
    """
    return MIDDLE / max(float(np.mean(transmittance)), 1e-6) if mode == "diffuse" else SHINE


def layer_colours(coverage: NDArray[Any]) -> NDArray[np.uint8]:
    """Colours of a map of fibre layers; the last colour stands for six and more."""
    palette = np.array(LAYERS, np.uint8)
    count = np.clip(np.floor(coverage + 0.5), 0, len(LAYERS) - 1).astype(np.intp)
    coloured: NDArray[np.uint8] = palette[count]
    return coloured


def close_up(
    furnish: Furnish,
    grammage: float,
    orientation: float = 0.0,
    seed: int = 1,
    *,
    side: float = 2.4e-3,
    across: int = 960,
    title: str = "",
) -> Image:
    """A few square millimetres in which single fibres can be seen, coloured by layers; random, without flocs."""
    pixel = side / across
    sheet = simulate(furnish, grammage, 1e-3, 0.0, side, pixel, orientation, seed)
    return picture(sheet, "layers", across=across, title=title)


def histogram(sheet_map: SheetMap, *, across: int = 900, down: int = 900, highest: int = 8, title: str = "") -> Image:
    """Shares of the area under 0, 1, 2, ... fibres: bars as simulated, diamonds as theory has it."""
    drawn = coverage_histogram(sheet_map.coverage, highest)
    wanted = layer_theory(sheet_map, highest)
    made = _image(np.full((down, across, 3), 255, np.uint8))
    pen, size = _pen(made), max(18, across // 26)
    left, right, top, bottom = across // 8, across - across // 30, down // 12, down - down // 7
    largest = 1.15 * max(float(drawn.max()), float(wanted.max()))
    for step in range(6):
        share = 0.1 * step if largest > 0.25 else 0.05 * step
        if share > largest:
            break
        y = bottom - (bottom - top) * share / largest
        pen.line([(left, y), (right, y)], fill=(205, 205, 205), width=2)
        _write(pen, (left - size * 0.4, y), f"{100 * share:.0f} %", size, INK, "rm")
    wide = (right - left) / (highest + 1)
    for k in range(highest + 1):
        x = left + wide * (k + 0.5)
        y = bottom - (bottom - top) * float(drawn[k]) / largest
        colour = LAYERS[min(k, len(LAYERS) - 1)]
        pen.rectangle([x - 0.36 * wide, y, x + 0.36 * wide, bottom], fill=colour, outline=INK, width=2)
        y, r = bottom - (bottom - top) * float(wanted[k]) / largest, size * 0.42
        pen.polygon([(x, y - r), (x + r, y), (x, y + r), (x - r, y)], fill=SPOT, outline=PAPER)
        _write(pen, (x, bottom + size * 0.8), f"{k}" if k < highest else f"{k}+", size, INK, "mm")
    pen.line([(left, bottom), (right, bottom)], fill=INK, width=3)
    _write(pen, ((left + right) / 2, bottom + size * 2.1), "fibre layers", size, INK, "mm")
    _write(
        pen,
        (right, top - size * 0.3),
        phrase("sheet.pictures.bars_this_sheet_diamonds_theory"),
        round(size * 0.85),
        INK,
        "rb",
    )
    return _titled(made, title) if title else made


def layer_theory(sheet_map: SheetMap, highest: int) -> NDArray[np.float64]:
    """What theory has for the histogram: shares of the area under 0 ... `highest` layers, the last one open."""
    sheet = _theory(sheet_map)
    patchy = sheet.floc_variance + sheet.excess_variance_point
    share = np.asarray(pores.coverage_share_mixed(np.arange(highest), sheet.coverage, patchy))
    return np.append(share, max(0.0, 1.0 - float(share.sum())))


def _theory(sheet_map: SheetMap, zone: float = 1e-3) -> Any:
    with worksheet(False):
        return formation(
            sheet_map.furnish,
            sheet_map.mean_grammage,
            sheet_map.consistency,
            sheet_map.suspension_variation,
            zone=zone,
            retention=sheet_map.retention,
            density=sheet_map.density,
            floc_ratio=sheet_map.floc_ratio,
            gel_crowding=sheet_map.gel_crowding,
            orientation=sheet_map.orientation,
            **light_of(sheet_map),
        )


def light_of(sheet_map: SheetMap) -> dict[str, Any]:
    """What makes a light sheet uneven beyond chance, by the words of a formation."""
    return {name: getattr(sheet_map, name) for name in LIGHT_SHEET}


def panel(
    sheet_map: SheetMap, *, across: int = 720, scattering: float = SCATTERING["tissue"], title: str = ""
) -> Image:
    """Clouds, holes, single fibres and histogram of one sheet side by side, with the numbers underneath.

    The close-up and the histogram are drawn from a fine map of the same furnish and grammage.
    """
    sheet = _theory(sheet_map)
    detail = simulate(
        sheet_map.furnish,
        sheet_map.mean_grammage,
        1e-3,
        0.0,
        2.4e-3,
        2.4e-3 / 1200,
        sheet_map.orientation,
        sheet_map.seed,
    )
    fine = _fine_map(sheet_map)
    parts = [
        picture(
            sheet_map,
            "diffuse",
            across=across,
            scattering=scattering,
            title=phrase("sheet.pictures.diffuse_light_clouds"),
        ),
        picture(sheet_map, "direct", across=across, title=phrase("sheet.pictures.direct_light_holes")),
        picture(detail, "layers", across=across, title=phrase("sheet.pictures.close_up_bare_places_orange")),
        histogram(fine, across=across, down=across, title=phrase("sheet.pictures.fibre_layers")),
    ]
    lines = _numbers(sheet_map, sheet)
    return side_by_side([parts[:2], parts[2:]], [title] if title else [], lines)


def _fine_map(sheet_map: SheetMap) -> SheetMap:
    """A map fine enough to count layers on, of the same furnish and, where the field can hold them, the same flocs."""
    width = float(np.min(sheet_map.furnish.components.fibre_width))
    pixel = width / 6.0
    patchy = [sheet_map.floc_spread] if sheet_map.intensity_variance > 0.0 else []
    patchy += [sheet_map.excess_spread] if sheet_map.excess_reference > 0.0 else []
    side = max(8.0 * 1.01 * max(patchy, default=0.0), 6e-3)
    pixels = math.ceil(side / pixel)
    return simulate(
        sheet_map.furnish,
        sheet_map.mean_grammage,
        sheet_map.consistency,
        sheet_map.suspension_variation,
        pixels * pixel,
        pixel,
        sheet_map.orientation,
        sheet_map.seed,
        retention=sheet_map.retention,
        density=sheet_map.density,
        floc_ratio=sheet_map.floc_ratio,
        gel_crowding=sheet_map.gel_crowding,
        flocs=sheet_map.flocs,
        **light_of(sheet_map),
    )


def _numbers(sheet_map: SheetMap, sheet: Any) -> list[str]:
    side = round(1e-3 / sheet_map.pixel)
    measured = ""
    if side >= 1 and abs(side * sheet_map.pixel - 1e-3) < 1e-9 and side <= min(sheet_map.coverage.shape) // 4:
        measured = phrase(
            "sheet.pictures.on_this_sheet",
            value=f"{100 * float(zone_cv(sheet_map.grammage, sheet_map.pixel, 0.001)):.1f}",
        )
    return [
        phrase(
            "sheet.pictures.g_m_on_wire_headbox",
            value=f"{1000.0 * sheet_map.mean_grammage:.3g}",
            percent=percent(sheet_map.consistency),
            crowding_number=f"{sheet.crowding_number:.3g}",
        ),
        phrase(
            "sheet.pictures.cv_at_mm_chance_alone",
            value=f"{100 * sheet.cv:.1f}",
            value_2=f"{100 * sheet.cv_random:.1f}",
            measured=measured,
            formation_number=f"{sheet.formation_number:.3g}",
        ),
        phrase(
            "sheet.pictures.fibres_thick_open_area_holes",
            coverage=f"{sheet.coverage:.2g}",
            value=f"{100 * sheet.open_area:.2g}",
            hole=f"{1e3 * float(sheet.hole_diameter):.2g}",
            count_text=count_text(sheet.holes_per_area),
        ),
    ]


def percent(value: float) -> str:
    """A consistency for a caption: two digits, never 1e-04."""
    text = f"{100 * value:.2g}"
    return (f"{100 * value:.6f}".rstrip("0").rstrip(".") if "e" in text else text) + " %"


def count_text(value: float) -> str:
    """A count of holes for a caption: powers of ten are said in words a crew reads."""
    if value < 0.01:
        return "under 0.01"
    if value < 100:
        return f"{value:#.2g}".rstrip(".")
    if value < 1e4:
        return f"{round(value, -1):.0f}"
    return f"{value / 1e3:,.0f} thousand" if value < 1e6 else f"{value / 1e6:,.0f} million"


def save(made: Image, path: str | Path) -> None:
    """Write a picture as PNG."""
    made.save(path, format="PNG", compress_level=1)


# ---------------------------------------------------------------- drawing


def _image(colours: NDArray[np.uint8]) -> Image:
    made: Image = needs("PIL.Image", "page").fromarray(np.ascontiguousarray(colours))
    return made


def _scaled(made: Image, across: int, down: int) -> Image:
    """The picture in another size: averaged when it shrinks, pixels kept sharp when it grows."""
    sampling = needs("PIL.Image", "page").Resampling
    shrinks = across < made.size[0]
    return made.resize((across, down), sampling.BOX if shrinks else sampling.NEAREST)


def _pen(made: Image) -> Any:
    return needs("PIL.ImageDraw", "page").Draw(made)


def _font(size: float) -> Any:
    return needs("PIL.ImageFont", "page").load_default(max(10, round(size)))


def _write(
    pen: Any, place: tuple[float, float], text: str, size: float, colour: tuple[int, int, int], anchor: str
) -> None:
    """Write a line; the built-in font has no raised 2, so it is drawn as a small figure."""
    pieces = text.split("²")
    font, small = _font(size), _font(0.62 * size)
    wide = sum(font.getlength(p) for p in pieces) + (len(pieces) - 1) * small.getlength("2")
    x = place[0] - {"l": 0.0, "m": wide / 2, "r": wide}[anchor[0]]
    for number, piece in enumerate(pieces):
        pen.text((x, place[1]), piece, fill=colour, font=font, anchor="l" + anchor[1])
        x += font.getlength(piece)
        if number < len(pieces) - 1:
            pen.text((x, place[1] - 0.32 * size), "2", fill=colour, font=small, anchor="l" + anchor[1])
            x += small.getlength("2")


def _width_of(text: str, size: float) -> float:
    return float(_font(size).getlength(text.replace("²", "2")))


def _scale_bar(made: Image, pixel: float) -> None:
    """A bar of a round length, about a fifth of the width, on a plate in the lower left corner."""
    across, down = made.size
    length = _round_length(0.22 * across * pixel)
    wide = length / pixel
    size = max(16, across // 26)
    text = f"{length * 1e3:g} mm" if length >= 1e-4 else f"{length * 1e3:.2f} mm"
    pad = size // 2
    plate = max(wide, _width_of(text, size)) + 2 * pad
    pen = _pen(made)
    left, bottom = pad, down - pad
    pen.rectangle([left, bottom - 2.3 * size, left + plate, bottom], fill=INK)
    start = left + (plate - wide) / 2
    pen.rectangle([start, bottom - 0.75 * size, start + wide, bottom - 0.4 * size], fill=PAPER)
    _write(pen, (left + plate / 2, bottom - 1.5 * size), text, size, PAPER, "mm")


def _round_length(length: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is not above this."""
    power = 10.0 ** math.floor(math.log10(length))
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= length * (1 + 1e-9))


def rings(made: Image, places: list[tuple[float, float]]) -> None:
    """A ring round each place, in pixels of the picture."""
    pen, wide = _pen(made), max(7, made.size[0] // 60)
    for x, y in places:
        pen.ellipse([x - wide, y - wide, x + wide, y + wide], outline=BARE, width=2)


def _titled(made: Image, title: str) -> Image:
    """A picture with a line of text above it."""
    across, down = made.size
    size = max(16, across // 24)
    frame = _image(np.full((down + 2 * size, across, 3), 255, np.uint8))
    frame.paste(made, (0, 2 * size))
    _write(_pen(frame), (0, size), title, _fitting(title, across, size), INK, "lm")
    return frame


def _fitting(text: str, across: float, size: float) -> float:
    """The largest size up to this at which a line fits."""
    while size > 10 and _width_of(text, size) > across:
        size -= 1
    return size


def side_by_side(rows: list[list[Image]], heads: list[str], lines: list[str], gap: int = 24) -> Image:
    """Pictures in rows, with lines of text above and below."""
    widths = [sum(p.size[0] for p in row) + gap * (len(row) - 1) for row in rows]
    across = max(widths) + 2 * gap
    size = max(18, across // 60)
    top = gap + round(2.0 * size) * len(heads)
    tall = [max(p.size[1] for p in row) for row in rows]
    down = top + sum(tall) + gap * len(rows) + round(1.7 * size) * len(lines) + gap
    frame = _image(np.full((down, across, 3), 255, np.uint8))
    pen = _pen(frame)
    for number, head in enumerate(heads):
        line = _fitting(head, across - 2 * gap, 1.35 * size)
        _write(pen, (gap, gap + round(2.0 * size) * (number + 0.4)), head, line, INK, "lm")
    y = top
    for row, high in zip(rows, tall, strict=True):
        x = gap
        for made in row:
            frame.paste(made, (x, y))
            x += made.size[0] + gap
        y += high + gap
    small = min((_fitting(text, across - 2 * gap, size) for text in lines), default=size)
    for number, text in enumerate(lines):
        _write(pen, (gap, y + round(1.7 * size) * (number + 0.5)), text, small, INK, "lm")
    return frame


def draw_lines(
    made: Image, above: list[tuple[str, float]], below: list[tuple[str, float]], colour: tuple[int, int, int]
) -> Image:
    """A picture with lines of text above and below it, each with its relative size."""
    across, down = made.size
    size = max(16, across // 16)
    step = round(1.35 * size)
    frame = _image(np.full((down + step * (len(above) + len(below)) + size // 2, across, 3), 255, np.uint8))
    frame.paste(made, (0, step * len(above)))
    pen = _pen(frame)
    for lines, start in ((above, 0), (below, step * len(above) + down + size // 4)):
        for number, (text, scale) in enumerate(lines):
            y = start + step * (number + 0.5)
            _write(pen, (0, y), text, _fitting(text, across, scale * size), colour, "lm")
    return frame
