"""A lesson on paper: a page a scene, with or without the trainer's notes, as tagged PDF."""

from __future__ import annotations

from thinstock.lesson.model import Lesson
from thinstock.lesson.out.scenes import scenes
from thinstock.lesson.subject import Files
from thinstock.tell.paper import document

WIDTH = 1086.0
"""Of a scene on a page of A4 lying on its side, px at a height of 768."""


def pdf(lesson: Lesson, files: Files | None = None, *, notes: bool = True, paper: str = "a4") -> bytes:
    """The lesson as a PDF.

    Parameters
    ----------
    lesson : Lesson
        Whose scenes are run and set, one a page.
    files : callable, optional
        Reads machine files beside the lesson by their names.
    notes : bool, default True
        With the trainer's notes and the answers; without them nothing is given away.
    paper : {"a4", "letter"}

    Returns
    -------
    bytes
        PDF/UA-1.

    Raises
    ------
    Refused
        A scene that no longer runs, or an unknown paper.

    Source: the scenes' own machines.
    """
    rows, pictures = [], {}
    for i, one in enumerate(scenes(lesson, files, WIDTH, hidden=not notes), start=1):
        made = one.record
        if made["drawing"]:
            pictures[f"scene{i}.svg"] = made["drawing"].encode("utf-8")
        rows.append({
            "title": made["title"], "question": made["question"], "choices": made["choices"],
            "picture": f"scene{i}.svg" if made["drawing"] else "", "alt": made["title"], "caption": made["caption"],
            "slider": "" if made["slider"] is None else f"{made['slider']['label']}: {made['slider']['said']}",
            "numbers": made["numbers"],
            "lines": made["lines"], "remarks": [words for _, words in made["remarks"]],
            "notes": one.scene.notes.splitlines() if notes else [], "answer": one.answer_text if notes else "",
        })  # fmt: skip
    return document(
        "lesson", {"scenes": rows, "about": lesson.about}, title=lesson.title, paper=paper, pictures=pictures
    )
