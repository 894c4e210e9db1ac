"""Blocks on a terminal: lines that know the width they have. What does not fit beside stands below; nothing runs over.

Everything reads without colour and in a pipe. On a terminal headings are set in bold; nothing else depends on it.
"""

from __future__ import annotations

import math
import os
import shutil
import sys
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import permutations
from typing import TYPE_CHECKING, TextIO

from thinstock.errors import visible
from thinstock.tell import blocks as b
from thinstock.words.figures import HELD_TOGETHER

if TYPE_CHECKING:
    from rich.console import Console

WIDTH = 104
"""Columns of a page that is not shown on a terminal."""
NARROWEST, WIDEST = 40, 120
MANY = 1.2
"""Lines to a row from which a table is hard to read."""
LONGEST = 400
"""Columns of a list where a line may be as long as it is."""
GAP = 2
"""Blanks between columns of a table."""
BESIDE = 44
"""Columns of what stands at the side, where its sentences have no width of their own."""


def page_width() -> int:
    """Columns to lay a page out in: those of the terminal; in a pipe those asked for by COLUMNS, or the usual ones."""
    if not has_width(sys.stdout):
        return WIDTH
    return max(NARROWEST, min(shutil.get_terminal_size((WIDTH, 50)).columns, WIDEST))


def list_width() -> int:
    """Columns of a list: in a pipe a row is a line, however long, to be searched; COLUMNS asks otherwise."""
    return page_width() if has_width(sys.stdout) else LONGEST


def has_width(stream: TextIO) -> bool:
    """Whether what is written there has a width: on a terminal, or asked for by COLUMNS."""
    return stream.isatty() or os.environ.get("COLUMNS", "").isdigit()


# -- blocks ----------------------------------------------------------------------------------------------------------


def page(told: Iterable[b.Block], width: int | None = None) -> Page:
    """A page of blocks, a line free between any two."""
    room = page_width() if width is None else width
    made = Page()
    for one in told:
        body = lines(one, room)
        made.add(*([""] if made.lines and body else []), *body)
        made.heading(*headings(one))
    return made


def lines(one: b.Block, width: int, read: int | None = None) -> list[str]:
    """A block in lines of at most this width; sentences below a table in lines of at most `read`."""
    match one:
        case b.Paragraph():
            then = None if one.hang is None else " " * one.hang
            return wrapped(one.text, width=width, first=one.lead, then=then)
        case b.Points():
            room = min(read or width, width)
            return [line for item in one.items for line in wrapped(item, width=room, first="  ", then="    ")]
        case b.Head():
            return wrapped(one.text, width=width)
        case b.Note():
            return wrapped(f"{one.part}: {one.text}" if one.part else one.text, width=width, first="* ")
        case b.Caution() | b.Box():
            return _titled(one.title, one.texts if isinstance(one, b.Caution) else one.paragraphs, width)
        case b.Facts():
            return _facts(one, width)
        case b.Table():
            return _table(one, width)
        case b.Group():
            above = wrapped(one.title, width=width) if one.title else []
            return above + [line for inside in one.blocks for line in lines(inside, width, read)]
        case b.Beside():
            return _side_by_side(one, width)
        case b.Figure():
            return wrapped(one.alt, width=width, first="  ")
        case b.Figures():
            return [line for inside in one.figures for line in lines(inside, width)]
        case b.Steps():
            return wrapped(f"{one.title}: {one.answer}", width=width)


def headings(one: b.Block) -> list[str]:
    """Texts that are headings in a block."""
    match one:
        case b.Head():
            return [one.text]
        case b.Caution() | b.Box() | b.Table():
            heads = [column.head for column in one.columns if column.bold] if isinstance(one, b.Table) else []
            return [*([one.title] if one.title else []), *heads]
        case b.Group():
            return [*([one.title] if one.title else []), *(text for inside in one.blocks for text in headings(inside))]
        case b.Beside():
            return [text for inside in (*one.left, *one.right) for text in headings(inside)]
        case _:
            return []


def _titled(title: str, texts: Iterable[str], width: int) -> list[str]:
    return [*wrapped(title, width=width), *(line for text in texts for line in wrapped(text, width=width, first="  "))]


