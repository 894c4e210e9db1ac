"""What was found as JSON: plain objects, lists, texts and numbers in base SI; what is no number is null."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.tell import blocks as b

FORMAT = 1
"""Version of the shape of the JSON; raised when a name changes its meaning."""


def plain(found: Any, leave: tuple[str, ...] = (), *, ends: bool = False) -> Any:
    """Anything as JSON holds it: dataclasses and mappings as objects; fields named in `leave` are left out.

    What has no end is null as well, or with `ends` said as a text that `number` reads.
    """
    if found is None or isinstance(found, str | bool | int):
        return found
    if isinstance(found, float | np.floating):
        said = str(float(found)) if ends and not math.isnan(found) else None
        return float(found) if math.isfinite(found) else said
    if isinstance(found, np.generic):
        return found.item()
    if isinstance(found, np.ndarray):
        return plain(found.tolist(), leave, ends=ends)
    if isinstance(found, list | tuple):
        return [plain(value, leave, ends=ends) for value in found]
    if isinstance(found, Mapping):
        keys = {key: " ~ ".join(key) if isinstance(key, tuple) else str(key) for key in found}
        return {said: plain(found[key], leave, ends=ends) for key, said in keys.items()}
    if dataclasses.is_dataclass(found) and not isinstance(found, type):
        fields = {f.name: getattr(found, f.name) for f in dataclasses.fields(found) if f.name not in leave}
        more = {name: getattr(found, name) for name in ("notes", "advice") if hasattr(type(found), name)}
        return {name: plain(value, leave, ends=ends) for name, value in {**fields, **more}.items()}
    return str(found) if isinstance(found, Path) else found


def number(value: Any) -> float:
    """A number as it was before it was made plain."""
    return math.nan if value is None else float(value)


def dumped(found: Any, leave: tuple[str, ...] = (), **more: Any) -> str:
    """One JSON object as text."""
    return json.dumps({"format": FORMAT, **more, **plain(found, leave)}, indent=1, allow_nan=False)


def refusal(refused: Refused) -> dict[str, Any]:
    """A refusal as one object: every fault with its field, value, bound and remedy."""
    return {"refused": [{f.name: plain(getattr(fault, f.name)) for f in dataclasses.fields(fault)} for fault in
                        refused.faults]}  # fmt: skip


def blocks(told: Iterable[b.Block]) -> list[dict[str, Any]]:
    """Blocks as objects; a table's rows are lists in the order of its columns, numbers whole and in their unit."""
    return [_block(one) for one in told]


def _block(one: b.Block) -> dict[str, Any]:
    match one:
        case b.Group():
            return {"kind": one.kind, "title": one.title, "blocks": blocks(one.blocks)}
        case b.Beside():
            return {"kind": "group", "title": "", "blocks": blocks((*one.left, *one.right))}
        case b.Table():
            columns = [{"key": c.key, "head": c.head, "unit": c.unit} for c in one.columns]
            rows = [[_cell(cell) for cell in row] for row in one.rows]
            return {"kind": one.kind, "key": one.key, "caption": one.caption or one.title, "columns": columns,
                    "rows": rows, "foot": one.foot}  # fmt: skip
        case b.Facts():
            facts = [{"key": fact.key, "label": fact.label, "said": fact.said} for fact in one.rows]
            return {"kind": one.kind, "rows": facts}
        case _:
            return {"kind": one.kind, **{f.name: plain(getattr(one, f.name)) for f in dataclasses.fields(one)}}


def _cell(cell: b.Cell) -> Any:
    if isinstance(cell, b.Bar):
        return plain(cell.share)
    if isinstance(cell, b.Number) and cell.value is not None:
        return plain(cell.value)
    return str(cell)
