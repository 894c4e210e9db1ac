"""What a study found as JSON: dataclasses and mappings as objects, what is no number as null."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np


def record(found: Any, leave: tuple[str, ...] = ()) -> Any:
    """Plain objects, lists, texts and numbers; fields named in `leave` are left out."""
    if dataclasses.is_dataclass(found) and not isinstance(found, type):
        fields = {f.name: getattr(found, f.name) for f in dataclasses.fields(found) if f.name not in leave}
        for name in ("notes", "advice"):
            if hasattr(type(found), name):
                fields[name] = getattr(found, name)
        return {name: record(value, leave) for name, value in fields.items()}
    if isinstance(found, Mapping):
        return {" ~ ".join(key) if isinstance(key, tuple) else str(key): record(v, leave) for key, v in found.items()}
    if isinstance(found, np.ndarray):
        return [record(v, leave) for v in found.tolist()]
    if isinstance(found, list | tuple):
        return [record(v, leave) for v in found]
    if isinstance(found, float | np.floating):
        return float(found) if math.isfinite(found) else None
    if isinstance(found, np.generic):
        return found.item()
    return str(found) if isinstance(found, Path) else found


def dumped(found: Any, leave: tuple[str, ...] = (), **more: Any) -> str:
    """One JSON object."""
    return json.dumps({"format": 1, **more, **record(found, leave)}, indent=1, allow_nan=False)
