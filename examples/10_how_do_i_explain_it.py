"""How do I explain it?

The working of any number, formula by formula; a handout on the machine; problems for a class with their key.
"""

from __future__ import annotations

import sys
from pathlib import Path

import thinstock
from thinstock.tell.exercises import exercises, order
from thinstock.tell.explained import explain
from thinstock.tell.handout import handout
from thinstock.tell.worked import worked


def numbers() -> dict[str, float]:
    """How long the way to a few numbers is, and what it starts from."""
    result = thinstock.load("facial-roll").run()
    found = {}
    for name in ("flow_per_width", "dryness_press", "steam_per_product"):
        made = worked(result, name)
        found[f"{name}: steps"] = len(made.steps)
        found[f"{name}: given numbers"] = len(made.inputs)
        found[f"{name}: of them assumed"] = sum(i.status == "assumed" for i in made.inputs)
    return found


def write(folder: str | Path) -> list[str]:
    """A working, a handout and a class sheet with its key, as files."""
    machine = thinstock.load("facial-roll")
    made = {
        "flow.html": explain(machine.run(), "flow_per_width", "html"),
        "handout.pdf": handout(machine, "pdf", ["machine", "water", "price"]),
        "sheet.pdf": exercises(machine, "pdf", order("1-2", 4, seed=1)),
        "key.pdf": exercises(machine, "pdf", order("1-2", 4, seed=1), key=True),
    }
    for name, content in made.items():
        Path(folder, name).write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return list(made)


def plot(path: str | Path) -> None:
    """The machine to scale."""
    from thinstock import drawing

    Path(path).write_text(drawing.elevation(thinstock.load("facial-roll").run(), theme="print"), encoding="utf-8")


if __name__ == "__main__":
    for name, value in numbers().items():
        print(f"{name:<40}{value:6}")
    if len(sys.argv) > 1:
        plot(sys.argv[1])
