"""Plain and compiled faces of the marches, from one body; the machine code's cache is keyed to all its sources.

`compiled(relation)` gives the bare body of a labelled formula; `njit` marks what a march calls; a `Face` is what
callers use. Machine code is made of these very bodies when it is worth while. A stale cache cannot be used: its
folder carries a hash of every source file, so a changed formula means a new folder.
"""

from __future__ import annotations

import ast
import hashlib
import inspect
import math
import os
import re
import sys
import textwrap
import threading
import time
import types
import warnings
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from functools import lru_cache
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path
from typing import Any, TypeVar, cast

import numpy as np

from thinstock.errors import Fault, KernelRefused, Slow, needs
from thinstock.formula.label import Array, Num, worksheet
from thinstock.kernels.uncounted import uncounted, without_count
from thinstock.words.figures import figure
from thinstock.words.phrase import phrase

F = TypeVar("F", bound=Callable[..., Any])

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
    from importlib.metadata import version

    digest = hashlib.sha256(f"{version('numba')} {np.__version__} {sys.version}".encode())
    for path in compiled_sources():
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    digest.update((PACKAGE / "words" / "constants.toml").read_bytes())
    return digest.hexdigest()[:16]


@contextmanager
def _cache_folder() -> Iterator[bool]:
    """Point numba's cache at our own folder while a function is being declared; yields whether it can be used."""
    from numba.core import config as _config

    config: Any = _config
    folder = user_cache_folder() / f"kernels-{source_key()}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        usable = os.access(folder, os.W_OK)
    except OSError:
        usable = False
    with _DECLARING:  # the place is one for all threads
        before = config.CACHE_DIR
        config.CACHE_DIR = str(folder) if usable else before
        try:
            yield usable
        finally:
            config.CACHE_DIR = before


_DECLARING = threading.Lock()
_MARKED: set[Callable[..., Any]] = set()
"""Functions that machine code is made of when a face asks for it."""
_BARE: dict[Any, Callable[..., Any]] = {}
_LANED: set[Callable[..., Any]] = set()
"""Of these, marches of cases side by side."""
_MADE: dict[Any, Callable[..., Any]] = {}
_behind: ContextVar[bool] = ContextVar("behind", default=False)
COST = 20.0
"""Seconds of plain reckoning, done and expected, from which on compiling is worth its half minute: far above a run
with its limits and uncertainties."""

FAST = "fast"
"""The extra that brings the compiler."""
LONG, BEYOND = 10.0, 1200.0
"""Seconds of plain reckoning in one go that are told of beforehand, and that are refused."""


def njit(function: F) -> F:
    """Mark a part of a march. It stays a plain function; the machine code of what calls it compiles it along."""
    _MARKED.add(function)
    return function


def laned(function: F) -> F:
    """Mark a march of cases side by side: it and all it calls are made for loops over the cases."""
    _LANED.add(function)
    return njit(function)


def compiled(relation: F) -> F:
    """The bare body of a labelled formula for a march, without label; other formulas that it calls go along."""
    body: Any = getattr(relation, "__wrapped__", relation)
    if body not in _BARE:
        scope = dict(body.__globals__)
        for name in body.__code__.co_names:
            used: Any = scope.get(name)
            if hasattr(used, "label") and hasattr(used, "__wrapped__"):
                scope[name] = compiled(used)
        _BARE[body] = njit(_twin(body, scope))
    return cast(F, _BARE[body])


class _Scalars:
    """numpy's functions as the body of a formula calls them, by Python's own where there is one: numbers alone."""

    def __init__(self) -> None:
        for name in ("exp", "expm1", "log", "log1p", "sqrt", "sin", "cos", "tanh", "isfinite", "isnan", "pi"):
            setattr(self, name, getattr(math, name))
        self.abs = abs
        self.maximum = lambda a, b: a if a >= b or a != a else b

    def __getattr__(self, name: str) -> Any:
        return getattr(np, name)


_SCALARS = _Scalars()
_QUICK: dict[Any, Callable[..., Any]] = {}


