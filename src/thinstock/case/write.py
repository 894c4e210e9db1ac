"""Writes a machine as a file: the text it was read from with only what changed, or a full file with every value.

Comments, order and untouched texts of a file survive. A save goes to a new file beside the old one, which is then put
in its place; a file that someone else changed in the meantime is never overwritten unless told.
"""

from __future__ import annotations

import os
from pathlib import Path

from thinstock.case import text
from thinstock.case.edit import edited
from thinstock.case.entries import entry, literal, same
from thinstock.case.formats import CURRENT
from thinstock.case.read import loads, read
from thinstock.case.shapes import Shape, shapes
from thinstock.case.text import Origin
from thinstock.case.values import FileGiven
from thinstock.errors import Fault, Refused
from thinstock.files.write import put
from thinstock.machine.line import Machine
from thinstock.words import address
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Fields


def dumps(machine: Machine, *, full: bool = False) -> str:
    """The file of a machine. A machine that was read keeps its text where nothing changed, unless `full`."""
    if machine.cases() is not None:
        raise Refused(fault_in("case.write.machine", "machine", "arrays"))
    origin = origin_of(machine)
    if origin is None or full:
        return _full(machine)
    kept = edited(origin.text, read(origin), machine)
    try:
        if equal(loads(kept, origin.file), machine):
            return kept
    except Refused:
        pass
    return _full(machine, above=_opening(origin.text))


def save(machine: Machine, path: str | Path, *, overwrite: bool = False) -> Machine:
    """Write the machine to a file and give it back as read from there.

    Parameters
    ----------
    machine : Machine
        One case; comments and units of the file it was read from are kept.
    path : str or Path
        The file, written whole or not at all.
    overwrite : bool
        Write over a file that the machine was not read from, or that changed since.

    Returns
    -------
    Machine
        As read from the new file, base SI.

    Raises
    ------
    Refused
        A file in the way, a machine with arrays or one too large for a file.

    Source: none; values are written in the units they were given in.
    """
    target = Path(path)
    content = dumps(machine).encode("utf-8")
    if len(content) > text.LIMIT:
        raise Refused(fault_in("case.write.too_large_for_machine_file", "machine", f"{len(content)} bytes"))
    if not overwrite:
        _check_unchanged(target, origin_of(machine), str(path))
    put(target, content, field="machine")
    return read(text.origin_of_file(Path(path)))


def origin_of(machine: Machine) -> Origin | None:
    """The text a machine was read from, if any."""
    return next((g.origin for g in machine.given.values() if isinstance(g, FileGiven)), None)


def equal(a: Machine, b: Machine) -> bool:
    """Whether two machines hold the same values at the same addresses."""
    left, right = a.addresses(), b.addresses()
    return len(left) == len(right) and all(
        one == other and same(x, y) for (one, x), (other, y) in zip(left, right, strict=True)
    )


def _check_unchanged(target: Path, origin: Origin | None, shown: str) -> None:
    if target.is_dir():
        raise Refused(fault_in("case.write.folder", "machine", shown))
    if not target.exists():
        return
    ours = origin is not None and origin.path is not None and os.path.realpath(origin.path) == os.path.realpath(target)
    if not ours:
        remedy = phrase("case.write.choose_another_name_or_say")
        raise Refused(
            Fault(field="machine", value=shown, bound=phrase("case.write.there_such_file_already"), remedy=remedy)
        )
    assert origin is not None
    if target.stat().st_size > text.LIMIT or text.digest(target.read_bytes()) != origin.digest:
        remedy = phrase("case.write.load_it_again_save_under")
        raise Refused(
            Fault(field="machine", value=shown, bound=phrase("case.write.was_changed_on_disk_since"), remedy=remedy)
        )


def _opening(content: str) -> list[str]:
    """The comment at the head of a file, below its format line."""
    lines = [line.rstrip() for line in content.split("\n")]
    if lines and lines[0].startswith("format"):
        lines = lines[1:]
    kept: list[str] = []
    for line in lines:
        if line and not line.startswith("#"):
            break
        kept.append(line)
    while kept and not kept[-1]:
        kept.pop()
    return kept


def _full(machine: Machine, above: list[str] | None = None) -> str:
    """Every value of a machine, section by section."""
    writer = _Writer(machine)
    writer.lines = [f"format = {CURRENT}", *(above or []), ""]
    writer.table(machine, (), "", "")
    return "\n".join(writer.lines).rstrip("\n") + "\n"


class _Writer:
    """The lines written so far."""

    def __init__(self, machine: Machine) -> None:
        self.given = machine.given
        self.pressure = float(machine.site.atmospheric_pressure())
        self.lines: list[str] = []

    def table(self, part: Fields, at: tuple[str, ...], header: str, kind: str, *, item: bool = False) -> None:
        """One table: its own values first, then the tables in it."""
        if header:
            self.lines += ["", f"[[{header}]]" if item else f"[{header}]"]
        if kind:
            self.lines.append(f"kind = {literal(kind)}")
        inner: list[Shape] = []
        for name, shape in shapes(type(part)).items():
            if shape.sort in ("part", "parts"):
                inner.append(shape)
                continue
            given = self.given.get(address.join((*at, name)))
            found = entry(shape, getattr(part, name), given, self.pressure)
            if found is not None:
                self.lines.append(f"{name} = {literal(found)}")
        for shape in inner:
            self._inner(shape, getattr(part, shape.name), at, header)

    def _inner(self, shape: Shape, value: Fields | tuple[Fields, ...] | None, at: tuple[str, ...], header: str) -> None:
        below = f"{header}.{shape.name}" if header else shape.name
        if isinstance(value, tuple):
            for name, part in zip(address.item_names(value), value, strict=True):
                self.table(part, (*at, shape.name, name), below, shape.kind_of(part), item=True)
            if not value and not shape.required:
                return
        elif value is not None:
            self.table(value, (*at, shape.name), below, shape.kind_of(value))
