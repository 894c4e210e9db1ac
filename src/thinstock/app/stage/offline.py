"""A lesson as one file for a browser without the program: everything inside, nothing asked for, its own content policy.

The slider of a scene has the places at which its machine was run; none between them is made up.
"""

from __future__ import annotations

import base64
import json
import re
from hashlib import sha256
from pathlib import Path
from typing import Any

from thinstock.app.reply import environment
from thinstock.app.words import catalogue
from thinstock.drawing import svg, typeface
from thinstock.drawing.elevation import ROOT
from thinstock.errors import visible, visible_in
from thinstock.formula.label import worksheet
from thinstock.lesson.layout import HEIGHT
from thinstock.lesson.model import Lesson, Scene
from thinstock.lesson.out.scenes import inside
from thinstock.lesson.played import Stage
from thinstock.lesson.record import answer_record, notes_record, scene_record
from thinstock.lesson.shows.canvas import PREFIX, rules
from thinstock.lesson.subject import Files

STATIC = Path(__file__).parents[1] / "static"
WIDTH = HEIGHT * 4 / 3
PLACES = 11
"""At which a scene with a slider is run."""
_FACES = re.compile(r"@font-face\s*\{[^}]*\}")


def html(lesson: Lesson, files: Files | None = None) -> str:
    """The lesson as one HTML file; a scene that no longer runs is refused."""
    data = {
        "query": "", "title": lesson.title, "minutes": lesson.minutes, "notes": False, "scenes": notes_record(lesson),
        "words": catalogue()["stage"], "frames": [_frames(scene, files) for scene in lesson.scenes],
    }  # fmt: skip
    script = (STATIC / "stage.js").read_text(encoding="utf-8")
    script = re.sub(r"\nif \(!told\.frames\) import[^\n]*", "", script)
    carried = json.dumps(visible_in(data), ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    carried = carried.replace("<", "\\u003c")
    style = _style()
    made = environment().get_template("stage_offline.html")
    policy = _policy(style, script)
    return visible(made.render(lesson=lesson, notes=False, style=style, script=script, data=carried, policy=policy))


def _frames(scene: Scene, files: Files | None) -> list[dict[str, Any]]:
    """The scene at its own place and, where it has a slider, at places all along it."""
    own = Stage(scene, files).at
    shares: list[float | None] = [None]
    if scene.move is not None:
        shares += [i / (PLACES - 1) for i in range(PLACES) if abs(i / (PLACES - 1) - own) > 0.02]
    return [_frame(scene, files, share, own) for share in shares]


def _frame(scene: Scene, files: Files | None, share: float | None, own: float) -> dict[str, Any]:
    with worksheet(False):
        shown = scene_record(scene, files, WIDTH, share=share, image=inside)
        secret = scene_record(scene, files, WIDTH, share=share, image=inside, hidden=True)
    stage = Stage(scene, files, share)
    changed = {name: value for name, value in secret.items() if value != shown[name]}
    return {
        "share": own if share is None else share, "own": share is None, "scene": shown, "hidden": changed or None,
        "answer": answer_record(stage.answer()),
        "workings": [[title, list(lines)] for title, lines in stage.workings()] if share is None else [],
    }  # fmt: skip


def _style() -> str:
    """The styles of stage and drawings with their typefaces inside."""
    sheet = svg.style_sheet("page", PREFIX, ROOT).removeprefix("<style>").removesuffix("</style>")
    own = _FACES.sub("", (STATIC / "stage.css").read_text(encoding="utf-8"))
    faces = [typeface.rules()]
    for cut, weight in typeface.CUTS.items():
        made = typeface.serif(cut)
        if made is not None:
            source = base64.b64encode(made).decode("ascii")
            faces.append(f"@font-face{{font-family:'Source Serif Pro';font-weight:{weight};"
                         f"src:url(data:font/woff;base64,{source}) format('woff')}}")  # fmt: skip
    return "".join((*faces, _FACES.sub("", sheet), rules("page"), own))


def _policy(style: str, script: str) -> str:
    """What the file may do: its own style and script, pictures and typefaces it carries, and nothing else."""

    def held(text: str) -> str:
        return "'sha256-" + base64.b64encode(sha256(text.encode("utf-8")).digest()).decode("ascii") + "'"

    return (
        f"default-src 'none'; style-src {held(style)}; script-src {held(script)}; img-src data:; font-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