def _facts(one: b.Facts, width: int) -> list[str]:
    rows = [fact for fact in one.rows if fact.said]
    names = [fact.name or fact.label for fact in rows]
    room = min(max([16, *map(len, names)]), max(width // 3, 16))
    found = []
    for name, fact in zip(names, rows, strict=True):
        found += wrapped(fact.said, width=width, first=f"  {name:<{room}} ")
    return found


def _below(told: Iterable[b.Block], width: int, read: int | None = None) -> list[str]:
    """Blocks one below the other, a line free between any two."""
    found: list[str] = []
    for one in told:
        body = lines(one, width, read)
        found += [*([""] if found and body else []), *body]
    return found


def _side_by_side(one: b.Beside, width: int) -> list[str]:
    """Two sets beside each other where both fit as they are, else one below the other."""
    left, right = _below(one.left, width), _below(one.right, width, None if one.free else BESIDE)
    return beside(left, right, width=width) if left and right else left or right


# -- tables ----------------------------------------------------------------------------------------------------------


@dataclass(eq=False)
class _Column:
    """A column ready to be laid: lines of its head, unit, cells, and how narrow it may get."""

    head: str
    unit: str
    cells: list[str]
    left: bool
    breaks: bool
    """Whether its cells may be broken into lines."""
    hang: str = ""
    width: int = 0
    bar: bool = False
    known: dict[int, list[int]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.width = self.width or self.natural

    @property
    def natural(self) -> int:
        """Columns of the terminal that it takes as it is."""
        return max(map(len, [self.head, self.unit, *self.cells]), default=0)

    @property
    def least(self) -> int:
        """Columns that it takes with every line broken that may be."""
        parts = [self.unit, *self.head.split(" ")]
        for cell in self.cells:
            start = cell[: len(cell) - len(cell.lstrip())]
            first, *more = cell.split() or [""]
            parts += [start + first, *(self.hang + word for word in more)] if self.breaks else [cell]
        return max(map(len, parts), default=0)

    def broken(self, text: str, *, cell: bool = True) -> list[str]:
        """A text in lines of the column's width."""
        if len(text) <= self.width or (cell and not self.breaks):
            return [text]
        if not cell:
            return textwrap.wrap(text, self.width, break_on_hyphens=False)
        start = text[: len(text) - len(text.lstrip())]
        return textwrap.wrap(
            text.strip(), self.width, initial_indent=start, subsequent_indent=self.hang, break_on_hyphens=False
        )

    def heights(self, width: int) -> list[int]:
        """Lines that each cell takes in a column so wide."""
        if width not in self.known:
            self.known[width] = [len(replace(self, width=width).broken(cell)) for cell in self.cells]
        return self.known[width]

    def set(self, text: str) -> str:
        """A line at its side of the column."""
        return text.ljust(self.width) if self.left else text.rjust(self.width)


def _table(one: b.Table, width: int) -> list[str]:
    """A table in lines: as it is where it fits, else with long words broken into lines, else in pieces one below."""
    found = wrapped(one.title, width=width) if one.title else []
    for k, part in enumerate(_parts(_columns(one), width)):
        found += [*([""] if k else []), *_laid(part, heads_low=one.heads_low)]
    return found + (wrapped(one.foot, width=width, first="  ", then="  ") if one.foot else [])


def _columns(one: b.Table) -> list[_Column]:
    made = []
    for k, column in enumerate(one.columns):
        body = [row[k] for row in one.rows]
        cells = [bar(cell.share, cell.length) if isinstance(cell, b.Bar) else str(cell) for cell in body]
        if column.sort == "number":
            cells = at_point(cells)
        hang = ""
        if k == 0 and (one.indented or one.marked):
            cells = [f"{'→ ' if i in one.marked else '  '}{cell}" for i, cell in enumerate(cells)]
            hang = "    "
        head = column.head if column.short is None else column.short
        word = column.sort == "word"
        drawn = any(isinstance(cell, b.Bar) for cell in body)
        if one.heads_low and not column.unit:
            head = head.replace(" ", HELD_TOGETHER)
        made.append(_Column(head, column.unit, cells, word, word and not drawn, hang, bar=drawn))
    return made


def _total(parts: Sequence[_Column], widths: Sequence[int]) -> int:
    return sum(widths) + GAP * (len(parts) - 1)


def _parts(made: list[_Column], width: int) -> list[list[_Column]]:
    """Columns in sets that fit, each begun with the first column.

    Long words are broken before a set is parted; bars go where they would break many lines.
    """
    if _total(made, [c.natural for c in made]) <= width:
        return [made]
    if _total(made, [c.least for c in made]) <= width:
        _narrow(made, width)
        if _height(made, {}) > MANY * len(made[0].cells) and any(c.bar for c in made):
            return _parts([_again(c) for c in made if not c.bar], width)
        return [made]
    parts: list[list[_Column]] = [[made[0]]]
    for column in made[1:]:
        last = [*parts[-1], column]
        if len(parts[-1]) > 1 and _total(last, [c.natural for c in last]) > width:
            last = [_again(made[0]), column]
            parts.append(last)
        parts[-1] = last
    for part in parts:
        _narrow(part, width)
    return parts


def _again(column: _Column) -> _Column:
    return replace(column, width=column.natural)


def _narrow(part: Sequence[_Column], width: int) -> None:
    """Narrow columns until the set fits, so that few lines are broken: letters are taken, then moved while it helps."""
    for _ in range(_total(part, [c.width for c in part]) - width):
        able = [c for c in part if c.width > c.least]
        if not able:
            return
        min(able, key=lambda c: (_height(part, {c: c.width - 1}), -c.width)).width -= 1
    while True:
        moves = [
            {c: c.width - k, d: d.width + k}
            for c, d in permutations([c for c in part if c.breaks], 2)
            for k in range(1, min(c.width - c.least, d.natural - d.width) + 1)
        ]
        best = min(moves, key=lambda move: _height(part, move), default={})
        if _height(part, best) >= _height(part, {}):
            return
        for column, letters in best.items():
            column.width = letters


def _height(part: Sequence[_Column], widths: Mapping[_Column, int]) -> int:
    """Lines of a set with some of its columns so wide."""
    return sum(map(max, zip(*(c.heights(widths.get(c, c.width)) for c in part), strict=True)))


def _laid(part: Sequence[_Column], *, heads_low: bool) -> list[str]:
    heads = [c.broken(c.head, cell=False) for c in part]
    units = [c.unit for c in part]
    if heads_low and any(units):
        low = [not unit and len(head) == 1 for unit, head in zip(units, heads, strict=True)]
        units = [head[0] if at else unit for at, head, unit in zip(low, heads, units, strict=True)]
        heads = [[""] if at else head for at, head in zip(low, heads, strict=True)]
    rows = [heads] if any(any(head) for head in heads) else []
    rows += [[[unit] for unit in units]] if any(units) else []
    rows += [[c.broken(c.cells[i]) for c in part] for i in range(len(part[0].cells))]
    found = []
    for row in rows:
        for k in range(max(map(len, row))):
            cells = (c.set(texts[k] if k < len(texts) else "") for c, texts in zip(part, row, strict=True))
            found.append((" " * GAP).join(cells).rstrip())
    return found


def at_point(texts: Sequence[str]) -> list[str]:
    """Texts padded so that their decimal points stand below each other; a dash stands on the units."""
    before = [len(t.split(".")[0]) for t in texts]
    after = [len(t) - n for t, n in zip(texts, before, strict=True)]
    left, right = max(before, default=0), max(after, default=0)
    return [" " * (left - n) + t + " " * (right - a) for t, n, a in zip(texts, before, after, strict=True)]


# -- lines -----------------------------------------------------------------------------------------------------------


def beside(left: Sequence[str], right: Sequence[str], *, gap: int = 3, width: int = WIDTH) -> list[str]:
    """Two blocks next to each other where the page is wide enough, else one below the other."""
    room = max((len(line) for line in left), default=0) + gap
    if room + max((len(line) for line in right), default=0) > width:
        return [*left, "", *right]
    found = []
    for k in range(max(len(left), len(right))):
        first = left[k] if k < len(left) else ""
        second = right[k] if k < len(right) else ""
        found.append(f"{first:<{room}}{second}".rstrip())
    return found


def wrapped(text: str, *, width: int, first: str = "", then: str | None = None) -> list[str]:
    """A paragraph in lines, the first begun with `first`, the others with `then`; a word longer than all is broken."""
    rest = " " * len(first) if then is None else then
    return textwrap.wrap(text, width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)


def bar(share: float, length: int = 20) -> str:
    """A black bar for a share from 0 to 1, in eighths of a character."""
    if not math.isfinite(share):
        return ""
    eighths = round(min(max(share, 0.0), 1.0) * length * 8)
    full, part = divmod(eighths, 8)
    return "█" * full + (" ▏▎▍▌▋▊▉"[part] if part else "")


# -- pages -----------------------------------------------------------------------------------------------------------


@dataclass
class Page:
    """Lines to be shown; headings are remembered so that a terminal can set them in bold."""

    lines: list[str] = field(default_factory=list)
    bold: set[str] = field(default_factory=set)

    def add(self, *more: str) -> None:
        """Put lines on the page."""
        self.lines += more

    def heading(self, *parts: str) -> None:
        """Remember texts that are headings wherever they stand on the page."""
        self.bold.update(parts)

    def text(self) -> str:
        """The whole page as plain text."""
        return visible("\n".join(self.lines)).replace(HELD_TOGETHER, " ")

    def show(self) -> None:
        """Print the page."""
        if not sys.stdout.isatty():
            print(encodable(self.text()))
            return
        from rich.text import Text

        shown = Text(encodable(self.text()))
        for part in self.bold:
            shown.highlight_words([encodable(part)], "bold")
        console(sys.stdout).print(shown)


def console(stream: TextIO) -> Console:
    """What sets colours and bars on a terminal; our own codes pass what makes texts visible (`cli.streams`)."""
    from rich.console import Console

    return Console(file=getattr(stream, "beneath", stream), highlight=False, soft_wrap=True)


PLAIN_LETTERS = str.maketrans(
    {"²": "2", "³": "3", "°": "deg", "µ": "u", "·": "*", "→": "->", "−": "-", "–": "-", "±": "+/-", "×": "x",
     "≤": "<=", "≥": ">=", "█": "#", "▏": "", "▎": "", "▍": "", "▌": "#", "▋": "#", "▊": "#", "▉": "#"}
)  # fmt: skip


def encodable(text: str) -> str:
    """A text that the output can carry: letters it lacks are written in plain ones."""
    encoding = getattr(sys.stdout, "encoding", None) or "ascii"
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return "".join(letter if _carried(letter, encoding) else letter.translate(PLAIN_LETTERS) for letter in text)
    return text


def _carried(letter: str, encoding: str) -> bool:
    try:
        letter.encode(encoding)
    except UnicodeEncodeError:
        return False
    return True
