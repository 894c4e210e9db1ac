"""Exercises: the same seed makes the same sheet, and every answer can be worked out again from what the key prints."""

from __future__ import annotations

import dataclasses
import os
import re
import subprocess
import sys
from functools import lru_cache
from typing import Any

import numpy as np
import pytest

import reading
from thinstock import load
from thinstock.errors import Refused
from thinstock.formula import expression, writing
from thinstock.formula.typeset import Number
from thinstock.tell import exercises, explained, former_problems, problems
from thinstock.tell.teller import Teller
from thinstock.words import units

MACHINES = ("facial-roll", "board-two-shoes", "tea-bag-inclined-wire")


@lru_cache(maxsize=12)
def teller(machine: str = "facial-roll", unit_set: Any = "mill") -> Teller:
    return Teller(load(machine), unit_set)


@lru_cache(maxsize=32)
def sheet(machine: str, unit_set: Any, seed: int) -> tuple[problems.Problem, ...]:
    return problems.problems(
        teller(machine, unit_set), problems.Order(count=len(problems.fitting(teller(machine))), seed=seed)
    )


def every() -> list[problems.Problem]:
    found = [p for unit_set in units.UNIT_SETS for seed in (1, 2) for p in sheet("facial-roll", unit_set, seed)]
    found += [p for machine in MACHINES[1:] for p in sheet(machine, "mill", 3)]
    return found + list(formers_alone())


@lru_cache(maxsize=1)
def formers_alone() -> tuple[problems.Problem, ...]:
    """Every kind about formers, whatever the machine has."""
    kinds = tuple(former_problems.KINDS)
    return problems.problems(teller(), problems.Order(count=len(kinds), seed=5, kinds=kinds))


# -------------------------------------------- answers


def test_every_answer_follows_from_the_printed_formulas_worked_out_by_themselves() -> None:
    for one in every():
        results: dict[int, Any] = {}
        for step in one.steps:
            inputs = dict(step.inputs)
            for use in step.uses:  # what a step takes from an earlier one is the value found here, not the library's
                earlier = re.fullmatch(r"step (\d+)", use.origin)
                if earlier:
                    inputs[use.put.name] = results[int(earlier[1])]
            results[step.number] = expression.evaluate(step.label, inputs)
            assert results[step.number] == pytest.approx(step.output, rel=1e-9, abs=1e-15), (one.kind, step.name)
        for asked in one.asked:
            assert any(asked.value == pytest.approx(float(r), rel=1e-9, abs=1e-15) for r in results.values()), one.kind


def test_every_line_of_the_key_comes_to_what_it_shows() -> None:
    tried = 0
    for one in every():
        for step in one.steps:
            for line in step.lines:
                right = writing.shape_text(line.right)
                if line.result is None or not reading.readable(right):
                    continue
                assert isinstance(line.result, Number) and line.result.digits is not None and not line.remark
                got, told = reading.read(right), reading.read(writing.shape_text(line.result))
                tried += 1
                assert f"{got:.{line.result.digits - 1}e}" == f"{told:.{line.result.digits - 1}e}", (
                    f"{one.kind}: {explained.line_text(line)}"
                )
    assert tried > 300


def numbers(text: str) -> list[float]:
    return [float(n) for n in re.findall(r"(?<![\w.])\d+(?:\.\d+)?(?![\w])", text)]


def answer(asked: problems.Asked) -> float:
    return float(asked.text.split()[0].replace("−", "-"))


def one_of(kind: str, seed: int) -> problems.Problem:
    return problems.problem(teller(), kind, str(seed))


@pytest.mark.parametrize("seed", range(5))
def test_answers_agree_with_sums_done_by_hand_from_the_text(seed: int) -> None:
    load_kn, speed = numbers(one_of("press impulse", seed).text)[:2]
    assert answer(one_of("press impulse", seed).asked[0]) == pytest.approx(load_kn / (speed / 60), rel=6e-3)
    (thin,) = numbers(one_of("water in the stock", seed).text)
    assert answer(one_of("water in the stock", seed).asked[0]) == pytest.approx(100 / thin - 1, rel=6e-3)
    weight, wire, thin, kept, density = numbers(one_of("flow per metre", seed).text)
    flow = weight / 1e3 * wire / (thin / 100 * kept / 100 * density) * 1e3
    assert answer(one_of("flow per metre", seed).asked[0]) == pytest.approx(flow, rel=6e-3)
    sold, dry, yankee, crepe = numbers(one_of("weight on the wire", seed).text)
    made = one_of("weight on the wire", seed)
    assert answer(made.asked[0]) == pytest.approx(yankee * (1 - crepe / 100), rel=6e-3)
    assert answer(made.asked[1]) == pytest.approx(sold * dry / 100 * (1 - crepe / 100), rel=6e-3)
    head, loss, density = numbers(one_of("head and jet", seed).text)
    jet = loss * (2 * head * 1e3 / density) ** 0.5 * 60
    assert answer(one_of("head and jet", seed).asked[0]) == pytest.approx(jet, rel=6e-3)
    fan, thin, thick, back = numbers(one_of("thick stock and white water", seed).text)
    made = one_of("thick stock and white water", seed)
    assert answer(made.asked[0]) + answer(made.asked[1]) == pytest.approx(fan, rel=1e-2)
    assert answer(made.asked[0]) == pytest.approx(fan * (thin - back) / (thick - back), rel=6e-3)


