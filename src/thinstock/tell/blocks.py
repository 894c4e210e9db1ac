"""What is told, as plain data: paragraphs, facts, tables, figures, cautions, notes. No markup, no width, no file.

A subject (a run, limits, a comparison, a study, a survey) is told once in these blocks, in words looked up by key;
`terminal`, `page`, `paper`, `record` and `tables` each set the same blocks. A picture is kept apart by its name, so
that a page may fetch it or carry it inside.
"""

from __future__ import annotations

import base64
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, ClassVar, Literal

# -- words -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Paragraph:
    """Sentences that run on."""

    kind: ClassVar[str] = "words"
    text: str
    lead: str = ""
    """What begins its first line: a letter, a mark, blanks."""
    hang: int | None = None
    """Blanks before its further lines; as many as the lead has letters where it is not said."""


@dataclass(frozen=True, kw_only=True)
class Points:
    """A list."""

    kind: ClassVar[str] = "points"
    items: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Head:
    """A heading."""

    kind: ClassVar[str] = "head"
    text: str


@dataclass(frozen=True, kw_only=True)
class Note:
    """A remark in small type, on a part of the machine or on nothing in particular."""

    kind: ClassVar[str] = "note"
    text: str
    part: str = ""
    level: str = ""


@dataclass(frozen=True, kw_only=True)
class Caution:
    """What can hurt at one part of the machine."""

    kind: ClassVar[str] = "care"
    part: str
    title: str
    texts: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Box:
    """A remark set apart."""

    kind: ClassVar[str] = "box"
    title: str
    paragraphs: tuple[str, ...]


# -- numbers ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Piece:
    """A piece of a line: what sort it is (num, unit, pm, word, sign, line: a word that begins a line) and its text."""

    sort: str
    text: str


@dataclass(frozen=True, kw_only=True)
class Fact:
    """One number that matters: its name, the number in pieces with a line below, and the same said in one line."""

    key: str
    label: str
    said: str
    name: str = ""
    """The name where a line says it; the label where that is empty."""
    pieces: tuple[Piece, ...] = ()
    below: str = ""
    notes: tuple[int, ...] = ()
    """Numbers of the notes that belong to it, from 1."""


@dataclass(frozen=True, kw_only=True)
class Facts:
    """The numbers that matter, in the order in which they are read."""

    kind: ClassVar[str] = "facts"
    rows: tuple[Fact, ...]


@dataclass(frozen=True)
class Number:
    """A cell that is a number: as people read it, and whole, in the unit of its column."""

    text: str
    value: float | None = None

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True)
class Bar:
    """A cell that is a bar for a share from 0 to 1."""

    share: float
    sort: str = "black"
    """How it is set: black, short (a limit that is passed) or window (practice, no source)."""
    length: int = 8
    """Letters of a terminal where it is whole."""

    def __str__(self) -> str:
        return ""


@dataclass(frozen=True)
class Words:
    """A cell of words, with more about it in smaller type where there is room."""

    text: str
    more: str = ""

    def __str__(self) -> str:
        return self.text


Cell = str | Words | Number | Bar
Sort = Literal["word", "number", "end"]


@dataclass(frozen=True, kw_only=True)
class Column:
    """A column of a table."""

    head: str = ""
    unit: str = ""
    sort: Sort = "number"
    """word: to the left; number: at its decimal point; end: to the right as it stands."""
    short: str | None = None
    """The head where room is scarce."""
    bold: bool = False
    """Whether its head is the heading of the table."""
    key: str = ""
    grows: bool = False
    """Whether it shares what room is left."""

    @property
    def whole(self) -> str:
        """Head and unit in one."""
        return f"{self.head}, {self.unit}" if self.unit and self.head else self.head or self.unit


@dataclass(frozen=True, kw_only=True)
class Table:
    """Columns and rows; cells are words, numbers or bars."""

    kind: ClassVar[str] = "table"
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    key: str = ""
    title: str = ""
    """What stands above it as a heading."""
    caption: str = ""
    """What it shows, in a sentence."""
    foot: str = ""
    small: bool = False
    marked: frozenset[int] = frozenset()
    """Rows that stand out."""
    indented: bool = True
    """Whether a terminal sets the rows in below the title."""
    heads_low: bool = False
    """Whether a head without a unit stands beside the units of the others."""

    def only(self, *keys: str) -> Table:
        """The same with these columns alone, in this order."""
        at = [next(k for k, column in enumerate(self.columns) if column.key == key) for key in keys]
        columns = tuple(self.columns[k] for k in at)
        return replace(self, columns=columns, rows=tuple(tuple(row[k] for k in at) for row in self.rows))

    @property
    def heads(self) -> list[str]:
        """Head and unit of every column in one."""
        return [column.whole for column in self.columns]

    @property
    def texts(self) -> list[list[str]]:
        """The cells as they are read."""
        return [[str(cell) for cell in row] for row in self.rows]

    @property
    def left(self) -> list[int]:
        """Columns that stand to the left."""
        return [k for k, column in enumerate(self.columns) if column.sort == "word"]

    @property
    def growing(self) -> list[int]:
        """Columns that share what room is left."""
        return [k for k, column in enumerate(self.columns) if column.grows]

    @property
    def tails(self) -> list[int]:
        """Most letters behind the point, by column, so that numbers stand at their points."""
        return [
            max((len(str(row[k]).partition(".")[2]) for row in self.rows), default=0) for k in range(len(self.heads))
        ]


