"""Which lesson an address means, and the pictures its scenes are made of."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from hashlib import sha256
from threading import Lock
from urllib.parse import parse_qs, urlencode

from thinstock.errors import Refused
from thinstock.lesson.library import ENDING, bundled, found
from thinstock.lesson.model import Lesson
from thinstock.lesson.read import read
from thinstock.words.fault import fault_in
from thinstock.work.workspace import ENDING as MACHINES
from thinstock.work.workspace import Content, Workspace


@dataclass(frozen=True, kw_only=True)
class Opened:
    """A lesson with its address."""

    lesson: Lesson
    files: Callable[[str], str]
    query: str
    file: str = ""
    content: Content | None = None


def lessons_in(workspace: Workspace) -> Workspace:
    """The lesson files of a workspace."""
    return Workspace(workspace.folder, ENDING)


def opened(query: str, workspace: Workspace) -> Opened:
    """The lesson of an address; what is not there, or is no lesson, is refused."""
    given = {name: values[-1] for name, values in parse_qs(query.lstrip("?"), max_num_fields=50).items()}
    files = machines_of(workspace)
    if given.get("file"):
        content = lessons_in(workspace).read(given["file"])
        lesson = _read(content.text, content.name)
        return Opened(lesson=lesson, files=files, query=urlencode({"file": content.name}), file=content.name,
                      content=content)  # fmt: skip
    name = found(given.get("lesson", "") or "1-why-tissue-machines")
    return Opened(lesson=bundled(name), files=files, query=urlencode({"lesson": name}))


_KNOWN: OrderedDict[tuple[str, str], Lesson] = OrderedDict()


def _read(text: str, name: str) -> Lesson:
    key = (text, name)
    if key not in _KNOWN:
        _KNOWN[key] = read(text, name, name)
        while len(_KNOWN) > 8:
            _KNOWN.popitem(last=False)
    return _KNOWN[key]


def machines_of(workspace: Workspace) -> Callable[[str], str]:
    """Machine files of the workspace by name."""

    def text_of(name: str) -> str:
        try:
            return workspace.read(name if name.endswith(MACHINES) else f"{name}{MACHINES}").text
        except Refused:
            from thinstock.case.library import machine_names
            from thinstock.words.address import nearest

            near = ", ".join(nearest(name, list(machine_names())) or machine_names()[:3])
            raise Refused(fault_in("lesson.fault.no_machine", "machine", name, near=near)) from None

    return text_of


class Pictures:
    """Pictures made of points that the scenes of this run show, by what is in them."""

    def __init__(self, most: int = 120) -> None:
        self.most, self.kept, self.lock = most, OrderedDict[str, bytes](), Lock()

    def address(self, content: bytes) -> str:
        """Where a picture is to be had."""
        key = sha256(content).hexdigest()[:32]
        with self.lock:
            self.kept[key] = content
            self.kept.move_to_end(key)
            while len(self.kept) > self.most:
                self.kept.popitem(last=False)
        return f"/lessons/picture/{key}.png"

    def get(self, key: str) -> bytes | None:
        """A picture, if it is still kept."""
        with self.lock:
            return self.kept.get(key)


PICTURES = Pictures()
