"""Text for the terminal: numbers with the digits they deserve, tables that align, bars, and pages of them.

Everything reads without colour and in a pipe. On a terminal headings are set in bold; nothing else depends on it.
"""

from __future__ import annotations

import math
import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from thinstock.words.figures import HELD_TOGETHER as HELD_TOGETHER
from thinstock.words.figures import NONE as NONE
from thinstock.words.figures import Edge as Edge
from thinstock.words.figures import figure as figure
from thinstock.words.figures import plus_minus as plus_minus
from thinstock.words.figures import rounded as rounded

WIDTH = 104
"""Columns of a page that is not shown on a terminal."""


# -- layout --------------------------------------------------------------------------------------------------------


def at_point(texts: Sequence[str]) -> list[str]:
    """Texts padded so that their decimal points stand below each other; a dash stands on the units."""
    before = [len(t.split(".")[0]) for t in texts]
    after = [len(t) - b for t, b in zip(texts, before, strict=True)]
    left, right = max(before, default=0), max(after, default=0)
    return [" " * (left - b) + t + " " * (right - a) for t, b, a in zip(texts, before, after, strict=True)]


def table(
    heads: Sequence[Sequence[str]],
    rows: Sequence[Sequence[str]],
    *,
    texts: Iterable[int] = (0,),
    ends: Iterable[int] = (),
) -> list[str]:
    """Lines of a table: numbers at their decimal points, columns in `texts` to the left, in `ends` to the right."""
    words, free = set(texts), set(ends)
    count = len(heads[0]) if heads else len(rows[0])
    columns = []
    for k in range(count):
        body = [row[k] for row in rows]
        if k not in words and k not in free:
            body = at_point(body)
        top = [head[k] for head in heads]
        width = max((len(t) for t in [*top, *body]), default=0)
        fit = str.ljust if k in words else str.rjust
        columns.append([fit(t, width) for t in [*top, *body]])
    return ["  ".join(cells).rstrip() for cells in zip(*columns, strict=True)]


def beside(left: Sequence[str], right: Sequence[str], *, gap: int = 3, width: int = WIDTH) -> list[str]:
    """Two blocks next to each other where the page is wide enough, else one below the other."""
    room = max((len(line) for line in left), default=0) + gap
    if room + max((len(line) for line in right), default=0) > width:
        return [*left, "", *right]
    lines = []
    for k in range(max(len(left), len(right))):
        first = left[k] if k < len(left) else ""
        second = right[k] if k < len(right) else ""
        lines.append(f"{first:<{room}}{second}".rstrip())
    return lines


def wrapped(text: str, *, width: int, first: str = "", then: str | None = None) -> list[str]:
    """A paragraph in lines, the first begun with `first`, the others with `then`."""
    rest = " " * len(first) if then is None else then
    return textwrap.wrap(
        text, width, initial_indent=first, subsequent_indent=rest, break_long_words=False, break_on_hyphens=False
    )


def bar(share: float, length: int = 20) -> str:
    """A black bar for a share from 0 to 1, in eighths of a character."""
    if not math.isfinite(share):
        return ""
    eighths = round(min(max(share, 0.0), 1.0) * length * 8)
    full, part = divmod(eighths, 8)
    return "█" * full + (" ▏▎▍▌▋▊▉"[part] if part else "")


# -- pages ---------------------------------------------------------------------------------------------------------


@dataclass
class Page:
    """Lines to be shown; headings are remembered so that a terminal can set them in bold."""

    lines: list[str] = field(default_factory=list)
    bold: set[str] = field(default_factory=set)

    def add(self, *lines: str) -> None:
        """Put lines on the page."""
        self.lines += lines

    def heading(self, *parts: str) -> None:
        """Remember texts that are headings wherever they stand on the page."""
        self.bold.update(parts)

    def text(self) -> str:
        """The whole page as plain text."""
        return "\n".join(self.lines).replace(HELD_TOGETHER, " ")

    def show(self) -> None:
        """Print the page."""
        if not sys.stdout.isatty():
            print(encodable(self.text()))
            return
        from rich.console import Console
        from rich.text import Text

        shown = Text(encodable(self.text()))
        for part in self.bold:
            shown.highlight_words([encodable(part)], "bold")
        Console(highlight=False, soft_wrap=True).print(shown)


def page_width() -> int:
    """Columns to lay a page out in."""
    if not sys.stdout.isatty():
        return WIDTH
    return max(60, min(shutil.get_terminal_size((WIDTH, 50)).columns, 110))


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
