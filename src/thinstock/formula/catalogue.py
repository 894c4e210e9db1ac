"""The catalogue of formulas: every labelled function of the package by its name, whoever needs it, and who calls it.

Reads the labels and the sources; computes nothing. The words of a formula are in the nomenclature, its text in
`writing`.
"""

from __future__ import annotations

import inspect
import pkgutil
import re
import sys
from collections.abc import Iterator, Mapping
from functools import lru_cache
from importlib import import_module
from pathlib import Path
from types import CodeType, FunctionType, MappingProxyType, ModuleType
from typing import Any

from thinstock.errors import Fault, Refused
from thinstock.formula.label import RELATIONS, Label, label_of
from thinstock.words.address import nearest

HOMES = ("thinstock.relations", "thinstock.kernels")


@lru_cache(maxsize=1)
def formulas() -> Mapping[str, Label]:
    """Every labelled formula by `module.name`, in the order of the names.

    Returns
    -------
    mapping of str to Label
        The label holds the text, the words with their units, the range, the source and the status of the formula.

    Source: each label's own.
    """
    for home in HOMES:
        package = import_module(home)
        for module in pkgutil.iter_modules(package.__path__, home + "."):
            import_module(module.name)
    mine = {name: label_of(f) for name, f in RELATIONS.items() if f.__module__.startswith("thinstock.")}
    return MappingProxyType(dict(sorted(mine.items())))


def formula(name: str) -> Label:
    """The label of one formula; its last part is enough where it is the only one of that name."""
    known = formulas()
    if name in known:
        return known[name]
    tails = [full for full in known if full.rsplit(".", 1)[-1] == name]
    if len(tails) == 1:
        return known[tails[0]]
    if tails:
        raise Refused(Fault(field=name, bound=f"could be any of {', '.join(tails)}", remedy="Write the name in full."))
    near = nearest(name, known)
    remedy = f"Nearest: {', '.join(near)}." if near else "`thinstock formulas` lists all."
    raise Refused(Fault(field=name, bound="there is no formula of this name", remedy=remedy))


BY_HAND = "reference: by hand only"
"""What a card says of a formula that nothing in the product calls."""

_PACKAGE = Path(__file__).resolve().parent.parent
_RENAMED = re.compile(r"\b(\w+) as (\w+)")
_REACHED = re.compile(r"\b(\w+)\.(\w+)\b")
_TAKEN = re.compile(r"^\s*from thinstock\.(?:relations|kernels)\.(\w+) import (?:\(([^)]*)\)|(.*))", re.MULTILINE)


@lru_cache(maxsize=1)
def uses() -> Mapping[str, tuple[str, ...]]:
    """Where the product calls each formula: files such as `machine/hood`, and formulas that it calls themselves.

    Read from the sources by name, so nobody keeps a list; empty for a formula that is there for people alone.
    """
    known = formulas()
    found: dict[str, list[str]] = {name: [] for name in known}
    for path in sorted(_PACKAGE.rglob("*.py")):
        room, *_ = path.relative_to(_PACKAGE).parts
        if room not in ("relations", "formula"):
            place = path.relative_to(_PACKAGE).with_suffix("").as_posix()
            for name in sorted(set().union(*map(_meant, _named_in(path.read_text(encoding="utf-8"))))):
                found[name].append(place)
    called = {name: _called_by(label.function) - {name} for name, label in known.items()}
    reached: set[str] = set()
    waiting = [name for name, places in found.items() if places]
    while waiting:
        name = waiting.pop()
        if name not in reached:
            reached.add(name)
            waiting += called[name]
    for name in sorted(reached):
        for inner in sorted(called[name]):
            found[inner].append(name)
    return MappingProxyType({name: tuple(places) for name, places in found.items()})


def _named_in(text: str) -> set[str]:
    """`module.function` of everything a source takes from relations and kernels."""
    if not any(home in text for home in HOMES):
        return set()
    first = {new: old for old, new in _RENAMED.findall(text)}
    names = {f"{first.get(owner, owner)}.{name}" for owner, name in _REACHED.findall(text)}
    for module, many, line in _TAKEN.findall(text):
        names |= {f"{module}.{one.split()[0]}" for one in (many or line).split(",") if one.strip()}
    return names


def _meant(name: str) -> set[str]:
    """The labelled formulas behind `module.function`: itself, or what a function without a label calls."""
    if name in formulas():
        return {name}
    module, _, function = name.partition(".")
    homes = (sys.modules.get(f"{home}.{module}") for home in HOMES)
    helper = next((vars(home)[function] for home in homes if home is not None and function in vars(home)), None)
    return _called_by(helper) if isinstance(helper, FunctionType) else set()


def _called_by(function: Any, seen: set[Any] | None = None) -> set[str]:
    """The labelled formulas that a function calls, itself or through functions without a label."""
    seen = set() if seen is None else seen
    found: set[str] = set()
    for value in _mentioned(inspect.unwrap(function)):
        if hasattr(value, "label"):
            found.add(label_of(value).name)
        elif isinstance(value, FunctionType) and value.__module__.startswith("thinstock.") and value not in seen:
            seen.add(value)
            found |= _called_by(value, seen)
    return found


def _mentioned(function: Any) -> Iterator[Any]:
    """What the names in a function's code stand for, in tables of functions too."""
    codes, names = [function.__code__], set[str]()
    while codes:
        code = codes.pop()
        names |= set(code.co_names)
        codes += [constant for constant in code.co_consts if isinstance(constant, CodeType)]
    for name in names & function.__globals__.keys():
        value = function.__globals__[name]
        if isinstance(value, ModuleType):
            yield from (vars(value)[other] for other in names & vars(value).keys())
        elif isinstance(value, Mapping):
            yield from value.values()
        elif isinstance(value, tuple):
            yield from value
        else:
            yield value
