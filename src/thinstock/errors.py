"""What the tool refuses, and how it says so: every fault names its field, what was given, the bound and the remedy.

    ThinstockError                what the tool raises on purpose
    ├── Refused                   input that cannot be, with all its faults; a ValueError
    │   ├── NotFound              a solve whose wanted value cannot be reached; carries the nearest
    │   ├── KernelRefused         a march or balance that cannot be run, with its cause
    │   ├── SurveyError           a round of samples that cannot be used           survey.faults
    │   │   └── NothingToCheck    a round that leaves nothing to be checked        survey.faults
    │   └── Changed               a file changed since it was read                 work.workspace
    ├── Unsettled                 a computation that did not come to its end; a RuntimeError
    │   ├── NotConverged          a reconciliation                                 survey.faults
    │   └── NotSettled            a fit                                            relations.pressing_fit
    ├── UnitError                 a text that is no value of its kind; a ValueError    words.units
    ├── Refusal                   a guest of a lesson who is turned away           lesson.room
    ├── Unread                    a value of a machine file that cannot be read    case.values
    ├── NoKey                     a value that nothing can be kept under; a TypeError   machine.keys
    ├── Lost                      a process that ended before it answered          work.workers
    ├── Failed                    a function that failed in a process of its own   work.workers
    └── Mixed                     a formula whose numbers have no common unit; a ValueError    tell.filled

A `Refused` is a `ValueError`, so a caller who knows nothing of this module still gets the usual behaviour; nothing
below the user layer prints or logs.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from importlib import import_module
from typing import Any

_UNSEEN = re.compile(
    "[\\x00-\\x08\\x0b-\\x1f\\x7f-\\x9f\\u061c\\u200e\\u200f\\u2028-\\u202e\\u2066-\\u2069\\ufeff\\ud800-\\udfff]"
)
_LINES = str.maketrans({"\t": "\\t", "\n": "\\n"})


def visible(text: str, *, lines: bool = True) -> str:
    r"""A text with what steers a terminal or the direction of writing shown as its code (\x1b, \u202e).

    Tabs and ends of lines stay where `lines` says so; halves of a letter's code (surrogates) are shown too.
    """
    if text.isascii() and text.isprintable():
        return text
    shown = _UNSEEN.sub(_code, text)
    return shown if lines else shown.translate(_LINES)


def visible_in(content: Any) -> Any:
    """An object as JSON has it with every text in it made visible; paired ends of lines stay as they are."""
    if isinstance(content, str):
        return content if not steers(content) else "\r\n".join(map(visible, content.split("\r\n")))
    if isinstance(content, Mapping):
        return {visible_in(key): visible_in(value) for key, value in content.items()}
    if isinstance(content, list | tuple):
        return [visible_in(one) for one in content]
    return content


def steers(text: str) -> bool:
    """Whether a text holds anything that `visible` would show as its code."""
    return _UNSEEN.search(text) is not None


def _code(found: re.Match[str]) -> str:
    number = ord(found[0])
    return f"\\x{number:02x}" if number < 256 else f"\\u{number:04x}"


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

    def __post_init__(self) -> None:
        """What came with foreign input is shown and never sent: no control character leaves in a fault."""
        for name in ("field", "value", "bound", "remedy", "file"):
            text = getattr(self, name)
            if not text.isprintable():
                object.__setattr__(self, name, visible(text, lines=name == "remedy"))

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


class ThinstockError(Exception):
    """Anything the tool raises on purpose."""


class Slow(UserWarning):
    """Work goes on without the compiler that would make it quick; no fault."""


class Unsettled(ThinstockError, RuntimeError):
    """A computation that did not come to its end."""


class Refused(ThinstockError, ValueError):
    """Input that cannot be; holds every fault found, not only the first."""

    cases: Any = None
    """Of many cases the ones with a fault, as flags, where that is known."""

    def __init__(self, faults: Iterable[Fault] | Fault) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(str(f) for f in self.faults))

    def __reduce__(self) -> tuple[Any, ...]:
        return (type(self), (self.faults,))

    def under(self, prefix: str) -> Refused:
        """The same faults with their fields put below `prefix`."""
        return Refused(replace(f, field=f"{prefix}.{f.field}" if f.field else prefix) for f in self.faults)


class NotFound(Refused):
    """A solve or search whose wanted value cannot be reached."""

    def __init__(
        self, faults: Iterable[Fault] | Fault, *, nearest: Mapping[str, float] | None = None, obstacle: str = ""
    ) -> None:
        super().__init__(faults)
        self.nearest: dict[str, float] = dict(nearest or {})
        """How near it came, SI: the wanted word and what was moved for it (empty where there is nothing near)."""
        self.obstacle = obstacle
        """What stands in the way: an address, a limit, or an end of the range tried."""

    def __reduce__(self) -> tuple[Any, ...]:
        return (_not_found, (self.faults, self.nearest, self.obstacle))


def _not_found(faults: tuple[Fault, ...], nearest: dict[str, float], obstacle: str) -> NotFound:
    return NotFound(faults, nearest=nearest, obstacle=obstacle)


class KernelRefused(Refused):
    """A march or balance that cannot be run on these values."""

    def __init__(self, cause: str, faults: Iterable[Fault] | Fault) -> None:
        super().__init__(faults)
        self.cause = cause
        """What is wrong, as a short id: a caller with better words asks for this, never for the sentence."""

    def __reduce__(self) -> tuple[Any, ...]:
        return (type(self), (self.cause, self.faults))


def needs(name: str, extra: str) -> Any:
    """The module of this name; where its package is not installed, the refusal says which extra brings it.

    Parameters
    ----------
    name : str
        Dotted name of the module, such as ``"pyarrow.parquet"``.
    extra : str
        The extra of this package that brings it: ``"fast"``, ``"page"``, ``"paper"``, ``"tables"`` or ``"cluster"``.

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
