"""How dilute the stock, how much water, and which part of the machine takes it out.

The public names and nothing else. Each is fetched when it is first asked for, so that `import thinstock` itself loads
neither the numerical libraries nor the compiler. Everything that is not listed here may change without notice.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from thinstock.case import load, loads, machines, new, save, schema
    from thinstock.errors import Fault, NotFound, Refused
    from thinstock.formula.catalogue import formula, formulas
    from thinstock.machine.limits import Limit, Limits, limits
    from thinstock.machine.line import Given, Machine
    from thinstock.machine.result import Result
    from thinstock.words.note import Note

    __version__: str

_HOME = {
    "Fault": "errors",
    "Given": "machine.line",
    "Limit": "machine.limits",
    "Limits": "machine.limits",
    "Machine": "machine.line",
    "NotFound": "errors",
    "Note": "words.note",
    "Refused": "errors",
    "Result": "machine.result",
    "formula": "formula",
    "formulas": "formula.catalogue",
    "limits": "machine.limits",
    "load": "case.read",
    "loads": "case.read",
    "machines": "case.library",
    "new": "case.short",
    "save": "case.write",
    "schema": "case.json_schema",
}
"""Where each public name lives."""

__all__ = [
    "Fault",
    "Given",
    "Limit",
    "Limits",
    "Machine",
    "NotFound",
    "Note",
    "Refused",
    "Result",
    "formula",
    "formulas",
    "limits",
    "load",
    "loads",
    "machines",
    "new",
    "save",
    "schema",
]


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from importlib.metadata import version

        return version("thinstock")
    if name not in _HOME:
        raise AttributeError(f"module 'thinstock' has no attribute {name!r}")
    home = import_module(f"thinstock.{_HOME[name]}")
    value = getattr(home, name, home)  # `formula` is a package that can be called
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
