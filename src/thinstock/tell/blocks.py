"""What a chapter is made of: paragraphs, tables, pictures, cautions, boxes, steps of a working. Plain data, no markup.

Page and paper set the same blocks; a picture is kept apart by its name, so that a page may fetch it or carry it inside.
"""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

Block = dict[str, Any]


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A picture by its bytes."""

    content: bytes
    media: str
    """image/svg+xml or image/png."""

    @property
    def suffix(self) -> str:
        """End of a file name."""
        return "svg" if "svg" in self.media else "png"

    @property
    def inside(self) -> str:
        """As an address that carries the picture in itself."""
        return f"data:{self.media};base64,{base64.b64encode(self.content).decode('ascii')}"


@dataclass(frozen=True, kw_only=True)
class Chapter:
    """A part of a handout."""

    key: str
    title: str
    blocks: tuple[Block, ...]
    pictures: dict[str, Picture] = field(default_factory=dict)


def words(*sentences: str) -> Block:
    """A paragraph of sentences."""
    return {"kind": "words", "text": " ".join(s.strip() for s in sentences if s and s.strip())}


def points(items: Iterable[str]) -> Block:
    """A list."""
    return {"kind": "points", "items": [i for i in items if i]}


def head(text: str) -> Block:
    """A heading inside a chapter."""
    return {"kind": "head", "text": text}


def table(
    heads: Sequence[str], rows: Sequence[Sequence[str]], caption: str = "", *, texts: Sequence[int] = (0,),
    wide: Sequence[int] = (), small: bool = False,
) -> Block:  # fmt: skip
    """A table; columns in `texts` stand to the left, those in `wide` share what room there is."""
    return {
        "kind": "table",
        "caption": caption,
        "heads": list(heads),
        "rows": [list(row) for row in rows],
        "texts": list(texts),
        "wide": list(wide),
        "small": small,
    }


def figure(name: str, alt: str, caption: str = "", width: int = 100) -> Block:
    """A picture with the words that stand for it; the width in per cent of the column."""
    return {"kind": "figure", "name": name, "alt": alt, "caption": caption, "width": width}


def row_of_figures(figures: Sequence[Block], caption: str = "") -> Block:
    """Pictures side by side."""
    return {"kind": "figures", "figures": list(figures), "caption": caption}


def box(title: str, *paragraphs: str) -> Block:
    """A remark set apart."""
    return {"kind": "box", "title": title, "paragraphs": [p for p in paragraphs if p]}


def care(*parts: str) -> list[Block]:
    """The cautions of parts of the machine, one block for each."""
    from thinstock.words.cautions import all_cautions

    known = all_cautions()
    return [
        {"kind": "care", "part": part, "title": known[part].title, "texts": list(known[part].texts)} for part in parts
    ]


def note(text: str) -> Block:
    """A remark in small type."""
    return {"kind": "note", "text": text}


def steps(views: Sequence[dict[str, Any]], title: str, answer: str) -> Block:
    """Steps of a worked calculation."""
    return {"kind": "steps", "title": title, "answer": answer, "steps": list(views)}
