"""Drawings as pictures made of points, in the typefaces that come with the tool."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any

from thinstock.drawing import typeface
from thinstock.errors import needs


@lru_cache(maxsize=1)
def _writer() -> Any:
    vl_convert = needs("vl_convert", "page")
    for folder in (typeface.folder(), typeface.serif_folder()):
        if folder is not None:
            vl_convert.register_font_directory(folder)
    return vl_convert


_FACES = re.compile(r"@font-face\{[^}]*\}")


def png(markup: str, *, scale: float = 1.0) -> bytes:
    """A drawing that stands by itself as PNG; its typefaces are at hand and need not be read from it."""
    return bytes(_writer().svg_to_png(_FACES.sub("", markup), scale=scale))