def _quick(function: Any) -> Callable[..., Any]:
    """The same bodies for Python's own numbers, some five times as fast as numpy's are one by one."""
    if function not in _QUICK:
        scope = dict(function.__globals__)
        for name in function.__code__.co_names:
            used = scope.get(name)
            used = getattr(used, "body", used)
            if used is np:
                scope[name] = _SCALARS
            elif isinstance(used, types.FunctionType) and used in _MARKED:
                scope[name] = _quick(used)
        _QUICK[function] = _twin(function, scope)
    return _QUICK[function]


def innermost(own: int | None = None) -> Callable[[F], F]:
    """Mark the part of a march in which its time goes; it takes numbers and tables of them (the first `own`).

    Plain, it goes by Python's own numbers; where these would stop (a division by nothing) numpy's go on to nan. What
    is given after the first `own` is written to in place.
    """

    def marked(function: F) -> F:
        _MARKED.add(function)

        def plain(*given: Any) -> Any:
            try:
                return _quick(function)(*[_own(one) for one in given[:own]], *(given[own:] if own else ()))
            except (ArithmeticError, ValueError, TypeError):
                return function(*given)

        plain.body = function  # type: ignore[attr-defined]
        plain.__doc__ = function.__doc__
        return cast(F, plain)

    return marked


def _own(given: Any) -> Any:
    """Numbers as Python's own."""
    if isinstance(given, np.ndarray):
        return given.tolist()
    return tuple(map(float, given)) if isinstance(given, tuple) else float(given)


def _twin(body: Any, scope: dict[str, Any]) -> Callable[..., Any]:
    """The same code with other functions behind its names."""
    twin = types.FunctionType(body.__code__, scope, body.__name__, body.__defaults__, body.__closure__)
    twin.__module__ = body.__module__
    twin.__qualname__ = body.__qualname__
    return twin


@lru_cache(maxsize=1)
def can_compile() -> bool:
    """Whether the compiler is installed."""
    return find_spec("numba") is not None


@lru_cache(maxsize=1)
def _take_widest() -> None:
    """Let loops over cases take eight numbers at once where a processor can: left alone the compiler takes four."""
    from numba.core import codegen as _codegen
    from numba.core import config as _config

    config: Any = _config
    codegen: Any = _codegen
    can = codegen.get_host_cpu_features()
    if config.CPU_FEATURES is None and "+avx512f" in can.split(","):
        config.CPU_FEATURES = f"{can},-prefer-256-bit"


def machine_code(function: Callable[..., Any], lanes: bool = False) -> Callable[..., Any]:
    """`numba.njit` of a marked function and of all it calls: no fast-math, numpy's division, the lock released.

    In lanes the same bodies are made for loops over cases: nothing is called, numpy is `lane_numpy`, and a product may
    go with a sum.
    """
    lanes = lanes or function in _LANED
    if (function, lanes) not in _MADE:
        import numba

        _take_widest()
        twin = _in_lanes(function) if lanes else _twin(function, dict(function.__globals__))
        scope = twin.__globals__
        for name in function.__code__.co_names:
            used = scope.get(name)
            used = getattr(used, "body", used)
            if isinstance(used, types.FunctionType) and used in _MARKED:
                scope[name] = machine_code(used, lanes)
            elif used is uncounted:
                scope[name] = without_count()
        how: dict[str, Any] = (
            {"fastmath": {"contract", "nsz", "arcp"}, "forceinline": function not in _LANED} if lanes else {}
        )
        with _cache_folder() as usable:
            made = numba.njit(nogil=True, error_model="numpy", cache=usable, **how)(twin)
        _MADE[function, lanes] = made
    return _MADE[function, lanes]


