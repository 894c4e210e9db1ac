"""Names of a package that live in modules loaded only when the first of them is asked for."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from importlib import import_module
from typing import Any


def brought_in(module: str, home: Mapping[str, str], name: str) -> Any:
    """What a module's own `__getattr__` gives: a name out of the module beside it that `home` tells, kept from then on.

    Raises `AttributeError` for a name that has no home.
    """
    if name not in home:
        raise AttributeError(f"module {module!r} has no attribute {name!r}")
    scope = vars(sys.modules[module])
    value = scope[name] = getattr(import_module(f".{home[name]}", scope["__package__"]), name)
    return value
