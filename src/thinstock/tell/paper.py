"""Paper from the typst templates of the report: tagged PDF with alternative texts, from data, never from pasted text.

Only the fonts that come with the typesetter and with the drawings are used, so that a document looks the same
everywhere; no package of the typesetter and no file outside is read.
"""

from __future__ import annotations

import base64
import json
import struct
from collections.abc import Mapping
from dataclasses import fields
from functools import lru_cache
from importlib.resources import files
from typing import Any

from thinstock.drawing import typeface
from thinstock.errors import Refused, needs, visible_in
from thinstock.tell.blocks import Beside, Block, Facts, Figures, Group, Note, Paragraph, Table, table
from thinstock.words.fault import fault_in

PAPERS = {"a4": "a4", "letter": "us-letter"}
STANDARD = "ua-1"
"""PDF/UA-1: headings, tables, pictures and formulas can be read out."""
FONT = "Libertinus Serif"
"""Font of text and of charts on paper."""


@lru_cache(maxsize=16)
def _template(name: str) -> bytes:
    return files("thinstock.tell").joinpath(f"templates/{name}.typ").read_bytes()


def document(
    template: str,
    data: Mapping[str, Any],
    *,
    title: str,
    paper: str = "a4",
    pictures: Mapping[str, bytes] | None = None,
) -> bytes:
    """The PDF of a template with its data; `pictures` by file name (SVG or PNG)."""
    if paper not in PAPERS:
        raise Refused(fault_in("tell.paper.paper", "paper", paper, papers=", ".join(PAPERS)))
    made, warnings = compiled(template, data, title=title, paper=paper, pictures=pictures)
    del warnings
    return made


def block_data(one: Block) -> list[dict[str, Any]]:
    """A block as the templates take it; a group and what stands side by side become their parts."""
    match one:
        case Group():
            above = [{"kind": "head", "text": one.title}] if one.title else []
            return above + [data for inside in one.blocks for data in block_data(inside)]
        case Beside():
            return [data for inside in (*one.left, *one.right) for data in block_data(inside)]
        case Facts():
            return block_data(table(("what", "value"), [(fact.label, fact.said) for fact in one.rows], texts=(0, 1)))
        case Table():
            data = {"heads": one.heads, "rows": one.texts, "texts": one.left, "wide": one.growing, "small": one.small}
            below = [{"kind": "note", "text": one.foot}] if one.foot else []
            return [{"kind": "table", "caption": one.caption or one.title, **data}, *below]
        case Figures():
            figures = [data for inside in one.figures for data in block_data(inside)]
            return [{"kind": "figures", "figures": figures, "caption": one.caption}]
        case Paragraph():
            return [{"kind": one.kind, "text": f"{one.lead}{one.text}"}]
        case Note(part=part) if part:
            return [{"kind": "note", "text": f"{part}: {one.text}"}]
        case _:
            return [{"kind": one.kind, **{f.name: getattr(one, f.name) for f in fields(one)}}]


PNG = b"\x89PNG\r\n\x1a\n"


def _in_svg(png: bytes) -> bytes:
    """A picture of pixels inside a drawing: the typesetter takes texts only."""
    across, down = struct.unpack(">II", png[16:24])
    inside = base64.b64encode(png).decode("ascii")
    size = f'width="{across}" height="{down}"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {across} {down}" {size}>'
        f'<image href="data:image/png;base64,{inside}" {size}/></svg>'
    ).encode()


def compiled(
    template: str,
    data: Mapping[str, Any],
    *,
    title: str,
    paper: str = "a4",
    pictures: Mapping[str, bytes] | None = None,
) -> tuple[bytes, list[str]]:
    """The PDF and what the typesetter warns of."""
    typst = needs("typst", "paper")

    typeset: Any = typst.compile_with_warnings  # a mapping of sources is taken too
    content = {**data, "title": title, "paper": PAPERS[paper]}
    sources = {
        "main": _template(template),
        "common.typ": _template("common"),
        "data.json": json.dumps(visible_in(content), ensure_ascii=False, allow_nan=False).encode(),
    }
    for name, picture in (pictures or {}).items():
        pixels = picture.startswith(PNG)
        sources[f"{name}.svg" if pixels else name] = _in_svg(picture) if pixels else picture
    made, warnings = typeset(sources, format="pdf", pdf_standards=[STANDARD], ignore_system_fonts=True,
                              font_paths=[folder] if (folder := typeface.folder()) else [])  # fmt: skip
    return bytes(made), [str(getattr(w, "message", w)) for w in warnings]