def _in_lanes(function: Callable[..., Any]) -> Callable[..., Any]:
    """The same body with numpy's functions that a loop over cases can hold, and powers by them."""
    from thinstock.kernels.lane_numbers import lane_numpy

    code: Any = function.__code__
    tree = ast.parse(textwrap.dedent(inspect.getsource(code)))
    (body,) = tree.body
    assert isinstance(body, ast.FunctionDef)
    body.decorator_list = []
    made = ast.fix_missing_locations(_Powers().visit(tree))
    scope = {**function.__globals__, "np": lane_numpy()}
    exec(compile(made, code.co_filename, "exec"), local := dict(scope))
    twin = types.FunctionType(local[body.name].__code__, scope, body.name, function.__defaults__)
    twin.__module__ = function.__module__
    twin.__qualname__ = f"{function.__qualname__}_in_lanes"
    return twin


class _Powers(ast.NodeTransformer):
    """Powers of a body as calls of numpy's."""

    def visit_BinOp(self, node: ast.BinOp) -> ast.AST:
        self.generic_visit(node)
        if not isinstance(node.op, ast.Pow):
            return node
        called = ast.Attribute(ast.Name("np", ast.Load()), "power", ast.Load())
        return ast.copy_location(ast.Call(called, [node.left, node.right], []), node)


class Plain:
    """A way to reckon plainly, and the seconds that a case took by it; a guess before the first."""

    def __init__(self, work: Callable[..., Any], each: float, suits: Callable[..., bool]) -> None:
        self.work, self.each, self.suits = work, each, suits


class Face:
    """A march as its callers see it: plain Python, or machine code of the very same bodies.

    Plain as long as no machine code is at hand and compiling would take longer than reckoning does; both agree to
    rounding. `THINSTOCK_MACHINE_CODE=always` never reckons plainly. Without numba (extra `fast`) all is plain: work
    that takes long warns (`Slow`) before it begins, what would take far too long is refused.
    """

    spent = 0.0
    """Seconds of plain reckoning in this process."""

    def __init__(self, function: Callable[..., Any], cases: Callable[..., float] | None) -> None:
        self.plain = function
        self.body: Any = getattr(function, "body", function)
        self.cases = cases
        self.made: Callable[..., Any] | None = None
        self.ways = [Plain(function, 0.02, lambda *_: True)]
        """Plain ways; the last that suits is gone."""
        self.__doc__ = function.__doc__
        _MARKED.add(function)

    def __call__(self, *given: Any) -> Any:
        if self.made is not None:
            return self.made(*given)
        way = next(one for one in reversed(self.ways) if one.suits(*given))
        expected = self._many(given) * way.each
        if not self._plainly(expected):
            made = machine_code(self.body)
            found = made(*given)
            self.made = made  # not before it is compiled: others reckon plainly meanwhile
            return found
        self._warn(expected)
        start = time.thread_time()
        with worksheet(False), np.errstate(all="ignore"):
            found = way.work(*given)
        took = time.thread_time() - start
        Face.spent += took
        way.each = took / max(self._many(given), 1e-3)
        return found

    def abreast(self, suits: Callable[..., bool]) -> Callable[[Callable[..., None]], Callable[..., None]]:
        """A plain way for many cases at once, where a call suits it."""

        def kept(work: Callable[..., None]) -> Callable[..., None]:
            self.ways.append(Plain(work, 0.002, suits))
            return work

        return kept

    def _many(self, given: tuple[Any, ...]) -> float:
        return 1 if self.cases is None else self.cases(*given)

    @staticmethod
    def _warn(expected: float) -> None:
        """Where no machine code can be had: refuse what is beyond patience, warn of what takes long."""
        if expected > BEYOND and not can_compile():
            needs("numba", FAST)
        if expected > LONG and not can_compile():
            warnings.warn(phrase("kernels.compiled.takes_long", seconds=figure(expected, 1), extra=FAST), Slow, 2)

    def _plainly(self, expected: float) -> bool:
        if not can_compile():
            return True
        if self.cases is None or _behind.get() or os.environ.get("THINSTOCK_MACHINE_CODE") == "always":
            return False
        return Face.spent + expected < COST and not self.at_hand()

    def ready(self) -> bool:
        """Whether a call goes by machine code without a reckoning of what it is worth."""
        return self.made is not None or wanted() or (can_compile() and self.at_hand())

    def at_hand(self) -> bool:
        """Whether machine code of these sources is kept on this computer."""
        name = f"*{self.body.__qualname__}-{self.body.__code__.co_firstlineno}.*.nbi"
        return next((user_cache_folder() / f"kernels-{source_key()}").rglob(name), None) is not None


