"""Where lessons come from: the bundled ones by name, files beside machine files by theirs."""

from __future__ import annotations

from collections.abc import Callable
from difflib import get_close_matches
from functools import lru_cache
from importlib.resources import files
from pathlib import Path

from thinstock.case import text as reading
from thinstock.errors import Refused
from thinstock.lesson.model import Lesson
from thinstock.lesson.read import read
from thinstock.words.fault import fault_in

ENDING = ".lesson.toml"
"""Of lesson files, so that a folder tells them from machine files."""
_FOLDER = files("thinstock").joinpath("library", "lessons")


@lru_cache(maxsize=1)
def lesson_names() -> tuple[str, ...]:
    """Names of the bundled lessons, in the order in which they are given."""
    return tuple(sorted(f.name[: -len(".toml")] for f in _FOLDER.iterdir() if f.name.endswith(".toml")))


@lru_cache(maxsize=16)
def lesson_text(name: str) -> str:
    """The file of a bundled lesson."""
    return _FOLDER.joinpath(f"{name}.toml").read_text(encoding="utf-8")


@lru_cache(maxsize=16)
def bundled(name: str) -> Lesson:
    """A bundled lesson."""
    return read(lesson_text(name), f"{name}.toml", name)


def titles() -> dict[str, str]:
    """Title of each bundled lesson by its name."""
    return {name: bundled(name).title for name in lesson_names()}


def found(name: str) -> str:
    """The bundled lesson of a name or of the beginning of a title; refused where there is none, or more than one."""
    if name in lesson_names():
        return name
    asked = " ".join(name.lower().replace("-", " ").split())
    told = {one: (one[2:].replace("-", " "), title.lower()) for one, title in titles().items()}
    near = [one for one, words in told.items() if asked and any(word.startswith(asked) for word in words)]
    if len(near) == 1:
        return near[0]
    known = get_close_matches(name, list(told), n=3, cutoff=0.4) or list(told)
    raise Refused(fault_in("lesson.fault.no_lesson", "lesson", name, known=", ".join(known)))


def load(name: str, folder: Path | None = None) -> tuple[Lesson, Callable[[str], str]]:
    """A lesson by name or by the path of its file, and how its machines are read: beside the file."""
    place = Path(name)
    if name in lesson_names() or not (place.suffix == ".toml" or place.is_file()):
        return bundled(found(name)), beside(folder or Path.cwd())
    origin = reading.origin_of_file(place)
    return read(origin.text, origin.file, name), beside(place.resolve().parent)


def beside(folder: Path) -> Callable[[str], str]:
    """Reads machine files of a folder by their name."""

    def text_of(name: str) -> str:
        place = (folder / (name if name.endswith(".toml") else f"{name}.toml")).resolve()
        if folder.resolve() not in place.parents or not place.is_file():
            from thinstock.case.library import machine_names

            near = ", ".join(get_close_matches(name, machine_names(), n=3, cutoff=0.3)) or ", ".join(
                machine_names()[:3]
            )
            raise Refused(fault_in("lesson.fault.no_machine", "machine", name, near=near))
        return reading.origin_of_file(place).text

    return text_of
