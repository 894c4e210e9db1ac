"""What leaves the tool of a lesson: paper, slides that a reader opens, one offline file that asks for nothing."""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ET
import zipfile
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest

from app_client import Client
from thinstock.app.stage.offline import html
from thinstock.cli import status
from thinstock.errors import Refused
from thinstock.lesson.library import bundled, lesson_names
from thinstock.lesson.model import Lesson
from thinstock.lesson.out.clips import SIZE, clip
from thinstock.lesson.out.frame import frame
from thinstock.lesson.out.paper import pdf
from thinstock.lesson.out.scenes import scenes
from thinstock.lesson.out.slides import pptx

pytestmark = pytest.mark.slow
FIRST = bundled(lesson_names()[0])
FEW: Lesson = replace(FIRST, scenes=(FIRST.scenes[2], FIRST.scenes[4], FIRST.scenes[11]))


def test_a_lesson_is_a_page_a_scene_with_or_without_notes() -> None:
    with_notes, without = pdf(FEW), pdf(FEW, notes=False)
    assert with_notes.startswith(b"%PDF") and without.startswith(b"%PDF")
    assert len(re.findall(rb"/Type\s*/Page\b", without)) in (0, 1 + len(FEW.scenes))
    assert with_notes != without


def test_slides_open_in_a_reader_with_text_vector_drawings_and_notes() -> None:
    reader = pytest.importorskip("pptx")
    content = pptx(FEW)
    made = reader.Presentation(io.BytesIO(content))
    slides = list(made.slides)
    assert len(slides) == len(FEW.scenes)
    for slide, scene in zip(slides, FEW.scenes, strict=True):
        texts = [shape.text_frame.text for shape in slide.shapes if shape.has_text_frame]
        assert scene.title in texts
        assert scene.notes.strip().splitlines()[0] in slide.notes_slide.notes_text_frame.text
        assert any(shape.shape_type == 13 for shape in slide.shapes), "a picture"
    assert "Answer: " in slides[0].notes_slide.notes_text_frame.text
    assert not any("540" in s.text_frame.text for s in slides[0].shapes if s.has_text_frame), "the answer is not shown"
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        vectors = [name for name in archive.namelist() if name.endswith(".svg")]
        assert len(vectors) == len(FEW.scenes)
        for name in vectors:
            root = ET.fromstring(archive.read(name))
            assert root.find("{http://www.w3.org/2000/svg}style") is None
            lines = [e for e in root.iter() if e.get("d")]
            assert lines and all(e.get("stroke") or e.get("fill") for e in lines), "styles stand at the elements"
        assert any(b"svgBlip" in archive.read(n) for n in archive.namelist() if n.startswith("ppt/slides/slide"))


def test_the_offline_file_carries_everything_and_asks_for_nothing() -> None:
    made = unescape(html(replace(FIRST, scenes=(FIRST.scenes[4], FIRST.scenes[9]))))
    assert "default-src 'none'" in made
    outside = re.findall(r"(?:src|href)=[\"']?((?:https?:)?//[^\"' >]+)", made) + re.findall(
        r"url\((?!data:|#)[^)]*", made
    )
    assert outside == []
    assert "fetch(" in made, "the stage's own script, which the policy keeps from asking"
    assert "connect-src" not in made


def test_a_picture_of_a_scene_holds_its_title_and_only_the_lines_said() -> None:
    one = next(iter(scenes(FEW, None, 1365.0, "paper")))
    made = frame(one.record, said=1)
    assert FEW.scenes[0].title in made
    assert one.record["lines"][0] in made and one.record["lines"][1] not in made


def test_the_command_writes_by_the_ending(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert status(["lesson", "export", "2-paper-or-a-hole", "--out", str(tmp_path / "x.docx")]) == 1
    assert "pptx" in capsys.readouterr().err


def test_the_page_lists_lessons_and_what_can_be_taken_away(tmp_path: Path) -> None:
    client = Client(tmp_path)
    try:
        listed = client.get("/lessons").text
        assert all(f"lesson={name}" in listed for name in lesson_names())
        assert "/lessons/take/lesson.pptx" in listed
        assert client.get("/lessons/take/lesson.exe?lesson=1-why-tissue-machines").status_code == 404
        at = "lesson=1-why-tissue-machines&scene=5&share=0.5"
        assert "Faster, thinner" in client.get(f"/lessons/take/scene.svg?{at}").text
        assert client.get(f"/lessons/take/scene.png?{at}").content.startswith(b"\x89PNG")
        assert "speed,350,m/min" in client.get(f"/lessons/take/scene.csv?{at}").text
        assert client.get("/lessons/take/scene.png?lesson=1-why-tissue-machines&scene=99").status_code == 404
    finally:
        client.close()


def test_a_scene_becomes_a_clip_of_pictures_that_were_run_with_its_notes_as_subtitles(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    av = pytest.importorskip("av")
    out = tmp_path / "kick.mp4"
    for name in ("FIRST", "LINE", "LAST"):
        monkeypatch.setattr(f"thinstock.lesson.out.clips.{name}", 0.2)
    beside = clip(FIRST, out, scene="faster-thinner", steps=3)
    with av.open(str(out)) as held:
        stream = held.streams.video[0]
        frames = [f.to_ndarray(format="gray") for f in held.decode(stream)]
        assert (stream.width, stream.height) == SIZE
    assert len(frames) == 2 * 5 + 3
    moved = frames[-5:-2]
    assert abs(moved[0].astype(int) - moved[1]).max() > 60 and abs(moved[1].astype(int) - moved[2]).max() > 60
    told = beside.read_text(encoding="utf-8")
    assert told.startswith("1\n00:00:00,000 --> ") and "Ask who has stood by an old table" in told
    with pytest.raises(Refused, match=r"\.mp4"):
        clip(FIRST, tmp_path / "kick.avi")
    with pytest.raises(Refused, match="faster-thinner"):
        clip(FIRST, out, scene="faster")