def wanted() -> bool:
    """Whether machine code is made without a reckoning of what it is worth: behind an answer, or always."""
    always = _behind.get() or os.environ.get("THINSTOCK_MACHINE_CODE") == "always"
    return can_compile() and always


def compile_behind(work: Callable[[], Any]) -> None:
    """Do some work once with machine code in a thread of its own: what others ask for meanwhile is reckoned plainly."""

    def compiling() -> None:
        _behind.set(True)
        with suppress(Exception):
            work()

    if can_compile():
        threading.Thread(target=compiling, daemon=True).start()


def over_arrays(function: Callable[..., Any]) -> Callable[..., Any]:
    """A part of a march of one case turned into one over arrays of cases; see `abreast`."""
    from thinstock.kernels.abreast import abreast

    return abreast(getattr(function, "body", function), _MARKED.__contains__)


def machine(function: Callable[..., Any]) -> Face:
    """A function that is of use in machine code alone, compiled when it is first called."""
    return Face(function, None)


def faced(cases: Callable[..., float]) -> Callable[[Callable[..., Any]], Face]:
    """A march that callers use, with how many cases a call has."""
    return lambda function: Face(function, cases)


PART = 250
"""Cases in a part of the work at least: smaller ones are not worth handing over."""


def over_cases(work: Callable[[int, int], None], cases: int, *, least: int = 2000) -> None:
    """Call `work(start, stop)` over all cases: at once when few, in threads over chunks when many."""
    workers = 1 if cases < least else os.cpu_count() or 1
    if workers == 1:
        work(0, cases)
        return
    parts = max(workers, min(4 * workers, cases // PART))
    edges = np.linspace(0, cases, parts + 1).astype(int)
    with ThreadPoolExecutor(workers) as pool:
        for future in [pool.submit(_part, work, int(a), int(b), cases) for a, b in pairwise(edges) if b > a]:
            future.result()


_WHOLE = threading.local()


def _part(work: Callable[[int, int], None], start: int, stop: int, cases: int) -> None:
    _WHOLE.cases = cases
    try:
        work(start, stop)
    finally:
        _WHOLE.cases = 0


def in_all(cases: int) -> int:
    """How many cases the work has of which these are a part."""
    return max(cases, getattr(_WHOLE, "cases", 0))


MANY = 200_000
"""Up to so many cases those alike are run once: where one input after another is moved, most parts see few of them."""


def distinct(columns: Iterable[Array], cases: int) -> tuple[Any, Any]:
    """Which cases stand for all, in their order, and for each case the one that stands for it (all where none do)."""
    everyone = slice(None), slice(None)
    if not 1 < cases <= MANY:
        return everyone
    varying = [column for column in columns if np.any(column != column[0])] or [np.zeros(cases)]
    table = np.stack(varying, axis=1, dtype=float)
    odd = 2 * np.random.default_rng(0).integers(1, 2**62, len(varying), dtype=np.uint64) + 1
    if np.unique((table.view(np.uint64) * odd).sum(axis=1)).size == cases:  # equal cases have equal sums
        return everyone
    _, first, group = np.unique(table.view(f"V{table.strides[0]}").ravel(), return_index=True, return_inverse=True)
    kept = np.sort(first)
    return kept, np.searchsorted(kept, first[group])


def broadcast_cases(*values: Num) -> tuple[int, list[Any]]:
    """The number of cases and every value as a float array of that length (a number is one case)."""
    arrays = [np.asarray(v, dtype=float) for v in values]
    shape = np.broadcast_shapes(*(a.shape for a in arrays)) if arrays else ()
    if len(shape) > 1:
        bound = "values may carry one axis, the cases"
        raise KernelRefused("axes", Fault(field="values", value=f"shape {shape}", bound=bound))
    cases = shape[0] if shape else 1
    return cases, [np.ascontiguousarray(np.broadcast_to(a, (cases,))) for a in arrays]
