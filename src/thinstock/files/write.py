"""The one writer of files: a target is the old content or the new one, whole, whatever happens on the way.

The content goes into a file of a name nobody can foretell beside the target, is forced onto the disk and takes the
target's name in one step. A link in the target's place is never followed, what is no file is never written to, and
nothing is left behind by a write that fails or is interrupted.
"""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import stat
import sys
import time
from collections.abc import Iterable, Mapping
from pathlib import Path

from thinstock.errors import Fault, Refused
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

ENDING = ".half"
"""Of a file that is being written."""
TRIES = 8
"""So often a write begins anew when its half file was taken away, or the target is open elsewhere."""
_HALF = re.compile(r"\.[0-9a-f]{16}\.half")


def put(place: str | os.PathLike[str], content: str | bytes, *, new: bool = False, field: str = "") -> Path:
    """Write a file whole or not at all.

    Parameters
    ----------
    place : str or Path
        The file; its folder must be there.
    content : str or bytes
        All of it; a text is written as UTF-8 with its line ends as they are.
    new : bool
        Refuse where something of this name is there, also where it appeared meanwhile.
    field : str
        What a fault names beside the path, such as an option.

    Returns
    -------
    Path
        The place.

    Raises
    ------
    Refused
        A link, folder or device in the place, a file there for a new one, or a write that failed, with its cause; the
        old file is then as it was.

    Source: none.
    """
    target = Path(place)
    try:
        replace(target, content, new=new)
    except OSError as error:
        raise Refused(_fault(target, error, field)) from None
    return target


def put_all(made: Mapping[str, str | bytes], folder: str | os.PathLike[str]) -> list[Path]:
    """Write files into a folder, which is made if need be; each whole or not at all. The places, in their order."""
    made_in = folder_of(folder)
    return [put(made_in / name, content) for name, content in made.items()]


def folder_of(folder: str | os.PathLike[str]) -> Path:
    """The folder, made with those above it where it is missing; what cannot be made is refused with its cause."""
    place = Path(folder)
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Refused(_fault(place, error, "")) from None
    return place


def replace(target: Path, content: str | bytes, *, new: bool = False) -> None:
    """What `put` does, with faults as the system says them (OSError; FileExistsError for a new file)."""
    raw = content.encode("utf-8", "backslashreplace") if isinstance(content, str) else content
    for left in reversed(range(TRIES)):
        before = _before(target, new)
        beside = target.parent / f".{secrets.token_hex(8)}{ENDING}"
        try:
            _written(beside, raw, before)
            _named(beside, target, new)
            break
        except FileNotFoundError:  # taken away by someone who tidied; not where the folder itself is missing
            if not left or not target.parent.is_dir():
                raise
        finally:
            with contextlib.suppress(OSError):
                os.unlink(beside)
    _settled(target.parent)


def tidy(folder: Path, before: float) -> None:
    """Take away half files that a killed program left in a folder before a time (of the folder's own clock)."""
    with contextlib.suppress(OSError):
        for entry in list(os.scandir(folder)):
            with contextlib.suppress(OSError):
                if _HALF.fullmatch(entry.name) and entry.stat(follow_symlinks=False).st_mtime < before:
                    os.unlink(entry.path)


def clock(folder: Path) -> float:
    """What time it is by the folder's own clock; 0 where nothing can be written."""
    beside = folder / f".{secrets.token_hex(8)}{ENDING}"
    try:
        os.close(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
        return os.lstat(beside).st_mtime
    except OSError:
        return 0.0
    finally:
        with contextlib.suppress(OSError):
            os.unlink(beside)


def halves(names: Iterable[str]) -> list[str]:
    """Those of these names that are half files."""
    return [name for name in names if _HALF.fullmatch(name)]


# -- the steps -------------------------------------------------------------------------------------------------------


class _NoFile(OSError):
    """Something in the target's place that is never written to; `args[0]` is the key of what it is."""


def _before(target: Path, new: bool) -> os.stat_result | None:
    """The file that stands in the place."""
    try:
        found = os.lstat(target)
    except FileNotFoundError:
        return None
    if new:
        raise FileExistsError
    if stat.S_ISLNK(found.st_mode):
        raise _NoFile("link")
    if not stat.S_ISREG(found.st_mode):
        raise _NoFile("folder" if stat.S_ISDIR(found.st_mode) else "no_file")
    if not os.access(target, os.W_OK):
        raise PermissionError(13, os.strerror(13))
    return found


def _written(beside: Path, raw: bytes, before: os.stat_result | None) -> None:
    """A new file with the content, on the disk, as open to others as the one it will replace."""
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
    handle = os.open(beside, flags, 0o666)
    with open(handle, "wb") as opened:
        opened.write(raw)
        opened.flush()
        os.fsync(handle)
        if before is not None and hasattr(os, "fchmod"):
            with contextlib.suppress(OSError):
                os.fchown(handle, before.st_uid, before.st_gid)
            with contextlib.suppress(OSError):
                os.fchmod(handle, stat.S_IMODE(before.st_mode))


def _named(beside: Path, target: Path, new: bool) -> None:
    """Give it the target's name in one step; a new file never takes the place of one that appeared meanwhile."""
    if new:
        try:
            os.link(beside, target)
            return
        except (FileExistsError, FileNotFoundError):
            raise
        except OSError:  # a disk without hard links
            if os.path.lexists(target):
                raise FileExistsError from None
    for left in reversed(range(TRIES)):
        try:
            os.replace(beside, target)
            return
        except PermissionError:  # open in another program, on systems that then refuse
            if sys.platform != "win32" or not left:
                raise
            time.sleep(0.05)


def _settled(folder: Path) -> None:
    """Force the folder's own list of names onto the disk, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _fault(target: Path, error: OSError, field: str) -> Fault:
    shown = str(target)
    named, value = (field, shown) if field else (shown, "")
    if isinstance(error, FileExistsError):
        return fault_in("files.there_already", named, value)
    if isinstance(error, _NoFile):
        return fault_in(f"files.{error.args[0]}", named, value, behind=os.path.realpath(target))
    reason = (error.strerror or type(error).__name__).lower()
    remedy = phrase("files.as_it_was") if target.is_file() else ""
    return Fault(field=named, value=value, bound=phrase("files.cannot_be_written", reason=reason), remedy=remedy)
