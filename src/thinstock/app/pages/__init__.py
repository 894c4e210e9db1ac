"""The pages: one module here for each, found by itself. A page says its name, its title, its place and its routes."""

from __future__ import annotations

import pkgutil
from dataclasses import dataclass
from functools import lru_cache
from importlib import import_module
from typing import Any


@dataclass(frozen=True, kw_only=True)
class Page:
    """One page of the tool."""

    name: str
    """Also the first part of its addresses."""
    title: str
    place: int
    """Where it stands in the list of pages."""
    routes: tuple[Any, ...]


@lru_cache(maxsize=1)
def all_pages() -> tuple[Page, ...]:
    """Every page in its place: whatever module in this folder holds a `PAGE`."""
    found = [import_module(f"{__name__}.{module.name}") for module in pkgutil.iter_modules(__path__)]
    return tuple(sorted((m.PAGE for m in found if hasattr(m, "PAGE")), key=lambda page: page.place))
