"""A scene or a whole lesson as a clip: its lines one by one, its slider from end to end, notes as subtitles.

Every picture is the machine run at that value; none is made up between two of them.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from thinstock.errors import Refused, needs
from thinstock.files.write import put
from thinstock.formula.label import worksheet
from thinstock.lesson.layout import HEIGHT
from thinstock.lesson.model import Lesson, Scene
from thinstock.lesson.out.frame import frame
from thinstock.lesson.out.pixels import png
from thinstock.lesson.out.scenes import inside
from thinstock.lesson.record import scene_record
from thinstock.lesson.subject import Files
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

SIZE = (1920, 1080)
RATE = 10
"""Pictures a second."""
FIRST, LINE, LAST = 3.0, 2.5, 2.0
"""Seconds before the first line, for each line, and behind the last."""
STEPS = 40
"""Places of a slider, each run; they take `STEPS / RATE` seconds."""
CODECS = {".mp4": ("libx264", "yuv420p", "mp4"), ".webp": ("libwebp_anim", "yuv420p", "webp")}
Progress = Callable[[int, int], None]


@dataclass(frozen=True, kw_only=True)
class Still:
    """One picture and how long it stands, s."""

    picture: bytes
    seconds: float


def clip(
    lesson: Lesson, out: Path, files: Files | None = None, *, scene: str = "", steps: int = STEPS,
    on_progress: Progress | None = None,
) -> Path:  # fmt: skip
    """Write a clip and its subtitles beside it; the path of the subtitles.

    Parameters
    ----------
    lesson : Lesson
        Whose scenes are run.
    out : Path
        `.mp4` or `.webp`, 1920 × 1080; the subtitles are named alike and end in `.srt`.
    files : callable, optional
        Reads machine files beside the lesson by their names.
    scene : str, optional
        The name of one scene; all of them if left out.
    steps : int, default 40
        Places of a slider.
    on_progress : callable, optional
        Told scenes done and all of them.

    Raises
    ------
    Refused
        Another ending, no such scene, or the package that writes clips is missing.

    Source: the scenes' own machines.
    """
    kind = out.suffix.lower()
    if kind not in CODECS:
        raise Refused(fault_in("lesson.fault.clip", "--out", str(out), known=", ".join(CODECS)))
    chosen = [one for one in lesson.scenes if scene in ("", one.name)]
    if not chosen:
        raise Refused(fault_in("lesson.fault.one_of", "--scene", scene, known=", ".join(s.name for s in lesson.scenes)))
    needs("av", "clips")
    subtitles: list[str] = []
    with _Writer(out, kind) as writer:
        for done, one in enumerate(chosen, start=1):
            begun = writer.seconds
            foot = phrase("lesson.out.place", number=lesson.scenes.index(one) + 1, count=len(lesson.scenes))
            for still in stills(one, files, steps, foot):
                writer.add(still)
            subtitles += _subtitles(one, begun, writer.seconds, len(subtitles))
            if on_progress is not None:
                on_progress(done, len(chosen))
    return put(out.with_suffix(".srt"), "\n".join(subtitles))


def stills(scene: Scene, files: Files | None, steps: int, foot: str = "") -> Iterator[Still]:
    """The pictures of a scene in order: line by line, then its slider from its own place to both ends."""
    width = HEIGHT * SIZE[0] / SIZE[1]

    def taken(share: float | None, said: int) -> bytes:
        with worksheet(False):
            record = scene_record(scene, files, width, share=share, image=inside, theme="paper")
        return png(frame(record, said=said, foot=foot), scale=SIZE[1] / HEIGHT)

    with worksheet(False):
        first = scene_record(scene, files, width, image=inside, theme="paper")
    lines = len(first["lines"])
    for said in range(lines + 1):
        yield Still(picture=png(frame(first, said=said, foot=foot), scale=SIZE[1] / HEIGHT),
                    seconds=LINE if said else FIRST)  # fmt: skip
    if scene.move is not None and steps > 1:
        for i in range(steps):
            yield Still(picture=taken(i / (steps - 1), lines), seconds=1.0 / RATE)
    yield Still(picture=png(frame(first, said=lines, foot=foot), scale=SIZE[1] / HEIGHT), seconds=LAST)


class _Writer:
    """Pictures into a file."""

    def __init__(self, out: Path, kind: str) -> None:
        codec, pixels, container = CODECS[kind]
        self.av: Any = needs("av", "clips")
        self.image: Any = needs("PIL.Image", "page")
        self.out = out
        self.made = io.BytesIO()
        self.held = self.av.open(self.made, "w", format=container)
        self.stream = self.held.add_stream(codec, rate=RATE)
        self.stream.width, self.stream.height, self.stream.pix_fmt = *SIZE, pixels
        self.frames = 0

    @property
    def seconds(self) -> float:
        """How long it is so far."""
        return self.frames / RATE

    def add(self, still: Still) -> None:
        """One picture for its time."""
        image = self.image.open(io.BytesIO(still.picture)).convert("RGB")
        if image.size != SIZE:
            image = image.resize(SIZE)
        made = self.av.VideoFrame.from_image(image)
        for _ in range(max(round(still.seconds * RATE), 1)):
            made.pts = self.frames
            self.frames += 1
            for packet in self.stream.encode(made):
                self.held.mux(packet)

    def __enter__(self) -> _Writer:
        return self

    def __exit__(self, kind: object, *more: object) -> None:
        if kind is None:
            for packet in self.stream.encode():
                self.held.mux(packet)
        self.held.close()
        if kind is None:
            put(self.out, self.made.getvalue())


def _subtitles(scene: Scene, begun: float, ended: float, before: int) -> list[str]:
    """The notes of a scene, spread over its time."""
    lines = [line.strip() for line in scene.notes.splitlines() if line.strip()]
    if not lines:
        return []
    each = (ended - begun) / len(lines)
    return [
        f"{before + i + 1}\n{_stamp(begun + i * each)} --> {_stamp(begun + (i + 1) * each)}\n{line}\n"
        for i, line in enumerate(lines)
    ]


def _stamp(seconds: float) -> str:
    whole = round(1000 * seconds)
    return f"{whole // 3600000:02d}:{whole // 60000 % 60:02d}:{whole // 1000 % 60:02d},{whole % 1000:03d}"
