"""How dilute the stock, how much water, and which part of the machine takes it out.

The public names and nothing else. Each is fetched when it is first asked for, so that `import thinstock` itself loads
neither the numerical libraries nor the compiler. Everything that is not listed here may change without notice.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from thinstock.case import load, loads, machines, new, save, schema
    from thinstock.catalogue import formula, formulas
    from thinstock.errors import Fault, NotFound, Refused
    from thinstock.limits import Limit, Limits, limits
    from thinstock.machine import Given, Machine
    from thinstock.note import Note
    from thinstock.result import Result

    __version__: str

_HOME = {
    "Fault": "errors",
    "Given": "machine",
    "Limit": "limits",
    "Limits": "limits",
    "Machine": "machine",
    "NotFound": "errors",
    "Note": "note",
    "Refused": "errors",
    "Result": "result",
    "formula": "catalogue",
    "formulas": "catalogue",
    "limits": "limits",
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
    value = getattr(import_module(f"thinstock.{_HOME[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])


class _Package(ModuleType):
    """Keeps a public function in its place when the module of the same name is imported (`limits` is both)."""

    def __setattr__(self, name: str, value: Any) -> None:
        if name in _HOME and isinstance(value, ModuleType):
            return
        super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package
