"""How fast sheets are simulated, beside the drawing functions of general libraries on the very same fibres.

Run `python benchmarks/sheet.py [--fibres 100000] [--large]`. Ratios are measured in one run; nothing here is a timed
test. Each way of drawing adds fibre upon fibre, and its error of mass stands beside its time: a line that loses mass
is no sheet. Libraries that are not installed are left out with a message.
"""

from __future__ import annotations

import argparse
import importlib
import resource
import sys
import time
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from thinstock.sheet import Furnish, deposit, formation, holes, simulate, zone_cv

CONSERVES = 0.05
SOFTWOOD = Furnish("softwood kraft", 1.0, 2.2e-3, 30e-6, 0.15e-6)


class Strewn(NamedTuple):
    """The same fibres for everybody, in pixels."""

    x: np.ndarray
    y: np.ndarray
    angle: np.ndarray
    length: np.ndarray
    width: float
    side: int

    @property
    def mass(self) -> float:
        return float(self.length.sum() * self.width)

    @property
    def ends(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        dx, dy = 0.5 * self.length * np.cos(self.angle), 0.5 * self.length * np.sin(self.angle)
        return self.x - dx, self.y - dy, self.x + dx, self.y + dy

    @property
    def corners(self) -> np.ndarray:
        """Corners of the square-ended fibres, (fibre, corner, x and y)."""
        x0, y0, x1, y1 = self.ends
        wx, wy = -0.5 * self.width * np.sin(self.angle), 0.5 * self.width * np.cos(self.angle)
        return np.stack(
            [
                np.stack([x0 + wx, y0 + wy], -1),
                np.stack([x1 + wx, y1 + wy], -1),
                np.stack([x1 - wx, y1 - wy], -1),
                np.stack([x0 - wx, y0 - wy], -1),
            ],
            axis=1,
        )


def strewn(number: int, seed: int = 1) -> Strewn:
    """Fibres of 42 to 98 by 1.2 pixels, 2.1 layers on average, kept off the borders for those who cannot wrap."""
    side = round((number * 70 * 1.2 / 2.1) ** 0.5 / 8) * 8
    generator = np.random.default_rng(seed)
    x, y = generator.uniform(60, side - 60, (2, number))
    return Strewn(x, y, generator.uniform(0, np.pi, number), generator.uniform(42, 98, number), 1.2, side)


def ours(threads: int | None) -> Callable[[Strewn], np.ndarray]:
    def draw(f: Strewn) -> np.ndarray:
        return deposit(f.x, f.y, f.angle, f.length, f.width, 1.0, f.side, f.side, threads=threads)

    return draw


def skimage_polygon(f: Strewn) -> np.ndarray:
    from skimage.draw import polygon

    raster = np.zeros((f.side, f.side), np.float32)
    for corner in f.corners - 0.5:
        rows, columns = polygon(corner[:, 1], corner[:, 0], raster.shape)
        raster[rows, columns] += 1.0
    return raster


def skimage_line(f: Strewn) -> np.ndarray:
    from skimage.draw import line_aa

    raster = np.zeros((f.side, f.side), np.float32)
    for x0, y0, x1, y1 in np.rint(np.stack(f.ends, -1) - 0.5).astype(int):
        rows, columns, value = line_aa(y0, x0, y1, x1)
        raster[rows, columns] += f.width * value
    return raster


def _opencv(f: Strewn, paint: Callable[[Any, np.ndarray, np.ndarray, int], None]) -> np.ndarray:
    """Each fibre on a small board of its own, added to the raster; sixteenths of a pixel."""
    raster = np.zeros((f.side, f.side), np.float32)
    corners = f.corners
    low = np.floor(corners.min(axis=1)).astype(int) - 2
    high = np.ceil(corners.max(axis=1)).astype(int) + 2
    fine = np.rint((corners - low[:, None, :] - 0.5) * 16).astype(np.int32)
    ends = np.rint((np.stack(f.ends, -1).reshape(-1, 2, 2) - low[:, None, :] - 0.5) * 16).astype(int)
    board = np.zeros((160, 160), np.uint8)
    for k in range(f.x.size):
        (left, top), (right, bottom) = low[k], high[k]
        part = board[: bottom - top, : right - left]
        part[:] = 0
        paint(part, fine[k], ends[k], k)
        raster[top:bottom, left:right] += part
    return raster / np.float32(255.0)


def opencv_polygon(f: Strewn) -> np.ndarray:
    import cv2

    def paint(part: Any, corners: np.ndarray, _ends: np.ndarray, _k: int) -> None:
        cv2.fillConvexPoly(part, corners, 255, cv2.LINE_8, 4)

    return _opencv(f, paint)


def opencv_polygon_smooth(f: Strewn) -> np.ndarray:
    import cv2

    def paint(part: Any, corners: np.ndarray, _ends: np.ndarray, _k: int) -> None:
        cv2.fillConvexPoly(part, corners, 255, cv2.LINE_AA, 4)

    return _opencv(f, paint)


def opencv_line(f: Strewn) -> np.ndarray:
    import cv2

    def paint(part: Any, _corners: np.ndarray, ends: np.ndarray, _k: int) -> None:
        cv2.line(part, ends[0].tolist(), ends[1].tolist(), 255, 1, cv2.LINE_AA, 4)

    return _opencv(f, paint)


def _datashader(f: Strewn, width: float) -> np.ndarray:
    import datashader
    import pandas

    x0, y0, x1, y1 = f.ends
    frame = pandas.DataFrame({"x0": x0, "y0": y0, "x1": x1, "y1": y1, "w": 1.0})
    canvas = datashader.Canvas(f.side, f.side, x_range=(0, f.side), y_range=(0, f.side))
    add = datashader.sum("w") if width == 0 else datashader.sum("w", self_intersect=True)
    made = canvas.line(frame, x=["x0", "x1"], y=["y0", "y1"], axis=1, agg=add, line_width=width)
    return np.nan_to_num(np.asarray(made.data, dtype=np.float32))


def datashader_line(f: Strewn) -> np.ndarray:
    return _datashader(f, 0.0) * np.float32(f.width)


def datashader_wide_line(f: Strewn) -> np.ndarray:
    return _datashader(f, f.width)


OTHERS: tuple[tuple[str, str, Callable[[Strewn], np.ndarray]], ...] = (
    ("skimage", "scikit-image polygon", skimage_polygon),
    ("skimage", "scikit-image smooth line", skimage_line),
    ("cv2", "OpenCV polygon", opencv_polygon),
    ("cv2", "OpenCV smooth polygon", opencv_polygon_smooth),
    ("cv2", "OpenCV smooth line", opencv_line),
    ("datashader", "datashader line", datashader_line),
    ("datashader", "datashader wide line", datashader_wide_line),
)


def timed(work: Callable[[], Any], repeats: int = 3) -> tuple[float, Any]:
    """Best of a few, after one call that compiles and warms."""
    best, result = np.inf, None
    for _ in range(repeats):
        start = time.perf_counter()
        result = work()
        best = min(best, time.perf_counter() - start)
    return best, result


def against_libraries(number: int) -> None:
    f, few = strewn(number), strewn(2000)
    print(f"{number} fibres of 42-98 x 1.2 pixels on {f.side} x {f.side} pixels")
    print(f"{'way of drawing':28s} {'seconds':>9s} {'mass error':>11s} {'cv at 1 px':>10s}")
    rows: list[tuple[str, float, float, bool]] = []
    ways = [("", "thinstock, one thread", ours(1)), ("", "thinstock, all threads", ours(None)), *OTHERS]
    missing = set()
    for module, name, draw in ways:
        if module and module not in missing:
            try:
                importlib.import_module(module)
            except ImportError:
                missing.add(module)
                print(f"{module} is not installed: left out (pip install 'thinstock[bench]')")
        if module in missing:
            continue
        draw(few)
        seconds, raster = timed(lambda draw=draw: draw(f), 3 if module != "skimage" else 1)
        error = float(raster.sum(dtype=float)) / f.mass - 1.0
        rows.append((name, seconds, error, bool(module)))
        print(f"{name:28s} {seconds:9.3f} {100 * error:+10.3f}% {float(zone_cv(raster, 1.0, 1.0)):10.4f}")
    others = [(seconds, name) for name, seconds, error, other in rows if other and abs(error) <= CONSERVES]
    if others:
        seconds, name = min(others)
        for mine in rows[:2]:
            print(
                f"{mine[0]}: {seconds / mine[1]:.1f} times as fast as {name}, the fastest other within 5 % of the mass"
            )


def labelling(side: int) -> None:
    from scipy import ndimage

    sheet = simulate(SOFTWOOD, 0.014, 1e-3, 0.0, side * 25e-6, 25e-6, 0.0, 1)
    holes(sheet.coverage[:100], 0.5)
    for what, threshold in (("bare pixels", 1e-9), ("below half a layer", 0.5), ("below two layers", 2.0)):
        mine, areas = timed(lambda t=threshold: holes(sheet.coverage, t))
        other, found = timed(lambda t=threshold: ndimage.label(sheet.coverage < t, np.ones((3, 3))))
        print(
            f"holes on {side} x {side} pixels, {what}: {areas.size} in {1e3 * mine:.1f} ms; scipy.ndimage.label (not"
            f" periodic, no areas) {found[1]} in {1e3 * other:.1f} ms: {other / mine:.1f} times"
        )


def cost_table() -> None:
    print("simulate, softwood, all threads: seconds")
    heads = ("mm", "pixel µm", "pixels", "g/m²", "fibres", "seconds", "ns/pixel", "µs/fibre")
    widths = (5, 9, 12, 6, 10, 8, 9, 9)
    print(" ".join(f"{head:>{wide}s}" for head, wide in zip(heads, widths, strict=True)))
    for side, pixel, grammage in (
        (0.05, 50e-6, 0.014),
        (0.10, 50e-6, 0.014),
        (0.10, 25e-6, 0.007),
        (0.10, 25e-6, 0.014),
        (0.10, 25e-6, 0.045),
        (0.05, 12.5e-6, 0.014),
        (0.20, 50e-6, 0.014),
        (0.20, 25e-6, 0.014),
    ):
        seconds, sheet = timed(lambda s=side, p=pixel, w=grammage: simulate(SOFTWOOD, w, 0.002, 0.2, s, p, 0.0, 1))
        pixels = sheet.coverage.size
        print(
            f"{1e3 * side:5.0f} {1e6 * pixel:9.1f} {pixels:12d} {1e3 * grammage:6.0f} {sheet.fibres:10d} {seconds:8.3f}"
            f" {1e9 * seconds / pixels:9.2f} {1e6 * seconds / sheet.fibres:9.3f}"
        )


def square_metre() -> None:
    start = time.perf_counter()
    sheet = simulate(SOFTWOOD, 0.014, 0.002, 0.2, 1.0, 50e-6, 0.0, 1)
    seconds = time.perf_counter() - start
    print(f"1 m² at 50 µm, {sheet.fibres} fibres: {seconds:.1f} s, peak memory {peak_memory():.2f} GiB")
    start = time.perf_counter()
    number = holes(sheet.coverage, 1e-9).size
    print(f"its {number} pieces of bare pixels: {time.perf_counter() - start:.2f} s")


def peak_memory() -> float:
    """Largest resident memory so far, GiB."""
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most / (2**30 if sys.platform == "darwin" else 2**20)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fibres", type=int, default=100000, help="fibres for the comparison")
    parser.add_argument("--large", action="store_true", help="also a square metre at 50 µm")
    options = parser.parse_args()
    if options.large:  # first, so that the peak of memory is its own
        holes(simulate(SOFTWOOD, 0.014, 0.002, 0.2, 0.02, 50e-6, 0.0, 1).coverage, 0.5)
        square_metre()
    against_libraries(options.fibres)
    labelling(4000)
    cost_table()
    seconds, _ = timed(lambda: formation(SOFTWOOD, 0.014, 0.002, 0.2), 50)
    print(f"formation, one sheet: {1e3 * seconds:.2f} ms")


if __name__ == "__main__":
    main()
