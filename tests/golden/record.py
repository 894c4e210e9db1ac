#!/usr/bin/env python3
"""Golden records: what the program says today, kept as files beside this one.

Without arguments they are compared with what it says now, and every difference is printed; `--write` writes them anew.
Words after that choose records: those whose name begins with one of them, or with `*` in it matches.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from fnmatch import fnmatch
from pathlib import Path
from typing import Any

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
    os.environ["THINSTOCK_MACHINE_CODE"] = "always"  # the tests do so too: a sweep's last digits hang on it

from golden.compare import Difference, differences, text_of
from golden.records import RECORDS

FOLDER = Path(__file__).resolve().parent / "data"


def made(name: str) -> Any:
    """A record as the program makes it now."""
    value = RECORDS[name]()
    return json.loads(json.dumps(value)) if name.endswith(".json") else "\n".join(value.splitlines()) + "\n"


def kept(name: str, folder: Path = FOLDER) -> Any:
    """A record as it is kept; None where there is none."""
    path = folder / name
    if not path.is_file():
        return None
    text = path.read_text(encoding="utf-8")
    return json.loads(text) if name.endswith(".json") else text


def write(name: str, value: Any, folder: Path = FOLDER) -> None:
    """Keep a record."""
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(value if isinstance(value, str) else text_of(value) + "\n", encoding="utf-8", newline="\n")


def check(name: str, folder: Path = FOLDER) -> list[Difference]:
    """Where a record differs from what the program says now."""
    old = kept(name, folder)
    if old is None:
        return [Difference("(file)", "(absent)", "made, not kept: scripts/golden --write")]
    return differences(old, made(name))


def unknown(folder: Path = FOLDER) -> list[str]:
    """Files that no record stands for."""
    there = sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())
    return [name for name in there if name not in RECORDS]


def chosen(words: list[str]) -> list[str]:
    """Names of records that begin with one of the words or match it; all without words."""
    return [n for n in RECORDS if not words or any(n.startswith(w) or fnmatch(n, w) for w in words)]


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="scripts/golden", description=__doc__)
    parser.add_argument("names", nargs="*", help="records to take; all without")
    parser.add_argument("--write", action="store_true", help="write the records anew")
    parser.add_argument("--folder", type=Path, default=FOLDER, help="where they are kept")
    parser.add_argument("--most", type=int, default=20, help="differences printed for one record; 0 for all")
    parser.add_argument("--times", action="store_true", help="print the seconds each record takes")
    return parser.parse_args()


def _tell(name: str, found: list[Difference], most: int) -> None:
    for one in found[: most or None]:
        print(f"{name}  {one.place}\n  old  {one.old}\n  new  {one.new}")
    if most and len(found) > most:
        print(f"{name}  and {len(found) - most} more: --most 0")


def main() -> int:
    """Write or compare; the exit status."""
    given = _options()
    names = chosen(given.names)
    if not names:
        print("no record has such a name", file=sys.stderr)
        return 2
    began, off, count = time.perf_counter(), 0, 0
    for name in names:
        start = time.perf_counter()
        if given.write:
            write(name, made(name), given.folder)
        else:
            found = check(name, given.folder)
            _tell(name, found, given.most)
            off, count = off + bool(found), count + len(found)
        if given.times:
            print(f"{time.perf_counter() - start:7.2f} s  {name}")
    extra = [] if given.names else unknown(given.folder)
    for name in extra:
        if given.write:
            (given.folder / name).unlink()
        else:
            print(f"{name}  (file)\n  old  kept\n  new  no record stands for it")
    done = "written" if given.write else f"compared; {off} differ, in {count} places"
    print(f"{len(names)} records {done} ({time.perf_counter() - began:.0f} s)")
    return int(not given.write and bool(off or extra))


if __name__ == "__main__":
    sys.exit(main())
