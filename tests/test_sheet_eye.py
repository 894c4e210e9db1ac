"""Holes that an eye sees on a simulated sheet: found where they are, counted by their room, as theory has them."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from thinstock.cli import status
from thinstock.formula.label import worksheet
from thinstock.machine.evenness import holes_above
from thinstock.sheet import Furnish, formation, simulate
from thinstock.sheet.eye import visible_holes
from thinstock.sheet.eye_count import Counted, count_seen, pieces, probe_dilation

EUCALYPTUS = Furnish("eucalyptus", 1.0, 0.75e-3, 17e-6, 0.075e-6)
GRAMMAGE, CONSISTENCY = 0.010, 1e-3
SIDE = 12e-3


def lay(seed: int, side: float, pixel: float, dilation: float) -> Any:
    return simulate(EUCALYPTUS, GRAMMAGE, CONSISTENCY, 0.0, side, pixel, 0.0, seed, dilation=dilation)


@cache
def theory() -> Any:
    with worksheet(False):
        return formation(EUCALYPTUS, GRAMMAGE, CONSISTENCY, 0.0)


def counted(seed: int, diameter: float, pixel: float) -> Counted:
    wanted = float(holes_above(theory(), diameter)[0])
    return count_seen(lambda *how: lay(seed, *how), theory(), diameter, wanted, SIDE, pixel)


@pytest.mark.slow
@pytest.mark.parametrize("pixel", [5e-6, 15e-6])
def test_holes_counted_by_their_room_are_as_many_as_theory_has_whatever_the_pixel(pixel: float) -> None:
    wanted = float(holes_above(theory(), 50e-6)[0])
    found = [counted(seed, 50e-6, pixel) for seed in range(1, 6)]
    mean, error = np.mean([one.per_area for one in found]), np.sqrt(sum(one.error**2 for one in found)) / len(found)
    assert error < 0.25 * wanted
    assert abs(mean - wanted) < 3 * error
    assert all(one.at_most >= one.per_area for one in found)


def test_a_wider_disc_needs_wider_fibres_and_a_coarse_pixel_is_itself_a_probe() -> None:
    with worksheet(False):
        widened = [probe_dilation(theory(), d, 5e-6) for d in (40e-6, 50e-6, 60e-6)]
        assert np.all(np.diff(widened) > 8e-6)
        assert probe_dilation(theory(), 50e-6, 20e-6) < widened[1] < 50e-6
        assert probe_dilation(theory(), 20e-6, 60e-6) == 0.0


def test_untouched_pixels_that_touch_at_a_corner_are_one_hole_at_its_middle() -> None:
    coverage = np.ones((10, 20))
    coverage[2, 3] = coverage[3, 4] = coverage[7, 15] = 0.0
    sizes, middles = pieces(coverage)
    assert sorted(sizes) == [1, 2]
    assert sorted(map(tuple, middles)) == [(4.0, 3.0), (15.5, 7.5)]
    none, nowhere = pieces(np.ones((4, 4)))
    assert len(none) == len(nowhere) == 0


def test_where_none_is_found_the_bound_says_what_none_allows() -> None:
    found = counted(1, 150e-6, 15e-6)
    assert found.per_area == 0 and not found.places and found.at_most > 3 / SIDE**2


def test_a_hole_that_is_circled_is_bare_on_the_sheet_that_is_looked_at() -> None:
    found = counted(1, 50e-6, 5e-6)
    seen = lay(1, SIDE, 15e-6, 0.0)
    count = seen.coverage.shape[0]
    assert len(found.places) > 3
    for across, down in found.places:
        assert seen.coverage[min(int(down * count), count - 1), min(int(across * count), count - 1)] == 0


@pytest.mark.slow
def test_the_command_looks_against_a_window_and_a_lamp(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["sheet", "facial", "--light", "lamp", "--size", "24 mm", "--pixel", "60 µm"]
    assert status([*asked, "--out", str(tmp_path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    window, lamp = told["sheets"][0]["seen_by_eye"]
    assert window["light"] == "window" and window["counted"] is None and window["theory"] > 0
    assert lamp["smallest"] < window["smallest"] and lamp["theory"] > 20 * window["theory"]
    assert abs(lamp["counted"] - lamp["theory"]) < 3 * lamp["standard_error"] and lamp["circled"] > 10
    written = {Path(path).name.split("-")[0] for path in told["pictures"]}
    assert "lamp" in written and "window" not in written


@pytest.mark.slow
def test_the_page_looks_when_it_is_asked_and_says_theory_and_count_below_the_sheet(tmp_path: Path) -> None:
    import time

    from app_client import Client, plain

    client = Client(tmp_path)
    query = "machine=facial-roll&c=0.19 %"
    first = client.post("/sheet/answer", {"query": query}).json()
    assert "by theory" in first["heads"][0]["lamp"] and "counted" not in first["heads"][0]["lamp"]
    asked = {"query": query, "light": "lamp", "have": ["detail"], "wait": 4.0}
    told = client.post("/sheet/answer", {**asked, "start": True, "eye": True}).json()
    end = time.monotonic() + 300
    while told["how"]["state"] not in ("done", "failed", "refused"):
        assert time.monotonic() < end
        told = client.post("/sheet/answer", {**asked, "job": told["job"]}).json()
    assert told["how"]["state"] == "done" and set(told["pictures"]) == {"0"}
    assert "counted" in told["heads"][0]["lamp"]
    assert "smallest hole an eye sees, against a window" in plain(told["pieces"]["table"])
    for light in ("window", "lamp", "diffuse"):
        assert client.get(f"/sheet/picture/{told['job']}/0/{light}.png").status_code == 200
    client.close()


def test_an_eye_sees_smaller_holes_against_a_lamp() -> None:
    with worksheet(False):
        window, lamp = visible_holes(theory())
    assert float(lamp) < float(window)
