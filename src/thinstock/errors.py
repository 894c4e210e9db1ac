"""What the tool refuses, and how it says so: every fault names its field, what was given, the bound and the remedy.

`Refused` carries all faults found at once. It is a `ValueError`, so a caller who knows nothing of this module still
gets the usual behaviour; nothing below the user layer prints or logs.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from importlib import import_module
from typing import Any


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One thing that cannot be, and what to do about it."""

    field: str
    """Dotted address of the value (or the name of the option or file)."""
    value: str = ""
    """What was given, as text."""
    bound: str = ""
    """What would be allowed."""
    remedy: str = ""
    file: str = ""
    line: int | None = None

    def __str__(self) -> str:
        place = f"{self.file}: " if self.file else ""
        if self.file and self.line is not None:
            place = f"{self.file}, line {self.line}: "
        text = f"{place}{self.field}"
        if self.value:
            text += f" = {self.value}"
        if self.bound:
            text += f": {self.bound}"
        if self.remedy:
            text += f". {self.remedy}"
        return text


class Refused(ValueError):
    """Input that cannot be; holds every fault found, not only the first."""

    def __init__(self, faults: Iterable[Fault] | Fault) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(str(f) for f in self.faults))

    def __reduce__(self) -> tuple[type[Refused], tuple[tuple[Fault, ...]]]:
        return (type(self), (self.faults,))

    def under(self, prefix: str) -> Refused:
        """The same faults with their fields put below `prefix`."""
        return Refused(replace(f, field=f"{prefix}.{f.field}" if f.field else prefix) for f in self.faults)


class NotFound(Refused):
    """A solve or search whose wanted value cannot be reached; the faults say how near it came."""


def needs(name: str, extra: str) -> Any:
    """The module of this name; where its package is not installed, the refusal says which extra brings it.

    Parameters
    ----------
    name : str
        Dotted name of the module, such as ``"pyarrow.parquet"``.
    extra : str
        The extra of this package that brings it: ``"page"``, ``"paper"``, ``"tables"`` or ``"cluster"``.

    Raises
    ------
    Refused
        When the package is not installed. Any other fault of its import is passed on.
    """
    package = name.partition(".")[0]
    try:
        return import_module(name)
    except ModuleNotFoundError as missing:
        if (missing.name or "").partition(".")[0] != package:
            raise
    raise Refused(
        Fault(field=package, bound="is not installed", remedy=f"It comes with: pip install 'thinstock[{extra}]'")
    )
