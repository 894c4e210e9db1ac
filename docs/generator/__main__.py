"""`python docs/generator OUT`: build the documentation into a folder; a warning fails the build."""

from __future__ import annotations

import sys
from pathlib import Path

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from generator.build import build
from generator.site import HERE


def main(arguments: list[str]) -> int:
    """Build; 1 if anything does not fit."""
    folder = Path(arguments[0]) if arguments else HERE / "site"
    count, warnings = build(folder)
    for warning in warnings:
        print(f"warning: {warning}", file=sys.stderr)
    print(f"{count} files in {folder}")
    return 1 if warnings else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
