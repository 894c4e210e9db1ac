"""What is unusual, assumed or not given in a machine, told once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

from thinstock.tell.blocks import Block, Column, Group, Paragraph, Table, words
from thinstock.words.phrase import phrase
from thinstock.words.quantity import show

if TYPE_CHECKING:
    from thinstock.machine.provenance import Known


def told(title: str, known: Sequence[Known], odd: Sequence[tuple[str, str, str]], *, everything: bool) -> list[Block]:
    """A machine's values: how many of each status, the unusual ones (address, value, usual range), limits not given."""
    counts = Counter(k.status for k in known if k.value is not None)
    statuses = ", ".join(f"{count} {status}" for status, count in counts.most_common())
    missing = tuple(Paragraph(text=k.address, lead="  ") for k in known if k.about.limit and k.value is None)
    blocks: list[Block] = [words(title), words(phrase("lists.counts", count=sum(counts.values()), list=statuses))]
    if odd:
        blocks.append(_table("lists.unusual", ("  value", "is", "usual is"), odd))
    if missing:
        blocks.append(Group(title=phrase("lists.not_known"), blocks=missing))
    if everything:
        rows = [(k.address, show(k.value, k.about), k.status, k.source) for k in known]
        blocks.append(_table("lists.every_value", ("", "", "status", "source"), rows))
    return blocks


def _table(title: str, heads: Sequence[str], rows: Sequence[tuple[str, ...]]) -> Table:
    columns = tuple(Column(head=head, sort="word") for head in heads)
    return Table(columns=columns, rows=tuple(rows), title=phrase(title))
