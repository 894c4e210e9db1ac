"""Names, arguments and their order are a promise to whoever calls the formulas: data/signatures*.toml."""

from __future__ import annotations

import importlib
import inspect
import tomllib
from pathlib import Path

import pytest

FILES = sorted((Path(__file__).parent / "data").glob("signatures*.toml"))
PROMISED = [tomllib.loads(file.read_text(encoding="utf-8")) for file in FILES]
MODULES = sorted({module for table in PROMISED for module in table})
ROWS = [
    (module, name, arguments)
    for table in PROMISED
    for module, rows in table.items()
    for name, arguments in rows.items()
]
LEADING = {
    ("kernels.yankee", name)
    for name in ("speed_for_dryness", "moisture_ratio_for_dryness", "air_temperature_for_dryness")
}
"""Functions of which only the first arguments are promised."""


@pytest.mark.parametrize("module", MODULES)
def test_the_module_exists(module: str) -> None:
    assert importlib.import_module(f"thinstock.{module}")


@pytest.mark.parametrize(("module", "name", "arguments"), ROWS, ids=[f"{m}.{n}" for m, n, _ in ROWS])
def test_the_arguments_are_as_promised(module: str, name: str, arguments: list[str]) -> None:
    function = getattr(importlib.import_module(f"thinstock.{module}"), name, None)
    assert function is not None, f"{module} has no {name}"
    parameters = inspect.signature(function).parameters.values()
    mark = inspect.Parameter.KEYWORD_ONLY
    if (module, name) in LEADING:
        names = [p.name for p in parameters]
        wanted = [a.lstrip("*") for a in arguments]
        assert [n for n in names if n in wanted][: len(wanted)] == wanted
        lead = [a for a in arguments if not a.startswith("*")]
        assert names[: len(lead)] == lead
        return
    assert [f"*{p.name}" if p.kind is mark else p.name for p in parameters] == arguments


def test_no_function_is_promised_twice() -> None:
    names = [(module, name) for module, name, _ in ROWS]
    assert len(FILES) > 1
    assert len(set(names)) == len(names)