# -- pictures --------------------------------------------------------------------------------------------------------


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
class Figure:
    """A picture by its name, with the words that stand for it."""

    kind: ClassVar[str] = "figure"
    name: str
    alt: str
    caption: str = ""
    width: int = 100
    """Per cent of the column."""
    floats: bool = False
    """Tall: on paper what follows may fill the page before it."""


@dataclass(frozen=True, kw_only=True)
class Figures:
    """Pictures side by side."""

    kind: ClassVar[str] = "figures"
    figures: tuple[Figure, ...]
    caption: str = ""


# -- together --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Steps:
    """Steps of a worked calculation."""

    kind: ClassVar[str] = "steps"
    title: str
    answer: str
    steps: tuple[Mapping[str, Any], ...]


@dataclass(frozen=True, kw_only=True)
class Group:
    """Blocks that belong closely together, under a title."""

    kind: ClassVar[str] = "group"
    blocks: tuple[Block, ...]
    title: str = ""


@dataclass(frozen=True, kw_only=True)
class Beside:
    """Two sets of blocks that stand side by side where there is room."""

    kind: ClassVar[str] = "beside"
    left: tuple[Block, ...]
    right: tuple[Block, ...]
    free: bool = False
    """Whether the right side may take all the room there is."""


Block = Paragraph | Points | Head | Note | Caution | Box | Facts | Table | Figure | Figures | Steps | Group | Beside


@dataclass(frozen=True, kw_only=True)
class Chapter:
    """A part of a handout."""

    key: str
    title: str
    blocks: tuple[Block, ...]
    pictures: dict[str, Picture] = field(default_factory=dict)


# -- made shortly ----------------------------------------------------------------------------------------------------


def words(*sentences: str) -> Paragraph:
    """A paragraph of sentences."""
    return Paragraph(text=" ".join(s.strip() for s in sentences if s and s.strip()))


def marked(texts: Iterable[str], lead: str = "*  ") -> tuple[Paragraph, ...]:
    """Sentences, each behind a mark."""
    return tuple(Paragraph(text=text, lead=lead) for text in texts)


def points(items: Iterable[str]) -> Points:
    """A list."""
    return Points(items=tuple(i for i in items if i))


def head(text: str) -> Head:
    """A heading inside a chapter."""
    return Head(text=text)


def note(text: str) -> Note:
    """A remark in small type."""
    return Note(text=text)


def box(title: str, *paragraphs: str) -> Box:
    """A remark set apart."""
    return Box(title=title, paragraphs=tuple(p for p in paragraphs if p))


def care(*parts: str) -> list[Caution]:
    """The cautions of parts of the machine, one block for each."""
    from thinstock.words.cautions import all_cautions

    known = all_cautions()
    return [Caution(part=part, title=known[part].title, texts=tuple(known[part].texts)) for part in parts]


def table(
    heads: Sequence[str], rows: Iterable[Sequence[Cell]], caption: str = "", *, texts: Sequence[int] = (0,),
    wide: Sequence[int] = (), small: bool = False,
) -> Table:  # fmt: skip
    """A table by its heads; columns in `texts` stand to the left, those in `wide` share what room there is."""
    columns = tuple(
        Column(head=text, sort="word" if k in texts else "number", grows=k in wide) for k, text in enumerate(heads)
    )
    return Table(columns=columns, rows=tuple(tuple(row) for row in rows), caption=caption, small=small)


def columns(heads: Iterable[tuple[str, str]], words: int = 1) -> tuple[Column, ...]:
    """Columns by head and unit; so many of them hold words, the others numbers."""
    return tuple(
        Column(head=text, unit=unit, sort="word" if k < words else "number") for k, (text, unit) in enumerate(heads)
    )


def lined(
    *, key: str, heads: Iterable[tuple[str, str]], rows: Iterable[Sequence[Cell]], words: int = 1, caption: str = "",
    foot: str = "",
) -> Table:  # fmt: skip
    """A table by the head and unit of each column; so many columns hold words, the others numbers."""
    body = tuple(tuple(row) for row in rows)
    return Table(key=key, columns=columns(heads, words), rows=body, caption=caption, foot=foot)


def figure(name: str, alt: str, caption: str = "", width: int = 100, floats: bool = False) -> Figure:
    """A picture with the words that stand for it; the width in per cent of the column."""
    return Figure(name=name, alt=alt, caption=caption, width=width, floats=floats)


def row_of_figures(figures: Sequence[Figure], caption: str = "") -> Figures:
    """Pictures side by side."""
    return Figures(figures=tuple(figures), caption=caption)


def steps(views: Sequence[Mapping[str, Any]], title: str, answer: str) -> Steps:
    """Steps of a worked calculation."""
    return Steps(title=title, answer=answer, steps=tuple(views))
