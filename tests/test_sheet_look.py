"""How simulated sheets are shown: the laws of light, grey levels, pictures with scale bars, panel and gallery."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from thinstock.errors import Refused
from thinstock.sheet import (
    Furnish,
    SheetMap,
    close_up,
    gallery,
    grey,
    histogram,
    look_through,
    panel,
    picture,
    save,
    simulate,
)
from thinstock.sheet import __all__ as public
from thinstock.sheet.pictures import LAYERS, count_text, layer_theory, percent
from thinstock.sheet.showcase import GRADES, library_grade

SOFTWOOD = Furnish("softwood", 1.0, 2.2e-3, 30e-6, 0.15e-6)
BLEND = Furnish("blend", (0.3, 0.7), (2.2e-3, 0.75e-3), (30e-6, 17e-6), (0.15e-6, 0.075e-6))


@pytest.fixture(scope="module")
def sheet() -> SheetMap:
    return simulate(SOFTWOOD, 0.014, 0.002, 0.2, 24e-3, 60e-6, 0.2, 1)


def test_light_follows_its_laws(sheet: SheetMap) -> None:
    layers = np.array([[0.0, 1.0], [2.0, 4.0]], np.float32)
    known = replace(sheet, coverage=layers)
    diffuse = look_through(known, "diffuse", scattering=40.0, extinction=0.9, block=1)
    assert diffuse == pytest.approx(1 / (1 + 40.0 * 5e-3 * layers), rel=1e-6)
    direct = look_through(known, "direct", scattering=40.0, extinction=0.9, block=1)
    assert direct == pytest.approx(np.exp(-0.9 * layers), rel=1e-6)
    assert direct[0, 0] == 1.0


def test_blocks_are_averaged_after_the_law_so_that_holes_shine(sheet: SheetMap) -> None:
    layers = np.full((4, 4), 6.0, np.float32)
    layers[0, 0] = 0.0
    known = replace(sheet, coverage=layers)
    (bright,) = look_through(known, "direct", scattering=40.0, extinction=0.9, block=4).ravel()
    assert bright == pytest.approx((1.0 + 15 * np.exp(-5.4)) / 16, rel=1e-6)
    assert bright > 5 * np.exp(-0.9 * layers.mean())


def test_a_blend_is_seen_by_its_grammage() -> None:
    made = simulate(BLEND, 0.014, 0.002, 0.0, 6e-3, 30e-6, 0.0, 1)
    seen = look_through(made, "diffuse", scattering=40.0, extinction=0.9, block=1)
    assert seen == pytest.approx(1 / (1 + 40.0 * made.grammage), rel=1e-5)


def test_blocks_that_do_not_fit_are_dropped_and_wrong_ones_refused(sheet: SheetMap) -> None:
    assert look_through(sheet, "direct", scattering=40.0, extinction=0.9, block=7).shape == (57, 57)
    for bad in ({"block": 0}, {"block": 401}, {"scattering": -1.0}, {"extinction": float("nan")}):
        with pytest.raises(Refused):
            look_through(sheet, "direct", **{"scattering": 40.0, "extinction": 0.9, "block": 1, **bad})
    with pytest.raises(Refused, match="diffuse, direct"):
        look_through(sheet, "slanted", scattering=40.0, extinction=0.9, block=1)


def test_grey_levels_rise_with_light_and_end_at_white() -> None:
    light = np.array([0.0, 0.25, 0.5, 1.0], np.float32)
    levels = grey(light, 2.0, 1.6)
    assert levels.dtype == np.uint8
    assert levels.tolist() == [0, round(255 * 0.5 ** (1 / 1.6)), 255, 255]
    with pytest.raises(Refused):
        grey(light, 0.0, 1.6)


def test_pictures_have_the_size_asked_for_and_a_scale_bar(sheet: SheetMap) -> None:
    for mode in ("diffuse", "direct", "layers"):
        made = picture(sheet, mode, across=500)
        assert made.size == (500, 500)
        row = np.asarray(made)[-18].astype(int).sum(axis=1)
        plate = np.flatnonzero(row[9:250] == 60) + 9
        bar = np.flatnonzero(row[plate[0] : plate[-1]] == 765)
        assert np.all(np.diff(bar) == 1), "one white bar on its dark plate"
        assert bar.size == pytest.approx(5e-3 / 24e-3 * 500, abs=2)


def test_small_maps_are_enlarged_and_large_ones_averaged(sheet: SheetMap) -> None:
    assert picture(sheet, "diffuse", across=1300).size == (1300, 1300)
    assert picture(sheet, "diffuse", across=130, title="clouds").size[0] == 130


def test_colours_of_layers_can_be_told_apart_without_hue() -> None:
    luminance = [0.2126 * r + 0.7152 * g + 0.0722 * b for r, g, b in LAYERS[1:]]
    assert np.all(np.diff(luminance) < -15)
    orange = LAYERS[0]
    assert orange[0] - orange[2] > 200, "bare places are the only warm colour"
    assert all(b >= r for r, _, b in LAYERS[1:])


def test_a_close_up_shows_fibres_of_their_width() -> None:
    made = np.asarray(close_up(SOFTWOOD, 0.004, seed=3, side=1.2e-3, across=480))
    bare = np.all(made == LAYERS[0], axis=2)[:380]
    assert bare.mean() == pytest.approx(np.exp(-0.8), abs=0.2)
    assert len({tuple(c) for c in made.reshape(-1, 3)}) >= 4


def test_the_histogram_stands_beside_theory(sheet: SheetMap) -> None:
    wanted = layer_theory(sheet, 8)
    assert wanted.sum() == pytest.approx(1.0, abs=1e-12) and np.all(wanted >= 0)
    assert histogram(sheet, across=400, down=300).size == (400, 300)


@pytest.mark.slow
def test_the_panel_and_the_gallery_are_drawn(sheet: SheetMap, tmp_path: Path) -> None:
    made = panel(sheet, across=240, title="tissue")
    assert made.size[0] > 2 * 240 and made.size[1] > 2 * 240
    told: list[tuple[int, int]] = []
    wall = gallery(
        ("facial", "newsprint"),
        "direct",
        size=24e-3,
        pixel=100e-6,
        across=160,
        on_progress=lambda d, t: told.append((d, t)),
    )
    assert wall.size[0] > 2 * 160 and wall.size[1] > 3 * 160
    assert told == [(k, 6) for k in range(1, 7)]
    save(wall, tmp_path / "wall.png")
    assert (tmp_path / "wall.png").read_bytes().startswith(b"\x89PNG")


def test_every_grade_of_the_gallery_is_in_the_library() -> None:
    for name in GRADES:
        grade = library_grade(name)
        levels = [c for _, c in grade.consistencies]
        assert levels == sorted(levels) and levels[-1] <= 0.05
        assert grade.grammage > 0.01
    with pytest.raises(Refused, match="known grades"):
        library_grade("wallpaper")


def test_captions_are_plain_numbers() -> None:
    assert [percent(v) for v in (1e-6, 1e-4, 0.002, 0.05)] == ["0.0001 %", "0.01 %", "0.2 %", "5 %"]
    assert [count_text(v) for v in (1e-9, 0.36, 52.0, 1486.0, 2.0e5, 3.2e8)] == [
        "under 0.01",
        "0.36",
        "52",
        "1490",
        "200 thousand",
        "320 million",
    ]


def test_all_public_names_of_the_sheet_exist() -> None:
    import thinstock.sheet as package

    assert public == sorted(public, key=lambda n: (n.lower() != n, n)) or set(public) == set(dir(package))
    for name in public:
        assert getattr(package, name) is not None
    with pytest.raises(AttributeError):
        package.nonsense  # noqa: B018


def test_a_bare_point_seen_by_the_eye_stands_out_as_its_formula_says(sheet: SheetMap) -> None:
    from thinstock.sheet.eye import SPREAD_ANGLE, VIEWING_DISTANCE
    from thinstock.sheet.look import EXTINCTION
    from thinstock.sheet.seen import seen

    layers = np.full((400, 400), 3.0, np.float32)
    layers[200, 200] = 0.0
    fine = replace(sheet, coverage=layers, pixel=5e-6)
    light = seen(fine, "lamp")
    paper, blur = np.exp(-3.0 * EXTINCTION), VIEWING_DISTANCE * SPREAD_ANGLE
    contrast = light[200, 200] / paper - 1.0
    # A Gaussian of that width at half height puts 4 ln 2/pi over its square into its middle.
    assert contrast == pytest.approx(4 * np.log(2) / np.pi * (5e-6 / blur) ** 2 * (1 - paper) / paper, rel=0.02)
    assert light.mean() == pytest.approx(look_through(fine, "direct").mean(), rel=1e-5)


def test_the_light_table_shows_grades_against_window_and_lamp() -> None:
    from thinstock.sheet.seen import light_table

    made = light_table(("facial",), size=25.2e-3, pixel=60e-6, across=200, part=0.5, circled=True)
    assert made.width > 200 and made.height > 400
    assert made.getcolors(2**24) is not None
