"""Lines and tables of screens that are not told in blocks yet; the rest is `tell.terminal`."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from thinstock.tell.terminal import WIDTH as WIDTH
from thinstock.tell.terminal import Page as Page
from thinstock.tell.terminal import at_point as at_point
from thinstock.tell.terminal import bar as bar
from thinstock.tell.terminal import beside as beside
from thinstock.tell.terminal import encodable as encodable
from thinstock.tell.terminal import page_width as page_width
from thinstock.tell.terminal import wrapped as wrapped
from thinstock.words.figures import HELD_TOGETHER as HELD_TOGETHER
from thinstock.words.figures import NONE as NONE
from thinstock.words.figures import Edge as Edge
from thinstock.words.figures import figure as figure
from thinstock.words.figures import plus_minus as plus_minus
from thinstock.words.figures import rounded as rounded


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
