"""What can hurt people or a vessel, by part of the machine, read once from cautions.toml.

The texts are printed with results and advice; nothing here judges whether a machine is safe.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from types import MappingProxyType


@dataclass(frozen=True, kw_only=True)
class Cautions:
    """The cautions of one part of the machine."""

    part: str
    title: str
    texts: tuple[str, ...]


@lru_cache(maxsize=1)
def all_cautions() -> MappingProxyType[str, Cautions]:
    """Every part with its cautions, in the order of the file."""
    rows = tomllib.loads(files("thinstock.words").joinpath("cautions.toml").read_text(encoding="utf-8"))
    return MappingProxyType(
        {part: Cautions(part=part, title=row["title"], texts=tuple(row["cautions"])) for part, row in rows.items()}
    )


def cautions_for(parts: Iterable[str]) -> tuple[Cautions, ...]:
    """The cautions of some parts in the order of the machine, what goes with every report first."""
    wanted = {"general", *parts}
    unknown = wanted - set(all_cautions())
    if unknown:
        raise KeyError(f"no cautions for {', '.join(sorted(unknown))}; parts: {', '.join(all_cautions())}")
    return tuple(found for part, found in all_cautions().items() if part in wanted)
