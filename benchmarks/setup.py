"""What setting up costs: time and size of a plain install and of each extra, each in a fresh environment.

Run it by hand, with a network: `.venv/bin/python benchmarks/setup.py [base fast page paper tables cluster lock]`. With
`--installed` nothing is installed: the sizes are those of the files that this environment holds of each set.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Iterable
from contextlib import suppress
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
SETS = ("base", "fast", "page", "paper", "page,paper", "tables", "cluster", "lock")


def size_of(folder: Path) -> float:
    """MB of all files below a folder."""
    return sum(p.stat().st_size for p in folder.rglob("*") if p.is_file() and not p.is_symlink()) / 1e6


def fresh(what: str) -> tuple[float, float, dict[str, float]]:
    """Seconds and MB of an install into an environment of its own, and its largest packages."""
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([sys.executable, "-m", "venv", folder], check=True)
        before = size_of(Path(folder))
        (python,) = (p for p in (Path(folder, "bin/python"), Path(folder, "Scripts/python.exe")) if p.exists())
        asked = (
            ["--require-hashes", "-r", str(ROOT / "requirements.lock")]
            if what == "lock"
            else [str(ROOT) if what == "base" else f"{ROOT}[{what}]"]
        )
        begun = time.perf_counter()
        subprocess.run([str(python), "-m", "pip", "install", "--quiet", *asked], check=True)
        took = time.perf_counter() - begun
        (packages,) = Path(folder).glob("[Ll]ib/**/site-packages")
        each = {p.name: size_of(p) for p in packages.iterdir() if p.is_dir()}
        return took, size_of(Path(folder)) - before, each


def closure(extras: tuple[str, ...], first: tuple[str, ...] = ()) -> set[str]:
    """The packages an install with these extras brings, by what those here ask for; or what `first` ask for."""
    waiting: list[tuple[str, frozenset[str]]] = []
    seen: set[tuple[str, frozenset[str]]] = set()

    def ask(lines: Iterable[str], asked: frozenset[str]) -> None:
        for line in lines:
            needed, _, marker = line.partition(";")
            extra = re.search(r"extra == ['\"]([^'\"]+)", marker)
            if (extra and extra[1] not in asked) or re.search(r"python_version\s*<\s|win32|Windows|emscripten", marker):
                continue
            found = re.match(r"\s*([\w.-]+)\s*(?:\[([^]]*)\])?", needed)
            assert found is not None
            inner = frozenset(e.strip() for e in (found[2] or "").split(",") if e.strip())
            waiting.append((found[1].lower(), inner))

    ask(first or [f"thinstock[{','.join(extras)}]"], frozenset())
    while waiting:
        name, asked = waiting.pop()
        if (name, asked) in seen:
            continue
        seen.add((name, asked))
        with suppress(PackageNotFoundError):
            ask(distribution(name).requires or [], asked)
    return {name for name, _ in seen}


def base_of(checkout: Path) -> float:
    """MB of what a checkout's plain install brings besides itself, by the files of these packages here."""
    project = tomllib.loads((checkout / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return sum(held(name) for name in closure((), tuple(project["dependencies"])))


def held(name: str) -> float:
    """MB of a package's files here, without what Python compiled."""
    try:
        files = distribution(name).files or []
    except PackageNotFoundError:
        return 0.0
    places = {Path(str(f.locate())) for f in files if f.suffix != ".pyc"}
    return sum(p.stat().st_size for p in places if p.is_file()) / 1e6


def main() -> None:
    """Print one line for each set."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sets", nargs="*", default=list(SETS))
    parser.add_argument("--installed", action="store_true")
    given = parser.parse_args()
    for what in given.sets or SETS:
        extras = () if what in ("base", "lock") else tuple(what.split(","))
        if given.installed:
            names = closure(("page", "paper", "tables") if what == "lock" else extras)
            each, took = {name: held(name) for name in names}, None
            whole = sum(each.values())
        else:
            took, whole, each = fresh(what)
        largest = ", ".join(f"{n} {s:.0f}" for n, s in sorted(each.items(), key=lambda one: -one[1])[:5])
        clock = "" if took is None else f"{took:6.0f} s "
        print(f"{what:12}{clock}{whole:7.0f} MB in {len(each):3} packages; largest: {largest}", flush=True)


if __name__ == "__main__":
    main()