def test_the_survey_is_judged_by_twice_its_uncertainty() -> None:
    verdicts = set()
    for seed in range(12):
        made = one_of("survey", seed)
        spread, apart = made.asked[1].value, made.asked[2].value
        agree = abs(apart) <= 2 * spread
        verdicts.add(agree)
        assert ("they agree" in made.remark) is agree and ("doubtful" in made.remark) is not agree
    assert verdicts == {True, False}


def test_a_press_problem_never_hands_out_a_line_load() -> None:
    made = one_of("press gain", 1)
    assert "certificate" in made.text and "never in a calculation" in made.remark


# -------------------------------------------- sheets


def test_the_same_seed_makes_the_same_sheet_and_another_seed_another() -> None:
    machine = load("facial-roll")
    for form in exercises.FORMATS:
        what = exercises.order("1-3", 5, 11)
        assert exercises.exercises(machine, form, what) == exercises.exercises(load("facial-roll"), form, what)
    first, other = (exercises.exercises(machine, "text", exercises.order("1-3", 5, seed)) for seed in (11, 12))
    assert first != other


def test_a_seed_makes_the_same_sheet_in_another_process() -> None:
    code = (
        "from thinstock import load; from thinstock.tell import exercises as e;"
        "import sys; sys.stdout.reconfigure(encoding='utf-8');"
        "print(e.exercises(load('facial-roll'), 'text', e.order('1-3', 6, 9)))"
    )
    found = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, env={**os.environ, "PYTHONHASHSEED": "7"}, check=True
    )
    assert found.stdout.decode("utf-8").strip() == exercises.exercises(
        load("facial-roll"), "text", exercises.order("1-3", 6, 9)
    )


def test_levels_and_counts_are_kept_and_kinds_do_not_repeat_early() -> None:
    for level in problems.LEVELS:
        made = problems.problems(teller(), problems.Order(levels=(level,), count=30, seed=5))
        assert len(made) == 30 and {p.level for p in made} == {level}
        kinds = [k for k in problems.fitting(teller()) if problems.words()[k]["level"] == level]
        counts = [sum(p.kind == k for p in made) for k in kinds]
        assert max(counts) - min(counts) <= 1
        assert len({p.text for p in made}) == 30, "numbers are drawn anew each time"
    assert [p.level for p in sheet("facial-roll", "mill", 1)] == sorted(
        p.level for p in sheet("facial-roll", "mill", 1)
    )


def test_words_and_working_of_every_kind_are_there() -> None:
    assert set(problems.words()) == set(problems.KINDS)
    for one in every():
        assert "{" not in one.text and "nan" not in one.text and one.steps and one.asked
        assert all(np.isfinite(a.value) for a in one.asked)


@pytest.mark.parametrize(
    ("machine", "has", "lacks"),
    [
        ("facial-flat-wire", {"kick of a table roll", "pulse in layers"}, {"pond", "time on the roll", "into the gap"}),
        ("bath-open-breast-roll", {"rim of a roll"}, {"suction breast roll", "wrap needed"}),
        ("napkin-flat-wire-foils", {"foil under a bare wire"}, {"kick of a table roll"}),
        ("facial-suction-breast-roll", {"suction breast roll"}, {"pulse of a table roll"}),
        ("tea-bag-inclined-wire", {"pond"}, {"wrap needed", "forming-roll pressure"}),
        ("facial-roll", {"into the gap", "wrap needed", "depth on the wire"}, {"pond", "packed mat"}),
    ],
)  # fmt: skip
def test_problems_are_chosen_by_what_the_machine_has(machine: str, has: set[str], lacks: set[str]) -> None:
    fits = set(problems.fitting(teller(machine)))
    assert has <= fits and not lacks & fits


