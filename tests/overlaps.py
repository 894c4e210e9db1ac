"""Counts on a drawing, from its markup alone: words on words, words on lines, words out of the frame, in a typeface."""

from __future__ import annotations

import itertools
import math
import re
import xml.etree.ElementTree as ET
from dataclasses import dataclass, field

import numpy as np

from thinstock.drawing.typeface import width_in

SVG = "{http://www.w3.org/2000/svg}"
SOLID = {
    "ts-suction", "ts-box", "ts-hood", "ts-steel", "ts-shoe", "ts-foil", "ts-paper-roll", "ts-pond", "ts-band",
    "ts-band-vapour", "ts-band-undrained", "ts-wrap", "ts-sign", "ts-black",
}  # fmt: skip
HIDDEN = {"ts-tip", "ts-mark"}
SLACK = 0.3
"""Words and lines may come so close without counting, px."""


@dataclass
class Ink:
    """What is seen of a drawing."""

    width: float
    height: float
    words: list[tuple[str, float, float, float, str, bool]] = field(default_factory=list)
    """Words, x, baseline, size, the side they are held on, semibold or not."""
    lines: list[np.ndarray] = field(default_factory=list)
    """Rows of x1 y1 x2 y2."""
    areas: list[np.ndarray] = field(default_factory=list)
    """Closed figures with something inside."""


def seen(markup: str) -> Ink:
    """Words and lines of a drawing."""
    root = ET.fromstring(markup)
    *_, width, height = map(float, root.get("viewBox").split())
    ink = Ink(width, height)
    clips = {}
    for clip in root.iter(f"{SVG}clipPath"):
        x, y, w, h = (float(clip[0].get(k)) for k in ("x", "y", "width", "height"))
        clips[f"url(#{clip.get('id')})"] = (x, y, x + w, y + h)
    _walk(root, (0.0, 0.0), None, clips, ink)
    return ink


def _walk(parent, shift, clip, clips, ink):
    for e in parent:
        tag, kinds = e.tag.removeprefix(SVG), set((e.get("class") or "").split())
        if tag in ("defs", "style", "title", "desc") or kinds & HIDDEN:
            continue
        moved = re.match(r"translate\((-?[\d.]+) (-?[\d.]+)\)", e.get("transform") or "")
        at = (shift[0] + float(moved[1]), shift[1] + float(moved[2])) if moved else shift
        if tag == "text":
            x, y, size = (float(e.get(k)) for k in ("x", "y", "font-size"))
            ink.words.append(
                (e.text, x + at[0], y + at[1], size, e.get("text-anchor", "start"), "ts-text-strong" in kinds)
            )
        elif tag == "path":
            points = _points(e.get("d")) + at
            rows = np.hstack((points[:-1], points[1:]))
            ink.lines.append(rows if clip is None else _clipped(rows, clip))
            if kinds & SOLID:
                ink.areas.append(points if clip is None else np.clip(points, clip[:2], clip[2:]))
        _walk(e, at, clips.get(e.get("clip-path"), clip), clips, ink)


def _points(data: str) -> np.ndarray:
    found: list[tuple[float, float]] = []
    for letter, text in re.findall(r"([MLAZ])([^MLAZ]*)", data):
        numbers = [float(n) for n in text.split()]
        if letter == "Z":
            found.append(found[0])
        elif letter == "A":
            found += _arc(found[-1], numbers[0], numbers[4], numbers[5:])
        else:
            found.append((numbers[0], numbers[1]))
    return np.array(found)


def _arc(start, radius, sweep, end):
    """Places along a small arc of a circle."""
    (x, y), (u, v) = start, end
    chord = math.dist(start, end)
    if chord < 1e-9:
        return [(u, v)]
    rise = math.sqrt(max(radius**2 - chord**2 / 4, 0.0)) * (1 if sweep else -1)
    cx, cy = (x + u) / 2 - rise * (v - y) / chord, (y + v) / 2 + rise * (u - x) / chord
    a, b = math.atan2(y - cy, x - cx), math.atan2(v - cy, u - cx)
    turn = math.remainder(b - a, 2 * math.pi)
    if turn * (1 if sweep else -1) < 0:
        turn += 2 * math.pi * (1 if sweep else -1)
    count = max(2, int(abs(turn) * radius / 2.0))
    return [(cx + radius * math.cos(a + turn * i / count), cy + radius * math.sin(a + turn * i / count))
            for i in range(1, count + 1)]  # fmt: skip


def _clipped(rows, clip):
    low, high, keep = _span(rows, clip)
    start, step = rows[:, :2], rows[:, 2:] - rows[:, :2]
    return np.hstack((start + low[:, None] * step, start + high[:, None] * step))[keep]


def _span(rows, box):
    """Where straight lines enter and leave a box, and which of them reach it."""
    low, high, keep = np.zeros(len(rows)), np.ones(len(rows)), np.ones(len(rows), bool)
    for k in (0, 1):
        start, step = rows[:, k], rows[:, k + 2] - rows[:, k]
        flat = np.abs(step) < 1e-9
        safe = np.where(flat, 1.0, step)
        s, t = (box[k] - start) / safe, (box[k + 2] - start) / safe
        low = np.where(flat, low, np.maximum(low, np.minimum(s, t)))
        high = np.where(flat, high, np.minimum(high, np.maximum(s, t)))
        keep &= ~flat | ((start > box[k]) & (start < box[k + 2]))
    return low, high, keep & (low < high)


def counted(ink: Ink, face: str) -> dict[str, list]:
    """Words on words, words on lines or on what is drawn, words out of the frame."""
    boxes = []
    for said, x, y, size, side, strong in ink.words:
        wide = width_in(face, said, size, strong=strong)
        left = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[side] * wide
        boxes.append(((left, y - 0.72 * size, left + wide, y + 0.2 * size), said))
    found = {"words on words": [], "words on lines": [], "out of the frame": []}
    for (a, said), (b, other) in itertools.combinations(boxes, 2):
        if min(a[2], b[2]) - max(a[0], b[0]) > SLACK and min(a[3], b[3]) - max(a[1], b[1]) > SLACK:
            found["words on words"].append((said, other))
    rows = np.concatenate(ink.lines) if ink.lines else np.empty((0, 4))
    for box, said in boxes:
        inner = (box[0] + SLACK, box[1] + SLACK, box[2] - SLACK, box[3] - SLACK)
        middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
        if _span(rows, inner)[2].any() or any(_holds(area, middle) for area in ink.areas):
            found["words on lines"].append(said)
        if box[0] < -SLACK or box[1] < -SLACK or box[2] > ink.width + SLACK or box[3] > ink.height + SLACK:
            found["out of the frame"].append(said)
    return found


def _holds(area, place):
    x, y = area[:, 0], area[:, 1]
    nx, ny = np.roll(x, -1), np.roll(y, -1)
    cut = (y <= place[1]) != (ny <= place[1])
    if not cut.any():
        return False
    across = x[cut] + (place[1] - y[cut]) / (ny[cut] - y[cut]) * (nx[cut] - x[cut])
    return bool((across > place[0]).sum() % 2)
