"""Dotted names over any tree of parts: machine, input or result. Looks up, lists, replaces; converts nothing.

A tree is made of dataclasses, named tuples, mappings and tuples of parts. A part in a tuple goes by its name,
spaces written as `_` or the name in quotes; a part without a name goes by its number from 1. The tail of an
address is enough where it is the only one: "consistency" finds headbox.consistency.
"""

from __future__ import annotations

import dataclasses
import difflib
import re
from collections.abc import Iterable, Iterator, Mapping
from functools import cache, lru_cache
from types import MappingProxyType
from typing import Any, TypeVar

from thinstock.errors import Fault, Refused

T = TypeVar("T")

_SEGMENT = re.compile(r'"([^"]*)"|([^."]+)')


def get(tree: Any, address: str) -> Any:
    """The value or part at an address; an unknown or doubtful one is refused with the nearest names."""
    return _walk(tree, find(tree, address))


def listing(tree: Any) -> list[tuple[str, Any]]:
    """Every value of a tree with its address, in the order of the fields; a list without parts is no value."""
    return [
        (address, node)
        for address, node in _nodes(tree, "")
        if not _children(node) and not (isinstance(node, tuple) and not node)
    ]


def names(tree: Any) -> tuple[str, ...]:
    """The addresses of a listing; each part keeps those of its own, so that only parts that are new are walked."""
    found: list[str] = []
    for name, child in _children(tree).items():
        element = join((name,))
        if not _children(child):
            if not (isinstance(child, tuple) and not child):
                found.append(element)
        elif dataclasses.is_dataclass(child) and not isinstance(child, type):
            if _KEPT not in child.__dict__:
                object.__setattr__(child, _KEPT, names(child))
            found += [f"{element}.{below}" for below in child.__dict__[_KEPT]]
        else:
            found += [f"{element}.{below}" for below in names(child)]
    return tuple(found)


_KEPT = "_names_below"


def owned(tree: Any, prefix: str = "") -> Iterator[tuple[str, Any, str, Any]]:
    """Every value of a tree with its address, the part it belongs to and its name there, in one walk."""
    for name, child in _children(tree).items():
        element = join((name,))
        address = f"{prefix}.{element}" if prefix else element
        if _children(child):
            yield from owned(child, address)
        elif not (isinstance(child, tuple) and not child):
            yield address, tree, name, child


def put(tree: T, values: Mapping[str, Any]) -> T:
    """A tree with new values; all addresses are looked up first and all faults are refused together."""
    wanted: dict[tuple[str, ...], Any] = {}
    said: dict[tuple[str, ...], str] = {}
    faults: list[Fault] = []
    for address, value in values.items():
        try:
            path = find(tree, address)
        except Refused as refused:
            faults += refused.faults
            continue
        clash = next((p for p in wanted if p[: len(path)] == path or path[: len(p)] == p), None)
        if clash is not None:
            faults.append(Fault(field=address, bound=f"means the same place as {said[clash]}", remedy="Give one."))
            continue
        wanted[path], said[path] = value, address
    if faults:
        raise Refused(faults)
    new = _replaced(tree, (), wanted, faults)
    if faults:
        raise Refused(faults)
    return new  # type: ignore[no-any-return]


def find(tree: Any, address: str) -> tuple[str, ...]:
    """The full path of an address, element by element."""
    path = split(address)
    if not path:
        raise Refused(Fault(field=address or "address", bound="is empty", remedy="Write part.field."))
    if _walk(tree, path, missing=_MISSING) is not _MISSING:
        return path
    nodes = [(split(found), not _children(node)) for found, node in _nodes(tree, "")]
    tails = [(known, leaf) for known, leaf in nodes if known[-len(path) :] == path]
    found = [known for known, leaf in tails if leaf] or [known for known, _ in tails]
    if len(found) == 1:
        return found[0]
    if found:
        names = ", ".join(join(known) for known in found)
        raise Refused(Fault(field=address, bound=f"could be any of {names}", remedy="Write the address in full."))
    near = nearest(address, [join(known) for known, _ in nodes])
    remedy = f"Nearest: {', '.join(near)}." if near else ""
    raise Refused(Fault(field=address, bound="there is no such value", remedy=remedy))


def resolve(tree: Any, address: str) -> str:
    """The address in full, as `listing` writes it."""
    return join(find(tree, address))


def owner_of(tree: Any, address: str) -> tuple[Any, str]:
    """The part that a value belongs to, and the value's name there."""
    path = split(address)
    part = _walk(tree, path[:-1], missing=_MISSING)
    if path and part is not _MISSING and path[-1] in (_own_names(type(part)) or ()):  # type: ignore[arg-type]
        return part, path[-1]
    *owner, last = find(tree, address)
    return _walk(tree, tuple(owner)), last


