"""How do I explain it?

The working of any number, formula by formula; a handout on the machine; problems for a class with their key.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import thinstock


def numbers() -> dict[str, float]:
    """How long the way to a few numbers is, and what it starts from."""
    result = thinstock.run("facial-roll")
    found = {}
    for name in ("flow_per_width", "dryness_press", "steam_per_product"):
        made = json.loads(thinstock.explain(result, name, "json"))
        found[f"{name}: steps"] = len(made["steps"])
        found[f"{name}: given numbers"] = len(made["given"])
        found[f"{name}: of them assumed"] = sum(i["status"] == "assumed" for i in made["given"])
    return found


def write(folder: str | Path) -> list[str]:
    """A working, a handout and a class sheet with its key, as files."""
    machine = thinstock.load("facial-roll")
    asked = {"levels": "1-2", "count": 4, "seed": 1}
    made = {
        "flow.html": thinstock.explain(machine.run(), "flow_per_width", "html"),
        "handout.pdf": thinstock.handout(machine, "pdf", ["machine", "water", "price"]),
        "sheet.pdf": thinstock.exercises(machine, "pdf", asked),
        "key.pdf": thinstock.exercises(machine, "pdf", asked, key=True),
    }
    for name, content in made.items():
        Path(folder, name).write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return list(made)


def plot(path: str | Path) -> None:
    """The machine to scale."""
    Path(path).write_text(thinstock.draw(thinstock.run("facial-roll")), encoding="utf-8")


if __name__ == "__main__":
    for name, value in numbers().items():
        print(f"{name:<40}{value:6}")
    if len(sys.argv) > 1:
        plot(sys.argv[1])
