"""Notes: what is unusual, assumed or outside a stated range, in words a superintendent reads. Never a refusal."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Level = Literal["blind spot", "limit", "range", "assumed", "unusual", "information"]
ORDER: tuple[str, ...] = ("limit", "unusual", "range", "assumed", "blind spot", "information")
"""What is out of the ordinary on this machine first; what no run of any machine sees stands behind it."""


@dataclass(frozen=True, kw_only=True)
class Note:
    """One remark on one part of the machine."""

    id: str = ""
    """What it is about, whatever the words; empty where nothing asks."""
    part: str
    level: Level
    text: str
    cases: int | None = None
    """For runs over many cases: in how many the remark holds."""

    def __str__(self) -> str:
        many = f" (in {self.cases} cases)" if self.cases is not None else ""
        return f"{self.part}: {self.text}{many}"


def in_order(notes: list[Note]) -> list[Note]:
    """Notes with the weightiest first, each text once."""
    seen: dict[tuple[str, str], Note] = {}
    for note in notes:
        seen.setdefault((note.part, note.text), note)
    return sorted(seen.values(), key=lambda n: ORDER.index(n.level))