def nearest(address: str, known: Iterable[str], count: int = 3) -> list[str]:
    """The known addresses most like this one, by the whole and by the last element."""
    names = list(dict.fromkeys(known))
    near = difflib.get_close_matches(address, names, n=count, cutoff=0.6)
    last: dict[str, list[str]] = {}
    for name in names:
        last.setdefault(_words_in_order(name), []).append(name)
    for tail in difflib.get_close_matches(_words_in_order(address), last, n=count, cutoff=0.6):
        near += last[tail]
    return list(dict.fromkeys(near))[:count]


@lru_cache(maxsize=4096)
def split(address: str) -> tuple[str, ...]:
    """The elements of an address; quoted ones as they are, spaces as `_`."""
    parts = [quoted if quoted else plain for quoted, plain in _SEGMENT.findall(address)]
    return tuple(_segment(part.strip()) for part in parts)


def join(path: Iterable[str]) -> str:
    """An address from its elements; one that holds a dot is put in quotes."""
    return ".".join(f'"{part}"' if "." in part else part for part in path)


def _words_in_order(address: str) -> str:
    """The words of the last element, sorted, so that speed_rated is near rated_speed."""
    return "_".join(sorted(_segment(address.rsplit(".", 1)[-1]).split("_")))


def _segment(name: str) -> str:
    """A name as an element of an address; a quotation mark in it would end the quotes around it."""
    return name.replace(" ", "_").replace('"', "'")


_MISSING: Any = object()
_VALUES = frozenset({float, int, bool, str, type(None)})
"""Types that are values at a glance: most of a machine is made of them."""


@cache
def _names(part: type) -> tuple[str, ...]:
    """The fields of a part that have an address."""
    return tuple(f.name for f in dataclasses.fields(part) if f.metadata.get("address", True))


@cache
def _own_names(kind: type) -> frozenset[str] | None:
    """The same for a node that is a part; nothing for what is none."""
    return frozenset(_names(kind)) if dataclasses.is_dataclass(kind) else None


def _children(node: Any) -> dict[str, Any]:
    """The parts of a node by their element of an address; empty for a value."""
    if type(node) in _VALUES:
        return {}
    if dataclasses.is_dataclass(node) and not isinstance(node, type):
        return {name: getattr(node, name) for name in _names(type(node))}
    if isinstance(node, Mapping):
        return {_segment(str(key)): value for key, value in node.items()}
    if isinstance(node, tuple):
        fields = getattr(node, "_fields", None)
        if fields is not None:
            return {name: getattr(node, name) for name in fields}
        return dict(zip(item_names(node), node, strict=True)) if any(_is_part(item) for item in node) else {}
    return {}


def _is_part(item: Any) -> bool:
    return (dataclasses.is_dataclass(item) and not isinstance(item, type)) or isinstance(item, Mapping)


def item_names(items: tuple[Any, ...]) -> list[str]:
    """How the items of a tuple go: by name, twins numbered, nameless ones by their number."""
    names: dict[str, None] = {}
    twins: dict[str, int] = {}
    for number, item in enumerate(items, start=1):
        given = item.get("name") if isinstance(item, Mapping) else getattr(item, "name", None)
        name = first = _segment(str(given)) if given else str(number)
        while name in names:
            twins[first] = twins.get(first, 1) + 1
            name = f"{first}_{twins[first]}"
        names[name] = None
    return list(names)


def _nodes(node: Any, prefix: str) -> Iterator[tuple[str, Any]]:
    """Every node below this one with its address, parts before what they hold."""
    for name, child in _children(node).items():
        element = join((name,))
        address = f"{prefix}.{element}" if prefix else element
        yield address, child
        yield from _nodes(child, address)


def _walk(node: Any, path: tuple[str, ...], missing: Any = None) -> Any:
    for name in path:
        kind: Any = type(node)
        names = _own_names(kind)
        if names is not None:
            if name not in names:
                return missing
            node = getattr(node, name)
            continue
        children = _children(node)
        if name not in children:
            return missing
        node = children[name]
    return node


def _replaced(node: Any, path: tuple[str, ...], wanted: Mapping[tuple[str, ...], Any], faults: list[Fault]) -> Any:
    """A node with everything below it replaced; what its own check refuses is added to the faults."""
    if path in wanted:
        return wanted[path]
    touched = {p[len(path)] for p in wanted if p[: len(path)] == path}
    if not touched:
        return node
    before = len(faults)
    new = {
        name: _replaced(child, (*path, name), wanted, faults)
        for name, child in _children(node).items()
        if name in touched
    }
    if len(faults) > before:
        return node
    try:
        return _rebuilt(node, new)
    except Refused as refused:
        faults += (refused.under(join(path)) if path else refused).faults
        return node


def _rebuilt(node: Any, new: dict[str, Any]) -> Any:
    if dataclasses.is_dataclass(node) and not isinstance(node, type):
        return dataclasses.replace(node, **new)
    if isinstance(node, Mapping):
        rebuilt = {key: new.get(_segment(str(key)), value) for key, value in node.items()}
        return MappingProxyType(rebuilt) if isinstance(node, MappingProxyType) else rebuilt
    if hasattr(node, "_fields"):
        return node._replace(**new)
    names = item_names(node)
    return tuple(new.get(name, item) for name, item in zip(names, node, strict=True))
