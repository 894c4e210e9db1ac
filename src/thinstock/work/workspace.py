"""The folder a person works in: machine files by name, read and written only inside it, never through a link.

A file that someone else changed is not overwritten: who saves says which content they started from. Knows file names
and bytes; what a machine is stays with `case`.
"""

from __future__ import annotations

import os
import re
import stat
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from thinstock.errors import Fault, Refused
from thinstock.files.write import replace
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

LARGEST = 1_000_000
"""Largest machine file, bytes."""
MOST_FILES = 500
DEEPEST = 3
ENDING = ".toml"
_BAD = re.compile(r'[\x00-\x1f\x7f<>:"|?*\\]')
_DEVICES = {"con", "prn", "aux", "nul", *(f"com{n}" for n in range(10)), *(f"lpt{n}" for n in range(10))}


@dataclass(frozen=True, kw_only=True)
class Content:
    """A file as it was read."""

    name: str
    """Path inside the workspace, with strokes."""
    text: str
    digest: str


class Changed(Refused):
    """A save that would overwrite what someone else wrote."""


def digest_of(raw: bytes) -> str:
    """Fingerprint of a content."""
    return sha256(raw).hexdigest()


class Workspace:
    """Files of one kind below one folder: machine files, or those with another ending."""

    def __init__(self, folder: str | Path, ending: str = ENDING) -> None:
        self.folder = Path(os.path.realpath(folder))
        self.ending = ending
        if not self.folder.is_dir():
            raise Refused(fault_in("work.workspace.workspace", "workspace", str(folder)))

    # -- names ---------------------------------------------------------------------------------------------------

    def path(self, name: str) -> Path:
        """The place of a file by its name; what leads outside, or over a link, is refused."""
        parts = self._parts(name)
        place = self.folder
        for part in parts:
            place = place / part
            try:
                found = os.lstat(place)
            except FileNotFoundError:
                continue
            except OSError:
                raise _refused(name, phrase("work.workspace.cannot_be_opened")) from None
            if stat.S_ISLNK(found.st_mode) or _is_junction(place):
                raise _refused(
                    name,
                    phrase("work.workspace.link_or_lies_behind_one"),
                    phrase("work.workspace.put_file_itself_into_workspace"),
                )
        resolved = Path(os.path.realpath(place))
        if resolved != place or self.folder not in resolved.parents:
            raise _refused(
                name, phrase("work.workspace.lies_outside_workspace"), phrase("work.workspace.put_file_into_workspace")
            )
        return place

    def _parts(self, name: str) -> list[str]:
        parts = name.split("/")
        plain = bool(name) and len(name) <= 200 and not _BAD.search(name) and len(parts) <= DEEPEST
        for part in parts:
            stem = part.split(".")[0].strip().lower()
            plain = plain and part.strip(" .") == part and part not in ("", ".", "..") and stem not in _DEVICES
        if not plain or not name.lower().endswith(self.ending):
            kind = "machine file" if self.ending == ENDING else f"{self.ending} file"
            raise _refused(
                name[:200],
                phrase("work.workspace.no_name_in_workspace", kind=kind),
                phrase("work.workspace.use_letters_digits_spaces_ending", ending=self.ending),
            )
        return parts

    def files(self) -> list[str]:
        """Names of all machine files, sorted; links are left out."""
        found: list[str] = []
        waiting = [("", self.folder)]
        while waiting and len(found) < MOST_FILES:
            prefix, folder = waiting.pop()
            try:
                entries = sorted(os.scandir(folder), key=lambda e: e.name)
            except OSError:
                continue
            for entry in entries:
                name = f"{prefix}{entry.name}"
                if entry.name.startswith(".") or entry.is_symlink() or _BAD.search(entry.name):
                    continue
                if entry.is_dir(follow_symlinks=False):
                    if name.count("/") + 2 <= DEEPEST:
                        waiting.append((f"{name}/", Path(entry.path)))
                elif entry.name.lower().endswith(self.ending) and entry.is_file(follow_symlinks=False):
                    found.append(name)
        return sorted(found[:MOST_FILES])

    # -- reading and writing -----------------------------------------------------------------------------------------

    def read(self, name: str) -> Content:
        """The text of a file; what is missing, too large, no file or not UTF-8 is refused."""
        place = self.path(name)
        raw = self._bytes(place, name)
        if raw is None:
            raise _refused(
                name, phrase("work.workspace.there_no_such_file_in"), phrase("work.workspace.open_one_files_listed")
            )
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError:
            raise _refused(
                name, phrase("work.workspace.not_utf_text"), phrase("work.workspace.save_it_as_utf")
            ) from None
        return Content(name=name, text=text, digest=digest_of(raw))

    def _bytes(self, place: Path, name: str) -> bytes | None:
        flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        try:
            handle = os.open(place, flags)
        except FileNotFoundError:
            return None
        except OSError:
            raise _refused(name, phrase("work.workspace.cannot_be_opened")) from None
        found = os.fstat(handle)
        if not stat.S_ISREG(found.st_mode):
            os.close(handle)
            raise _refused(name, phrase("work.workspace.not_file"))
        with open(handle, "rb") as opened:
            if found.st_size > LARGEST:
                raise _refused(
                    name,
                    phrase("work.workspace.larger_than_kb", largest=LARGEST // 1000),
                    phrase("work.workspace.machine_file_small"),
                )
            raw = opened.read(LARGEST + 1)
        if len(raw) > LARGEST:
            raise _refused(
                name,
                phrase("work.workspace.larger_than_kb", largest=LARGEST // 1000),
                phrase("work.workspace.machine_file_small"),
            )
        return raw

    def write(self, name: str, text: str, *, known: str = "") -> Content:
        """Put a text into a file in one step; `known` is the digest of what the writer started from, "" for a new file.

        Refused (`Changed`) where the file now holds something else.
        """
        place = self.path(name)
        raw = text.encode("utf-8")
        if len(raw) > LARGEST:
            raise _refused(name, phrase("work.workspace.would_be_larger_than_kb", largest=LARGEST // 1000))
        now = self._bytes(place, name)
        if now is not None and digest_of(now) != known:
            bound = (
                phrase("work.workspace.was_changed_on_disk_since")
                if known
                else phrase("work.workspace.there_such_file_already")
            )
            raise Changed(Fault(field=name, bound=bound, remedy=phrase("work.workspace.save_under_another_name_or")))
        if now is None and known:
            raise Changed(fault_in("work.workspace.no_longer_there", name))
        self._replace(place, raw, name, new=now is None)
        return Content(name=name, text=text, digest=digest_of(raw))

    def _replace(self, place: Path, raw: bytes, name: str, *, new: bool) -> None:
        try:
            place.parent.mkdir(parents=True, exist_ok=True)
            self.path(name)
            replace(place, raw, new=new)
        except FileExistsError:
            fault = fault_in("work.workspace.save_under_another_name", name)
            raise Changed(fault) from None
        except OSError as error:
            reason = (error.strerror or type(error).__name__).lower()
            raise _refused(name, phrase("files.cannot_be_written", reason=reason)) from None

    def free_name(self, wanted: str) -> str:
        """A name like the one wanted that no file has yet."""
        stem = wanted[: -len(self.ending)] if wanted.lower().endswith(self.ending) else wanted
        plain = re.sub(r"[^\w\- ]+", "-", stem, flags=re.UNICODE).strip(" -.")[:80].strip() or "machine"
        if plain.lower() in _DEVICES:
            plain = f"{plain} machine"
        for number in range(1, 1000):
            name = f"{plain}{'' if number == 1 else f' {number}'}{self.ending}"
            if not self.path(name).exists():
                return name
        raise _refused(
            wanted, phrase("work.workspace.has_too_many_namesakes"), phrase("work.workspace.choose_another_name")
        )


def _is_junction(place: Path) -> bool:
    """A junction of Windows is as good as a link."""
    found = getattr(os.path, "isjunction", None)
    return bool(found(place)) if found is not None else False


def _refused(name: str, bound: str, remedy: str = "") -> Refused:
    return Refused(Fault(field=name, bound=bound, remedy=remedy))
