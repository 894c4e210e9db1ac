"""Compiles the relations' own bodies for the marches, with an on-disk cache keyed to all sources of the package.

`compiled(relation)` gives the machine-code twin of a labelled formula, made from the very same body; other labelled
formulas that the body calls are compiled along with it. A stale cache cannot be used: its folder carries a hash of
every source file, so a changed formula means a new folder.
"""

from __future__ import annotations

import hashlib
import os
import re
import sys
import types
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numba
import numpy as np
from numba.core import config as _config

from thinstock.errors import Fault, KernelRefused
from thinstock.formula.label import Num

config: Any = _config

PACKAGE = Path(__file__).resolve().parent.parent


def user_cache_folder() -> Path:
    """The folder for things that can be made again: `THINSTOCK_CACHE`, else the system's own place."""
    given = os.environ.get("THINSTOCK_CACHE")
    if given:
        return Path(given)
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", Path.home())) / "thinstock"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "thinstock"
    return Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache")) / "thinstock"


_TAKES = re.compile(r"^\s*from thinstock\.relations(?:\.(\w+) import|\s+import \(?([\w\s,]*))", re.MULTILINE)


def compiled_sources() -> list[Path]:
    """The sources that machine code is made from: kernels, sheet, and the relations that these take, in order."""
    kept = sorted([*(PACKAGE / "kernels").glob("*.py"), *(PACKAGE / "sheet").glob("*.py")])
    waiting, seen = list(kept), set(kept)
    while waiting:
        for one, several in _TAKES.findall(waiting.pop().read_text(encoding="utf-8")):
            for name in [one] if one else [part.split()[0] for part in several.split(",") if part.strip()]:
                path = PACKAGE / "relations" / f"{name}.py"
                if path not in seen and path.exists():
                    seen.add(path)
                    waiting.append(path)
    return sorted(seen)


@lru_cache(maxsize=1)
def source_key() -> str:
    """A hash of the sources that compiled code can come from, and of the compiler's version."""
    digest = hashlib.sha256(f"{numba.__version__} {np.__version__} {sys.version}".encode())
    for path in compiled_sources():
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    digest.update((PACKAGE / "words" / "constants.toml").read_bytes())
    return digest.hexdigest()[:16]


@contextmanager
def _cache_folder() -> Iterator[bool]:
    """Point numba's cache at our own folder while a function is being declared; yields whether it can be used."""
    folder = user_cache_folder() / f"kernels-{source_key()}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        usable = os.access(folder, os.W_OK)
    except OSError:
        usable = False
    before = config.CACHE_DIR
    config.CACHE_DIR = str(folder) if usable else before
    try:
        yield usable
    finally:
        config.CACHE_DIR = before


def njit(function: Callable[..., Any]) -> Callable[..., Any]:
    """`numba.njit` with our cache: no fast-math, numpy's rules for division, and the lock released."""
    with _cache_folder() as usable:
        made: Callable[..., Any] = numba.njit(nogil=True, error_model="numpy", cache=usable)(function)
    return made


_COMPILED: dict[Any, Callable[..., Any]] = {}


def compiled(relation: Callable[..., Any]) -> Callable[..., Any]:
    """The machine-code twin of a labelled formula, from its own body."""
    body = getattr(relation, "__wrapped__", relation)
    if body in _COMPILED:
        return _COMPILED[body]
    scope = dict(body.__globals__)
    for name in body.__code__.co_names:
        used: Any = scope.get(name)
        if hasattr(used, "label") and hasattr(used, "__wrapped__"):
            scope[name] = compiled(used)
    twin = types.FunctionType(body.__code__, scope, body.__name__, body.__defaults__, body.__closure__)
    twin.__module__ = body.__module__
    twin.__qualname__ = body.__qualname__
    made = njit(twin)
    _COMPILED[body] = made
    return made


def over_cases(work: Callable[[int, int], None], cases: int, *, least: int = 2000) -> None:
    """Call `work(start, stop)` over all cases: at once when few, in threads over chunks when many."""
    workers = 1 if cases < least else os.cpu_count() or 1
    if workers == 1:
        work(0, cases)
        return
    edges = np.linspace(0, cases, 4 * workers + 1).astype(int)
    with ThreadPoolExecutor(workers) as pool:
        for future in [pool.submit(work, int(a), int(b)) for a, b in pairwise(edges) if b > a]:
            future.result()


def broadcast_cases(*values: Num) -> tuple[int, list[Any]]:
    """The number of cases and every value as a float array of that length (a number is one case)."""
    arrays = [np.asarray(v, dtype=float) for v in values]
    shape = np.broadcast_shapes(*(a.shape for a in arrays)) if arrays else ()
    if len(shape) > 1:
        bound = "values may carry one axis, the cases"
        raise KernelRefused("axes", Fault(field="values", value=f"shape {shape}", bound=bound))
    cases = shape[0] if shape else 1
    return cases, [np.ascontiguousarray(np.broadcast_to(a, (cases,))) for a in arrays]