def test_the_worked_exercises_on_formers_come_to_the_answers_worked_apart() -> None:
    """Where the numbers are those of the worked page, so are the answers."""
    by_kind = {p.kind: p for p in formers_alone()}
    assert set(by_kind) == set(former_problems.KINDS) and len(by_kind) == 12
    layers = by_kind["pulse in layers"]
    speed, depth = (float(s.inputs[k]) for s, k in ((layers.steps[0], "speed"), (layers.steps[1], "stock_depth")))
    assert layers.asked[1].value == pytest.approx(speed**2 / (2 * 9.80665 * depth))
    packed = by_kind["packed mat"]
    kept, now = (float(s.inputs["pressure_drop"]) for s in packed.steps[:2])
    assert packed.asked[2].value == pytest.approx((kept / now) ** 0.4)


def test_only_the_key_gives_answers_away() -> None:
    machine, what = load("facial-roll"), exercises.order("2", 6, 5)
    plain = str(exercises.exercises(machine, "text", what))
    key = str(exercises.exercises(machine, "text", what, key=True))
    for one in problems.problems(teller(), what):
        for asked in one.asked:
            told = f"{asked.what}: {explained.spaced(asked.text)}"
            assert told in key and told not in plain
            assert f"{asked.what}: ____________ {asked.unit}".rstrip() in plain
        assert one.remark.split(".")[0][:40] in " ".join(key.split())


def test_a_machine_that_forms_no_sheet_gets_problems_of_its_wet_end_only() -> None:
    wet = Teller(load("facial-roll").with_({"stock.resistance_factor": 40.0}))
    made = problems.problems(wet, problems.Order(count=len(problems.KINDS), seed=1))
    assert not {p.kind for p in made} & problems.NEEDS_SHEET


def test_pages_and_papers_are_made_from_data() -> None:
    hostile = '<b>x</b> #panic("out") $1$'
    machine = dataclasses.replace(load("facial-roll"), title=hostile)
    page = str(exercises.exercises(machine, "html", exercises.order("1-3", 4, 2), key=True))
    assert "<b>x" not in page and "&lt;b&gt;" in page and "<math" in page and "<script" not in page
    paper = exercises.exercises(machine, "pdf", exercises.order("1-3", 4, 2), "us", key=True, paper="letter")
    assert isinstance(paper, bytes) and b"pdfuaid" in paper


def test_what_cannot_be_ordered_is_refused_all_at_once() -> None:
    with pytest.raises(Refused) as refused:
        exercises.order("4", 0, -1, ("weather",))
    assert {f.field for f in refused.value.faults} == {"level", "count", "seed", "kind"}
    with pytest.raises(Refused, match="text, html, pdf"):
        exercises.exercises(load("facial-roll"), "slides")
    assert exercises.order("3,1").levels == (1, 3) and exercises.order("3-2").levels == (2, 3)


def test_the_command_sets_a_sheet_and_writes_its_key(tmp_path: Any, capsys: Any) -> None:
    from thinstock.cli import status

    assert status(["exercises", "facial-roll", "--level", "1", "--count", "2", "--seed", "3"]) == 0
    out = capsys.readouterr().out
    assert "(level 1)" in out and "____" in out
    key = tmp_path / "key.pdf"
    assert status(["exercises", "facial-roll", "--count", "2", "--key", "--out", str(key)]) == 0
    assert key.read_bytes().startswith(b"%PDF")
    capsys.readouterr()
    assert status(["exercises", "facial-roll", "--level", "nine"]) == 1
    assert "levels are 1 to 3" in capsys.readouterr().err


# -------------------------------------------- what the machine has


@pytest.mark.parametrize("machine", ["tea-bag-inclined-wire", "board-two-shoes"])
def test_no_machine_is_asked_about_what_it_has_not(machine: str) -> None:
    kinds = problems.fitting(teller(machine))
    assert not {"time on the roll", "forming-roll pressure", "wrap needed"} & set(kinds), "it has no forming roll"
    assert "weight on the wire" not in kinds, "it is not creped"
    assert ("layers" in kinds) == machine.startswith("tea-bag")
    assert set(problems.fitting(teller("facial-roll"))) | set(former_problems.KINDS) == set(problems.KINDS)


def test_the_sheet_brings_the_formulas_that_its_answers_need_and_the_key_does_not() -> None:
    order = {"count": 2, "kinds": ("press gain", "wrap needed")}
    text = exercises.exercises(load("facial-roll"), "text", order)
    assert isinstance(text, str) and "Formulas that the answers need" in text
    assert "I = q/v" in text and "I line load" not in text.split("Formulas that")[0]
    assert "Formulas that the answers need" not in str(
        exercises.exercises(load("facial-roll"), "text", order, key=True)
    )


def test_of_the_four_that_take_water_the_former_takes_the_most_and_the_dryer_the_least() -> None:
    one = problems.problem(teller(), "who takes the water", "1/0/x")
    assert [asked.what for asked in one.asked] == ["the former", "suction", "the press", "the dryer"]
    taken = [asked.value for asked in one.asked]
    assert max(taken) == taken[0] and min(taken) == taken[-1]
