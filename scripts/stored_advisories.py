"""The locked packages against the stored list of advisories: what is known, and up to when anything is known."""

from __future__ import annotations

import re
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
LOCKS = ("requirements.lock", "requirements-test.lock")


def locked(text: str) -> dict[str, str]:
    """Versions by name, as a lock pins them."""
    return {
        name.lower().replace("_", "-"): version for name, version in re.findall(r"(?m)^([\w.-]+)==([^\s;\\]+)", text)
    }


def numbers(version: str) -> tuple[int, ...]:
    """A version to compare by: its leading numbers."""
    release = re.match(r"\d+(\.\d+)*", version)
    found = tuple(int(n) for n in release[0].split(".")) if release else (0,)
    while len(found) > 1 and found[-1] == 0:
        found = found[:-1]
    return found


def hit(version: str, advisory: dict[str, str]) -> bool:
    """Whether a version lies from the first that has the fault to the first that is mended."""
    after = numbers(version) >= numbers(advisory.get("since", "0"))
    return after and ("mended" not in advisory or numbers(version) < numbers(advisory["mended"]))


def found(pinned: dict[str, str], advisories: list[dict[str, str]]) -> list[str]:
    """A line for each pinned version that an advisory names."""
    return [
        f"{one['package']} {pinned[one['package']]}: {one['id']}, mended in {one.get('mended', '?')}. {one['what']}"
        for one in advisories
        if one["package"] in pinned and hit(pinned[one["package"]], one)
    ]


def main(folder: Path = ROOT) -> int:
    """Print what is known; 1 where a locked version is vulnerable."""
    stored = tomllib.loads((ROOT / "scripts" / "advisories.toml").read_text(encoding="utf-8"))
    pinned: dict[str, str] = {}
    for name in LOCKS:
        pinned |= locked((folder / name).read_text(encoding="utf-8"))
    wrong = found(pinned, stored["advisory"])
    print("\n".join(wrong) or "no locked version is in the stored list")
    told = {one["package"] for one in stored["advisory"]}
    print(
        f"{len(pinned)} locked packages held against {len(stored['advisory'])} advisories on {len(told)} packages. "
        f"The list ends at {stored['known_until']} and was written down {stored['held']}: it CANNOT say anything of "
        "what was found later, nor of packages it does not name."
    )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT))
