"""The house keeps its measures: typed machines and results, short functions, few parameters, files one can read.

A function is measured without its docstring.
"""

from __future__ import annotations

import ast
import tomllib
from collections.abc import Callable, Iterator
from functools import lru_cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

import thinstock

SOURCE = Path(thinstock.__file__).parent
DATA = Path(__file__).parent / "data"
TYPED = ("machine", "result", "wet", "dry", "web", "done", "formed", "delivery", "around", "parts")
"""Names of machines, results, webs and what parts did: never `Any`."""
LINES, PARAMETERS, FILE = 60, 8, 500

BY_PAGE = (
    "simulate", "formation", "consistency_for_formation", "fit_suspension_variation", "dilution_answer",
    "fit", "culprit_sets", "propagate", "new", "profile", "deposit",
)  # fmt: skip
"""Functions of sheet, survey and studies whose arguments are promised by name; the twelve numbers of a short machine;
the thin face of a kernel."""

TOLD = ("relation", "derived", "assumed", "command")

Function = ast.FunctionDef | ast.AsyncFunctionDef


@lru_cache(maxsize=1)
def trees() -> dict[Path, ast.Module]:
    return {path: ast.parse(path.read_text(encoding="utf-8")) for path in sorted(SOURCE.rglob("*.py"))}


@lru_cache(maxsize=1)
def promised() -> frozenset[str]:
    """Names of functions whose arguments are promised."""
    found = set(BY_PAGE)
    for path in DATA.glob("signatures*.toml"):
        for functions_of_module in tomllib.loads(path.read_text(encoding="utf-8")).values():
            found |= set(functions_of_module)
    return frozenset(found)


def functions() -> Iterator[tuple[Path, Function]]:
    for path, tree in trees().items():
        yield from ((path, n) for n in ast.walk(tree) if isinstance(n, Function))


def parameters(function: Function) -> list[ast.arg]:
    given = function.args
    every = [*given.posonlyargs, *given.args, *given.kwonlyargs]
    return [one for one in every if one.arg not in ("self", "cls")]


def is_any(annotation: ast.expr | None) -> bool:
    return isinstance(annotation, ast.Name) and annotation.id == "Any"


def untyped() -> Iterator[tuple[Path, str]]:
    for path, tree in trees().items():
        for node in ast.walk(tree):
            if isinstance(node, ast.arg) and node.arg in TYPED and is_any(node.annotation):
                yield path, f"{node.arg}: Any in line {node.lineno}"
            elif isinstance(node, ast.AnnAssign) and is_any(node.annotation):
                name = ast.unparse(node.target).rpartition(".")[2]
                if name in TYPED:
                    yield path, f"{name}: Any in line {node.lineno}"


def documented(function: Function) -> int:
    """Lines of its docstring."""
    first = function.body[0]
    said = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant) and isinstance(first.value.value, str)
    return (first.end_lineno or first.lineno) - first.lineno + 1 if said else 0


def too_long() -> Iterator[tuple[Path, str]]:
    for path, one in functions():
        length = (one.end_lineno or one.lineno) - one.lineno + 1 - documented(one)
        if length > LINES:
            yield path, f"{one.name}: {length} lines"


def told_by_itself(function: Function) -> bool:
    """Whether its arguments are the words of a labelled formula, or the options of a command."""
    return any(
        isinstance(one, ast.Call) and ast.unparse(one.func).split(".")[-1] in TOLD for one in function.decorator_list
    )


def too_wide() -> Iterator[tuple[Path, str]]:
    for path, one in functions():
        if len(parameters(one)) > PARAMETERS and one.name not in promised() and not told_by_itself(one):
            yield path, f"{one.name}: {len(parameters(one))} parameters"


def too_tall() -> Iterator[tuple[Path, str]]:
    for path in trees():
        count = len(path.read_text(encoding="utf-8").splitlines())
        if count > FILE:
            yield path, f"{count} lines"


@pytest.mark.parametrize(
    "measure, found", [("any", untyped), ("long", too_long), ("wide", too_wide), ("files", too_tall)]
)
def test_no_room_goes_beyond_the_measure(measure: str, found: Callable[[], Iterator[tuple[Path, str]]]) -> None:
    over = [f"{path.relative_to(SOURCE)}: {text}" for path, text in found()]
    assert not over, f"{measure}: {over}"


def imported() -> dict[str, set[str]]:
    """What every module imports, at its head or inside a function; what only types need is left out."""
    homes = {path: ".".join(path.relative_to(SOURCE.parent).with_suffix("").parts) for path in trees()}
    homes = {path: name.removesuffix(".__init__") for path, name in homes.items()}
    known = set(homes.values())
    found: dict[str, set[str]] = {}
    for path, tree in trees().items():
        for_types = {
            inner
            for node in ast.walk(tree)
            if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
            for inner in ast.walk(node)
        }
        named = {
            name if (name := f"{node.module}.{alias.name}") in known else node.module
            for node in ast.walk(tree)
            if isinstance(node, ast.ImportFrom) and node.module and node not in for_types
            for alias in node.names
        }
        found[homes[path]] = (named & known) - {homes[path]}
    return found


def test_no_module_imports_in_a_circle() -> None:
    try:
        order = list(TopologicalSorter(imported()).static_order())
    except CycleError as circle:
        pytest.fail(" -> ".join(circle.args[1]))
    assert order[-1].startswith("thinstock") and len(order) >= len(trees())
