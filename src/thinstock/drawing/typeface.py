"""The typeface of drawings: how wide its words are, and its files for a page, a picture or a paper to carry.

Widths come from `widths.json`, taken from the fonts themselves: of the typeface that comes with page and paper, and of
the widest one that commonly stands in for it. A line of words is given the room of the wider of the two, so that
nothing collides in either. The files come from an installed package; where that is missing the other one is named.
"""

from __future__ import annotations

import base64
import json
from functools import lru_cache
from importlib.resources import files
from importlib.util import find_spec
from io import BytesIO
from typing import Final, Literal

FAMILY: Final = "Source Sans Pro"
FALLBACK: Final = "DejaVu Sans"
FACES: Final = (FAMILY, FALLBACK)
FONT: Final = f"'{FAMILY}','{FALLBACK}',Verdana,sans-serif"
Cut = Literal["Regular", "Semibold"]
CUTS: Final[dict[Cut, int]] = {"Regular": 400, "Semibold": 600}
"""The cuts that are carried, with their weight."""
LETTERS: Final = (
    *range(0x20, 0x7F), *range(0xA0, 0x180), *range(0x370, 0x3D0), *range(0x2010, 0x2023), 0x2026, 0x2030,
    *range(0x2070, 0x20A0), *range(0x2190, 0x2196), 0x221A, 0x221E, 0x2212, 0x2248, 0x2264, 0x2265, 0x25CB, 0x25CF,
)  # fmt: skip
"""Signs that are carried: Latin, Greek, arrows and marks."""


@lru_cache(maxsize=1)
def _widths() -> dict[str, dict[str, dict[str, int]]]:
    """Thousandths of the size, by face, cut and sign."""
    told = json.loads(files("thinstock.drawing").joinpath("widths.json").read_text(encoding="utf-8"))
    return {
        face: {cut: dict(zip(told["signs"], row, strict=True)) for cut, row in told[face].items()} for face in FACES
    }


@lru_cache(maxsize=4)
def _wider(cut: Cut) -> dict[str, float]:
    """The wider of both faces, by sign, as share of the size."""
    rows = [_widths()[face][cut] for face in FACES]
    return {sign: max(row[sign] for row in rows) / 1000 for sign in rows[0]}


@lru_cache(maxsize=4096)
def _ems(said: str, cut: Cut) -> float:
    known = _wider(cut)
    return sum([known.get(sign, 1.0) for sign in said])


def width_of(said: str, size: float, *, strong: bool = False) -> float:
    """The room a line of words takes, px: the wider of the typeface and what may stand in for it."""
    return size * _ems(said, "Semibold" if strong else "Regular")


def width_in(face: str, said: str, size: float, *, strong: bool = False) -> float:
    """How wide a line of words is in one face, px."""
    row = _widths()[face]["Semibold" if strong else "Regular"]
    return size * sum(row.get(sign, 1000) for sign in said) / 1000


def wrapped(said: str, size: float, room: float) -> list[str]:
    """Words broken into lines that fit."""
    return list(_lines(said, size, room))


@lru_cache(maxsize=2048)
def _lines(said: str, size: float, room: float) -> tuple[str, ...]:
    if width_of(said, size) <= room:
        return (said,)
    lines: list[str] = []
    for word in said.split(" "):
        if lines and width_of(f"{lines[-1]} {word}", size) <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return tuple(lines)


@lru_cache(maxsize=1)
def folder() -> str | None:
    """Where the font files are; None where their package is not installed."""
    try:
        from font_source_sans_pro import font_directory
    except ImportError:
        return None
    return str(font_directory)


@lru_cache(maxsize=2)
def file(cut: Cut) -> bytes | None:
    """A cut with the signs in use, as WOFF without its names; None where it cannot be had."""
    where = folder()
    return None if where is None else _subset(f"{where}/SourceSansPro-{cut}.ttf")


@lru_cache(maxsize=1)
def serif_folder() -> str | None:
    """Where the files of the typeface of running text are; None where their package is not installed."""
    try:
        from font_source_serif_pro import font_directory
    except ImportError:
        return None
    return str(font_directory)


@lru_cache(maxsize=2)
def serif(cut: Cut) -> bytes | None:
    """A cut of the typeface of running text, in the same way."""
    where = serif_folder()
    return None if where is None else _subset(f"{where}/SourceSerifPro-{cut}.ttf")


def _subset(place: str) -> bytes | None:
    if find_spec("fontTools") is None:
        return None
    from fontTools import subset

    options = subset.Options(flavor="woff", name_IDs=[], layout_features=["kern"], hinting=False)
    font = subset.load_font(place, options)
    chosen = subset.Subsetter(options)
    chosen.populate(unicodes=LETTERS)
    chosen.subset(font)
    made = BytesIO()
    subset.save_font(font, made, options)
    return made.getvalue()


def rules(at: str = "") -> str:
    """The style rules that bring the cuts along: from an address of the page, or inside the picture itself."""
    found = []
    for cut, weight in CUTS.items():
        source = f"{at}{cut}.woff"
        if not at:
            made = file(cut)
            if made is None:
                continue
            source = "data:font/woff;base64," + base64.b64encode(made).decode("ascii")
        found.append(f"@font-face{{font-family:'{FAMILY}';font-weight:{weight};src:url({source}) format('woff')}}")
    return "".join(found)
