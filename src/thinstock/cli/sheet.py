"""`thinstock sheet [MACHINE_OR_GRADE]`: the sheet against the light, with numbers; without a name the gallery."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from thinstock.cli.options import read_value, units_option
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.sheet.dilution import DilutionAnswer
    from thinstock.sheet.eye_count import Counted
    from thinstock.studies.formation_worth import Worth
    from thinstock.studies.sheets import SheetStudy, Subject
    from thinstock.words.figures import Edge
    from thinstock.words.units import UnitSet

FOLDER = "sheets"
SIZE, PIXEL = "48 mm", "25 µm"


@click.command("sheet", short_help=phrase("cli.sheet.sheet_against_light"))
@click.argument("subject", metavar="[MACHINE_OR_GRADE]", required=False)
@click.option("--set", "changes", multiple=True, metavar="ADDRESS=VALUE", help=phrase("cli.sheet.change_value_machine"))
@click.option("--consistency", "asked", multiple=True, metavar="VALUE", help=phrase("cli.sheet.such_as_may_be_given"))
@click.option("--target", metavar="CV", help=phrase("cli.sheet.find_consistency_for_cv_such"))
@click.option("--variation", metavar="VALUE", help=phrase("cli.sheet.suspension_variation_headbox_good_to"))
@click.option(
    "--light", "lights", multiple=True, type=click.Choice(["window", "lamp"]), help=phrase("cli.sheet.as_eye_sees_it")
)
@click.option("--size", metavar="LENGTH", help=phrase("cli.sheet.side_square_sheet_default", size=SIZE))
@click.option("--pixel", metavar="LENGTH", help=phrase("cli.sheet.side_pixel_default", pixel=PIXEL))
@click.option(
    "--seed", default=1, show_default=True, type=click.IntRange(min=0), help=phrase("cli.sheet.same_seed_same_sheet")
)
@click.option(
    "--out", "folder", metavar="DIR", type=click.Path(path_type=Path), help=phrase("cli.sheet.write_pictures_there")
)
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.sheet.print_one_json_object_in"))
@units_option
def command(
    subject: str | None,
    changes: tuple[str, ...],
    asked: tuple[str, ...],
    target: str | None,
    variation: str | None,
    lights: tuple[str, ...],
    size: str | None,
    pixel: str | None,
    seed: int,
    folder: Path | None,
    as_json: bool,
    unit_set: UnitSet,
) -> None:
    """Simulate the sheet on the wire of a machine or a grade ("facial", "tea-bag type") and look through it.

    Without a name: a gallery of the grades at their lowest quoted, usual and a much too high consistency.
    """
    from thinstock.errors import Refused
    from thinstock.studies import sheets
    from thinstock.words.figures import Edge

    if subject is None:
        given = [name for name, value in (("--set", changes), ("--consistency", asked), ("--target", target),
                                          ("--variation", variation), ("--light", lights), ("--size", size),
                                          ("--pixel", pixel))
                 if value]  # fmt: skip
        if given:
            raise Refused(fault_in("cli.sheet.belongs_to_one_machine_or", given[0], given=given[0]))
        _gallery(folder or Path(FOLDER), seed, as_json=as_json)
        return
    made, worth = _made(subject, changes, variation)
    dot = read_value(pixel or PIXEL, "length", "--pixel")
    side = _whole(read_value(size or SIZE, "length", "--size"), dot)
    wanted = [read_value(a, "fraction", "--consistency") for a in asked]
    answers: tuple[DilutionAnswer, ...] = ()
    if target is not None:
        answers = sheets.target_answers(made, read_value(target, "fraction", "--target"))
        wanted += [one.consistency for one in answers[1:2] if one.consistency is not None]
    if len(wanted) > 4:
        raise Refused(fault_in("cli.sheet.consistency", "--consistency", f"{len(wanted)}"))
    done: list[SheetStudy] = []
    with _bar(not as_json) as tell:
        several = sheets.consistencies_of(made, wanted)
        for number, one in enumerate(several):
            step = tell(f"sheet {number + 1} of {len(several)}")
            done.append(
                sheets.study_sheet(
                    made, one, size=side, pixel=dot, seed=seed, orientation=0.2, lights=lights, on_progress=step
                )
            )
    paths = _pictures(made, done, folder) if folder is not None else []
    if as_json:
        click.echo(json.dumps(_record(made, done, paths, answers, worth), indent=1, allow_nan=False))
        return
    lines = _answer_lines(answers, made.calibrated, target, worth)
    _show(made, done, lines, paths, Edge(unit_set=unit_set, air=101325.0))


def _made(subject: str, changes: tuple[str, ...], variation: str | None) -> tuple[Subject, tuple[Worth, ...]]:
    """The sheet of a machine with what a more even one is worth, or of a grade."""
    from thinstock.case.overrides import machine_from, machine_or_grade
    from thinstock.errors import Refused
    from thinstock.studies import sheets
    from thinstock.studies.formation_worth import formation_worth

    worth: tuple[Worth, ...] = ()
    if not sheets.is_grade(subject):
        machine = machine_from(machine_or_grade(subject), changes)
        made, worth = sheets.subject_of(machine), formation_worth(machine)
    elif changes:
        raise Refused(fault_in("cli.sheet.set", "--set", changes[0]))
    else:
        made = sheets.subject_of(subject)
    if variation is not None:
        made = made.with_variation(read_value(variation, "number", "--variation"))
    return made, worth


def _whole(side: float, dot: float) -> float:
    """The side as a whole number of pixels (what is refused is refused by the simulation itself)."""
    return max(1, round(side / dot)) * dot if dot > 0 else side


@contextmanager
def _bar(shown: bool) -> Iterator[Callable[[str], Callable[[int, int], None]]]:
    """A progress bar on a terminal, nothing elsewhere."""
    from rich.progress import Progress

    from thinstock.tell.terminal import console

    screen = console(sys.stderr)
    with Progress(console=screen, disable=not (shown and screen.is_terminal), transient=True) as progress:

        def begin(said: str) -> Callable[[int, int], None]:
            task = progress.add_task(said, total=1000)

            def step(done: int, total: int) -> None:
                progress.update(task, completed=1000 * done / max(total, 1))

            return step

        yield begin


def _write(image: Any, path: Path) -> str:
    """A picture, whole or not there at all."""
    import io

    from thinstock.files.write import folder_of, put

    held = io.BytesIO()
    image.save(held, format="PNG", compress_level=1)
    folder_of(path.parent)
    return str(put(path, held.getvalue()))


def _pictures(subject: Subject, done: list[SheetStudy], folder: Path) -> list[str]:
    """Diffuse and direct light with one gain for all, layers, close-up, and a panel for each sheet."""
    from thinstock.sheet import close_up, look_through, panel, picture
    from thinstock.sheet.pictures import gain_of, percent

    gains: dict[str, float] = {}
    written = []
    for one in done:
        tag = f"{one.consistency * 100:.4g}".replace(".", "p")
        for mode in ("diffuse", "direct", "layers"):
            gain = None
            if mode != "layers":
                block = max(1, one.sheet.coverage.shape[1] // 900)
                gain = gains.setdefault(mode, gain_of(look_through(one.sheet, mode, block=block), mode))
            image = picture(one.sheet, mode, gain=gain, title=f"{subject.name}, {percent(one.consistency)}")
            written.append(_write(image, folder / f"{mode}-{tag}.png"))
        if one.looked is not None:
            written += _as_seen(one, folder, tag)
        image = panel(one.sheet, title=f"{subject.name}, headbox {percent(one.consistency)}")
        written.append(_write(image, folder / f"panel-{tag}.png"))
    image = close_up(
        subject.furnish, subject.grammage, 0.2, done[0].sheet.seed, title=phrase("cli.sheet.close_up_single_fibres")
    )
    written.append(_write(image, folder / "close-up.png"))
    return written


def _as_seen(one: SheetStudy, folder: Path, tag: str) -> list[str]:
    """What an eye sees in the lights that were asked for, the holes it sees circled."""
    from thinstock.sheet.seen import eye_picture

    assert one.looked is not None
    return [
        _write(eye_picture(one.looked, seen.light, seen.counted.places), folder / f"{seen.light}-{tag}.png")
        for seen in one.seen
        if seen.counted is not None
    ]


def _gallery(folder: Path, seed: int, *, as_json: bool) -> None:
    """Every grade at three consistencies, in diffuse and in direct light."""
    from thinstock.sheet import gallery
    from thinstock.sheet.showcase import GRADES, library_grade

    paths = []
    with _bar(not as_json) as tell:
        for mode in ("diffuse", "direct"):
            step = tell(f"gallery, {mode} light")
            paths.append(_write(gallery(mode=mode, seed=seed, on_progress=step), folder / f"gallery-{mode}.png"))
            if not as_json:
                click.echo(paths[-1])
    if as_json:
        grades = [{"name": name, "consistencies": dict(library_grade(name).consistencies)} for name in GRADES]
        record = {"format": 1, "grades": grades, "seed": seed, "pictures": paths, "units": "fractions"}
        click.echo(json.dumps(record, indent=1, allow_nan=False))


def _answer_lines(
    answers: tuple[DilutionAnswer, ...], calibrated: bool, target: str | None, worth: tuple[Worth, ...]
) -> Callable[[Edge], list[str]]:
    """What dilution can do for the target and what a more even sheet saves, as lines once the units are known."""
    from thinstock.tell.dilution import answers_text, helpless, worth_lines
    from thinstock.words.phrase import phrase

    def lines(edge: Edge) -> list[str]:
        if not answers:
            return worth_lines(worth, edge.text)
        said = answers_text(answers, "cv", calibrated, edge.text)
        found = [phrase("evenness.answer.target", target=f"CV at most {target}", answers=said)]
        found += [phrase("evenness.answer.remedies")] if helpless(answers) else []
        return found + worth_lines(worth, edge.text)

    return lines


def _record(
    subject: Subject,
    done: list[SheetStudy],
    paths: list[str],
    answers: tuple[DilutionAnswer, ...],
    worth: tuple[Worth, ...],
) -> dict[str, Any]:
    from thinstock.machine.evenness import ENDS
    from thinstock.studies.sheets import FLOOR

    return {
        "format": 1,
        "name": subject.name,
        "grammage_on_wire": subject.grammage,
        "suspension_variation": subject.suspension_variation,
        "suspension_variation_assumed": not subject.calibrated,
        "retention": subject.retention,
        "label": FLOOR,
        "target": [
            {"end": name, "answer": one.kind, "consistency": one.consistency, "floor": one.floor, "note": one.note}
            for name, one in zip(ENDS, answers, strict=False)
        ],
        "worth": [one.record() for one in worth],
        "sheets": [one.record() for one in done],
        "pictures": paths,
        "units": "base SI: kg, m; consistencies, CV and shares as fractions; holes per m²",
    }


def _counted(one: SheetStudy) -> str:
    """Holes counted per m², or what no hole on so small a sheet still allows."""
    from thinstock.sheet.pictures import count_text

    if one.holes_counted == 0:
        return phrase("cli.sheet.none_on_this_sheet_at", count_text=count_text(one.holes_at_most))
    return f"{count_text(one.holes_counted)} ± {count_text(one.holes_error)}"


def _hole_rows(done: list[SheetStudy], edge: Edge) -> list[list[str]]:
    """Bare area and holes, by theory and as counted."""
    from thinstock.machine.evenness import SIZES
    from thinstock.sheet.pictures import count_text
    from thinstock.words.figures import figure

    size = edge.text("hole_diameter", float(done[0].theory.hole_diameter), 2)
    return [
        [phrase("cli.sheet.open_area_theory"), *[figure(100 * float(o.theory.open_area), 3) for o in done]],
        [phrase("cli.sheet.untouched_pixels_by_chance_alone"), *[figure(100 * o.bare_theory, 3) for o in done]],
        [phrase("cli.sheet.counted"), *[figure(100 * o.bare, 3) for o in done]],
        [f"  holes > {size} per m², theory", *[count_text(float(o.theory.holes_per_area)) for o in done]],
        ["    counted", *[_counted(o) for o in done]],
        *[
            [
                f"  holes > {edge.text('hole_diameter', size, 2)} per m², theory",
                *[count_text(o.holes_above[k]) for o in done],
            ]
            for k, size in enumerate(SIZES)
            if abs(size - float(done[0].theory.hole_diameter)) > 1e-9
        ],
        [phrase("cli.sheet.largest_bare_piece"), *[edge.text("hole_diameter", o.largest_counted, 2) for o in done]],
    ]


def _seen_rows(done: list[SheetStudy], edge: Edge) -> list[list[str]]:
    """Holes that an eye sees in either light, by theory and, where somebody looked, as counted with the error."""
    from thinstock.sheet.pictures import count_text

    rows = []
    for k, light in enumerate(one.light for one in done[0].seen):
        seen = [one.seen[k] for one in done]
        sizes = [edge.text("hole_diameter", one.smallest, 2) for one in seen]
        rows.append([phrase(f"cli.sheet.seen_{light}"), *sizes])
        rows.append([phrase("cli.sheet.seen_theory"), *[count_text(one.theory) for one in seen]])
        if seen[0].counted is not None:
            rows.append(["    counted", *[_looked_for(one.counted) for one in seen if one.counted is not None]])
    return rows


def _looked_for(found: Counted) -> str:
    """Holes found by their room, or what no hole found still allows."""
    from thinstock.sheet.pictures import count_text

    if not found.places:
        return phrase("cli.sheet.none_on_this_sheet_at", count_text=count_text(found.at_most))
    return f"{count_text(found.per_area)} ± {count_text(found.error)}"


def _seen(done: list[SheetStudy], edge: Edge) -> list[str]:
    """The smallest holes an eye sees on the first sheet, and what the large ones are not from."""
    from thinstock.sheet.eye import visible_holes
    from thinstock.words.phrase import phrase

    window, lamp = (edge.text("hole_diameter", one, 2) for one in visible_holes(done[0].theory))
    return [phrase("evenness.seen", window=window, lamp=lamp), phrase("evenness.elsewhere")]


def _zone_rows(done: list[SheetStudy], edge: Edge) -> list[list[str]]:
    """Evenness at each zone: theory, what was counted, and chance alone."""
    from thinstock.words.figures import figure

    rows = []
    for number, zone in enumerate(done[0].zones):
        at = [one.zones[number] for one in done]
        label = phrase("cli.sheet.cv_at_theory", label=edge.text("zone", zone.zone, 2))
        rows.append([label, *[figure(100 * one.theory, 3) for one in at]])
        counted = [f"{figure(100 * one.counted, 3)} ± {figure(100 * one.standard_error, 1)}" for one in at]
        rows.append([phrase("cli.sheet.counted"), *counted])
        rows.append([phrase("cli.sheet.chance_alone"), *[figure(100 * one.random, 3) for one in at]])
    return rows


def _show(
    subject: Subject, done: list[SheetStudy], answers: Callable[[Edge], list[str]], paths: list[str], edge: Edge
) -> None:
    """The numbers of the sheets side by side, theory beside what was counted."""
    from thinstock.machine.evenness import REGIMES
    from thinstock.sheet.pictures import percent
    from thinstock.studies.sheets import FLOOR
    from thinstock.tell.blocks import Column, Table
    from thinstock.tell.terminal import Page, lines, page_width, wrapped
    from thinstock.words.figures import figure

    width, page = page_width(), Page()
    page.heading(subject.name)
    page.add(subject.name)
    grammage = edge.text("grammage", subject.grammage, 3)
    judged = "given" if subject.calibrated else "assumed"
    page.add(
        *wrapped(
            phrase(
                "cli.sheet.bone_dry_on_wire_suspension",
                grammage=grammage,
                suspension_variation=f"{subject.suspension_variation:g}",
                judged=judged,
                floor=FLOOR,
            ),
            width=width,
        ),
        "",
    )
    columns = (Column(sort="word"), *(Column(head=percent(one.consistency)) for one in done))
    rows = [
        [phrase("cli.sheet.crowding_number"), *[figure(float(one.theory.crowding_number), 3) for one in done]],
        [phrase("cli.sheet.regime"), *[REGIMES[int(one.theory.crowding_regime)].split(":")[0] for one in done]],
        [phrase("cli.sheet.formation_number"), *[figure(float(one.theory.formation_number), 3) for one in done]],
    ]
    rows += _zone_rows(done, edge)
    floor = edge.text("zone", subject.zone, 2)
    rows.append(
        [
            phrase("cli.sheet.floor_that_dilution_leaves_at", floor=floor),
            *[figure(100 * float(o.theory.cv_floor), 3) for o in done],
        ]
    )
    rows += _hole_rows(done, edge)
    rows += _seen_rows(done, edge)
    page.add(*lines(Table(columns=columns, rows=tuple(map(tuple, rows)), indented=False), width), "")
    notes = dict.fromkeys(text for one in done for text in one.notes)
    for text in [*answers(edge), *(f"{text}." for text in notes), *_seen(done, edge)]:
        page.add(*wrapped(text, width=width, first="* "))
    page.add(*wrapped(phrase("cli.sheet.fines_filler_not_in_model"), width=width,
                      first="* "))  # fmt: skip
    page.add(*paths)
    page.show()
