"""The sheet command: pictures whole or not at all, theory beside what was counted, refusals in words."""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from children import HEARS_INTERRUPTS, started
from thinstock.cli import main
from thinstock.studies.sheets import study_sheet, subject_of, target_answers, zones_that_fit


def run(capsys: Any, *args: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as stopped:
        main(list(args))
    captured = capsys.readouterr()
    return int(stopped.value.code or 0), captured.out, captured.err


SMALL = ("--size", "30 mm", "--pixel", "50 µm")


def test_the_numbers_on_the_sheet_agree_with_theory(capsys: Any) -> None:
    code, out, _ = run(capsys, "sheet", "facial", "--consistency", "0.3 %", *SMALL, "--json")
    assert code == 0
    sheet = json.loads(out)["sheets"][0]
    for row in sheet["cv"]:
        allowed = 6 * row["standard_error"] + 0.02 * row["theory"]
        assert abs(row["counted"] - row["theory"]) <= allowed, row
        assert row["theory"] > row["random"]


def test_thinner_stock_gives_the_evener_sheet_side_by_side(capsys: Any) -> None:
    code, out, _ = run(capsys, "sheet", "facial", "--consistency", "0.1 %", "--consistency", "1 %", *SMALL, "--json")
    assert code == 0
    thin, thick = json.loads(out)["sheets"]
    assert thin["cv"][-1]["counted"] < thick["cv"][-1]["counted"]


def test_a_target_is_met_by_the_sheet_that_is_shown(capsys: Any) -> None:
    subject = subject_of("facial")
    answer = target_answers(subject, 0.14)[1]
    assert answer.kind == "dilute to" and answer.consistency is not None
    made = study_sheet(subject, answer.consistency, size=30e-3, pixel=50e-6, seed=3)
    at = next(z for z in made.zones if z.zone == pytest.approx(1e-3))
    assert at.theory == pytest.approx(0.14, rel=1e-6)
    assert abs(at.counted - at.theory) < 6 * at.standard_error + 0.02 * at.theory


def test_a_target_below_the_floor_is_answered_and_not_met(capsys: Any) -> None:
    code, out, _ = run(capsys, "sheet", "facial", *SMALL, "--target", "1 %")
    assert code == 0
    assert "not by dilution" in out and "5 %" not in out.partition("Target")[2].partition("floor")[0]


def test_pictures_are_written_whole(capsys: Any, tmp_path: Path) -> None:
    code, out, _ = run(capsys, "sheet", "facial", *SMALL, "--out", str(tmp_path / "pictures"))
    assert code == 0
    names = sorted(p.name for p in (tmp_path / "pictures").iterdir())
    assert any(n.startswith("diffuse-") for n in names) and any(n.startswith("direct-") for n in names)
    assert "close-up.png" in names
    assert not [n for n in names if n.endswith(".part")]
    assert "chance alone" in out


def test_without_a_name_the_gallery_is_made_and_listed(capsys: Any, tmp_path: Path) -> None:
    code, out, _ = run(capsys, "sheet", "--out", str(tmp_path), "--json")
    assert code == 0
    made = json.loads(out)
    assert [Path(p).name for p in made["pictures"]] == ["gallery-diffuse.png", "gallery-direct.png"]
    for path in made["pictures"]:
        assert min(Image.open(path).size) > 1000
    facial = next(g for g in made["grades"] if g["name"] == "facial")["consistencies"]
    assert facial["lowest quoted"] < facial["usual"] < facial["much too high"]


@pytest.mark.parametrize("pixel", [25e-6, 24e-6, 70e-6])
def test_zones_are_whole_pixels_near_the_usual_sizes(pixel: float) -> None:
    zones = zones_that_fit(48e-3, pixel)
    assert len(zones) >= 4 and min(zones) > 0.7 * 0.2e-3
    assert all(z / pixel == pytest.approx(round(z / pixel), abs=1e-9) and z <= 12e-3 for z in zones)


def test_the_share_of_untouched_pixels_stands_beside_theory(capsys: Any) -> None:
    _, out, _ = run(capsys, "sheet", "facial", "--consistency", "0.01 %", *SMALL)
    lines = out.splitlines()
    at = next(k for k, line in enumerate(lines) if "bare spots" in line)
    theory, counted = (float(lines[k].split()[-1]) for k in (at, at + 1))
    assert counted == pytest.approx(theory, rel=0.5)


@pytest.mark.skipif(os.name == "nt", reason="signals differ")
def test_an_interrupt_leaves_no_half_picture(tmp_path: Path) -> None:
    folder = tmp_path / "pictures"
    asked = ["sheet", "facial", "--out", str(folder)]
    code = f"{HEARS_INTERRUPTS}; import sys; from thinstock.cli import status; sys.exit(status({asked!r}))"
    with started([sys.executable, "-c", code]) as work:
        until = time.monotonic() + 240  # a busy computer
        while not (folder.is_dir() and any(folder.iterdir())) and work.poll() is None and time.monotonic() < until:
            time.sleep(0.005)
        work.send_signal(signal.SIGINT)
        _, err = work.communicate(timeout=60)
    assert work.returncode == 130 and "Traceback" not in err
    assert not [path for path in folder.iterdir() if path.suffix != ".png"]
    for path in folder.iterdir():
        Image.open(path).load()


def test_the_same_seed_gives_the_same_numbers(capsys: Any) -> None:
    outs = [run(capsys, "sheet", "facial", *SMALL, "--seed", "7", "--json")[1] for _ in range(2)]
    assert outs[0] == outs[1]


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("sheet", "facial", "--pixel", "2 mm"), "pixel"),
        (("sheet", "facial", "--size", "100 m"), "size"),
        (("sheet", "facial", "--consistency", "150 %"), "consistency"),
        (("sheet", "facial", "--consistency", "0.2 mm"), "--consistency"),
        (("sheet", "no such thing"), "no such"),
        (("sheet", "facail"), "Nearest: facial"),
        (("sheet", "--size", "10 mm"), "thinstock sheet facial --size"),
        (("sheet", "facial-roll", "--set", "stock.furnish.eucalyptus_kraft.share=50 %"), "add up to 100 %"),
        (("sheet", "facial", "--set", "yankee.speed=20 m/s"), "--set"),
    ],
)
def test_what_cannot_be_is_refused_in_words(capsys: Any, args: tuple[str, ...], said: str) -> None:
    code, _, err = run(capsys, *args)
    assert code == 1, err
    assert said in err
    assert "Traceback" not in err
