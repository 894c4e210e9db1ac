"""A lesson as slides: words as text, the drawing as vector with a picture behind it, notes in the notes (PPTX)."""

from __future__ import annotations

import io
from typing import Any

from thinstock.errors import needs, visible
from thinstock.lesson.layout import GAP, HEIGHT, MARGIN, TOP
from thinstock.lesson.model import Lesson
from thinstock.lesson.out.pixels import png
from thinstock.lesson.out.scenes import Out, scenes
from thinstock.lesson.out.styled import styled
from thinstock.lesson.subject import Files
from thinstock.words.phrase import phrase

WIDTH = HEIGHT * 16 / 9
INCHES = 7.5
"""Height of a slide."""
EMU = 914400 * INCHES / HEIGHT
POINT = 72 * INCHES / HEIGHT
SERIF, SANS = "Source Serif Pro", "Source Sans Pro"
VECTOR = "http://schemas.microsoft.com/office/drawing/2016/SVG/main"
EXTENSION = "{96DAC541-7B7A-43D3-8B79-37D633B846F1}"
"""By which slides say that a picture has a vector form."""


def pptx(lesson: Lesson, files: Files | None = None) -> bytes:
    """The lesson as PPTX, a slide a scene; needs the extra "slides".

    Parameters
    ----------
    lesson : Lesson
        Whose scenes are run.
    files : callable, optional
        Reads machine files beside the lesson by their names.

    Returns
    -------
    bytes
        The file.

    Raises
    ------
    Refused
        A scene that no longer runs, or the package that writes slides is missing.

    Source: the scenes' own machines.
    """
    made = needs("pptx", "slides").Presentation()
    made.slide_width, made.slide_height = round(WIDTH * EMU), round(HEIGHT * EMU)
    made.core_properties.title, made.core_properties.author = visible(lesson.title), "thinstock"
    blank = made.slide_layouts[5]
    for one in scenes(lesson, files, WIDTH, "print", hidden=True):
        _slide(made.slides.add_slide(blank), one)
    held = io.BytesIO()
    made.save(held)
    return held.getvalue()


def _slide(slide: Any, one: Out) -> None:
    record, shape = one.record, one.record["layout"]
    room, y = shape["width"] - 2 * MARGIN, TOP
    title = slide.shapes.title
    title.left, title.top = round(MARGIN * EMU), round(y * EMU)
    title.width, title.height = round(room * EMU), round(shape["title"] * EMU)
    _words(title.text_frame, [record["title"]], 36, bold=True, font=SERIF)
    y += shape["title"] + GAP
    asking = record["show"] == "question"
    if record["question"]:
        high = 0.4 * shape["drawing"] if asking else shape["question"]
        _box(slide, (MARGIN, y, room, high), [record["question"]], 40 if asking else 24, italic=not asking)
        y += high + GAP
    if record["choices"]:
        high = 0.5 * shape["drawing"] if asking else shape["choices"]
        lines = [f"○ {c}" for c in record["choices"]]
        _box(
            slide, (MARGIN, y, room, high), lines if asking else ["     ".join(lines)], 24 if asking else 20, font=SANS
        )
        y += high + GAP
    if record["drawing"]:
        _drawing(slide, record, (MARGIN, y, room, shape["drawing"]))
    if not asking and (record["drawing"] or record["show"] != "words"):
        y += shape["drawing"] + GAP
    if record["slider"] is not None:
        _box(slide, (MARGIN, y, room, 40), [f"{record['slider']['label']}: {record['slider']['said']}"], 20, font=SANS)
        y += shape["slider"] + GAP
    if record["numbers"]:
        wide = room / 3
        for i, number in enumerate(record["numbers"]):
            _number(slide, number, (MARGIN + i * wide, y, wide - 12.0, shape["numbers"]))
        y += shape["numbers"] + GAP
    _box(slide, (MARGIN, y, room, shape["lines"]), record["lines"], 36 if record["show"] == "words" else 22)
    y += shape["lines"] + GAP
    marked = " ".join(words for _, words in record["remarks"])
    if marked:
        _box(slide, (MARGIN, y, room, shape["remarks"]), [marked], 16, italic=True)
    notes = [one.scene.notes.strip()]
    if one.answer_text:
        notes.append(phrase("lesson.out.answer", answer=one.answer_text))
    slide.notes_slide.notes_text_frame.text = visible("\n".join(filter(None, notes)))


def _drawing(slide: Any, record: dict[str, Any], at: tuple[float, float, float, float]) -> None:
    """A picture of points, and above it the same as vector for readers that show it."""
    from pptx.opc.constants import RELATIONSHIP_TYPE
    from pptx.opc.package import Part
    from pptx.opc.packuri import PackURI
    from pptx.oxml import parse_xml

    vector = styled(record["drawing"])
    left, top, wide, high = (round(v * EMU) for v in at)
    picture = slide.shapes.add_picture(io.BytesIO(png(record["drawing"], scale=2.0)), left, top, wide, high)
    picture._element.nvPicPr.cNvPr.set("descr", visible(record["title"]))
    package = slide.part.package
    name = PackURI(f"/ppt/media/drawing{slide.slide_id}.svg")
    part = Part(name, "image/svg+xml", package, vector.encode("utf-8"))
    link = slide.part.relate_to(part, RELATIONSHIP_TYPE.IMAGE)
    blip = picture._element.blipFill.find("{http://schemas.openxmlformats.org/drawingml/2006/main}blip")
    blip.append(parse_xml(
        f'<a:extLst xmlns:a="http://schemas.openxmlformats.org/drawingml/2006/main"><a:ext uri="{EXTENSION}">'
        f'<asvg:svgBlip xmlns:asvg="{VECTOR}" '
        'xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships" '
        f'r:embed="{link}"/></a:ext></a:extLst>'
    ))  # fmt: skip


def _number(slide: Any, number: dict[str, Any], at: tuple[float, float, float, float]) -> None:
    box = slide.shapes.add_textbox(*(round(v * EMU) for v in at))
    size = 28 if len(number["value"]) > 11 else 38
    _words(box.text_frame, [f"{number['value']} {number['unit']}".strip()], size, bold=True)
    _words(box.text_frame, [number["label"], number["aside"]], 17, font=SANS, more=True)


def _box(slide: Any, at: tuple[float, float, float, float], lines: list[str], size: float, *, font: str = SERIF,
         italic: bool = False) -> None:  # fmt: skip
    box = slide.shapes.add_textbox(*(round(v * EMU) for v in at))
    _words(box.text_frame, lines, size, font=font, italic=italic)


def _words(frame: Any, lines: list[str], size: float, *, font: str = SERIF, bold: bool = False, italic: bool = False,
           more: bool = False) -> None:  # fmt: skip
    """Paragraphs of text in a frame, without its margins."""
    from pptx.util import Pt

    frame.word_wrap = True
    frame.margin_left = frame.margin_right = frame.margin_top = frame.margin_bottom = 0
    for i, line in enumerate(line for line in lines if line):
        paragraph = frame.add_paragraph() if i or more else frame.paragraphs[0]
        run = paragraph.add_run()
        run.text = visible(line)
        run.font.size, run.font.bold, run.font.italic, run.font.name = Pt(size * POINT), bold, italic, font
        paragraph.alignment = 1
