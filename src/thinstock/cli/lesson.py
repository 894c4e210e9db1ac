"""`thinstock lesson NAME`: a lesson on the stage; `list`, `check` and `new` beside it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.lesson.listener import Listener


class _Lessons(click.Group):
    """A group whose first word may also be the name of a lesson."""

    def resolve_command(self, ctx: click.Context, args: list[str]):  # type: ignore[no-untyped-def]
        """A word that is no command names a lesson to be given."""
        if args and args[0] not in self.commands and not args[0].startswith("-"):
            args = ["give", *args]
        return super().resolve_command(ctx, args)


@click.group("lesson", cls=_Lessons, short_help=phrase("cli.lesson.give"))
def command() -> None:
    """Give a lesson: `thinstock lesson "why tissue machines"`, with the keys of a clicker.

    NAME is a bundled lesson, the beginning of its title, or a lesson file; machine files are looked for beside it.
    """


@command.command("give", short_help=phrase("cli.lesson.give_one"))
@click.argument("name")
@click.option("--port", type=click.IntRange(1, 65535), help=phrase("cli.open.port_on_this_computer_usual"))
@click.option("--no-browser", is_flag=True, help=phrase("cli.open.only_print_address"))
@click.option("--workspace", metavar="DIR", type=click.Path(path_type=Path), help=phrase("cli.lesson.workspace"))
@click.option("--class", "address", metavar="ADDRESS", help=phrase("cli.lesson.address"))
@click.option("--class-port", type=click.IntRange(1, 65535), default=None, help=phrase("cli.lesson.class_port"))
@click.option("--no-words", is_flag=True, help=phrase("cli.lesson.no_words"))
@click.option("--answers", metavar="FILE", type=click.Path(path_type=Path), help=phrase("cli.lesson.answers"))
def give(
    name: str,
    port: int | None,
    no_browser: bool,
    workspace: Path | None,
    address: str | None,
    class_port: int | None,
    no_words: bool,
    answers: Path | None,
) -> None:
    """Give the lesson NAME in the browser of this computer, until you stop it with Ctrl-C.

    With --class phones on the room's network reach the running question, and nothing else, at ADDRESS.
    """
    from thinstock.cli.options import write_out
    from thinstock.errors import needs

    for package in ("starlette", "uvicorn", "jinja2", "vl_convert", "PIL"):
        needs(package, "page")
    from thinstock.app.server import serve
    from thinstock.work.workspace import Workspace

    place, folder = _wanted(name, workspace)
    _check_behind(name)
    guests = None if address is None else _guests(address, class_port or 0, groups=not no_words)

    def ready(at: str, once: str) -> None:
        click.echo(phrase("cli.lesson.ready", address=at))
        if not no_browser:
            import webbrowser

            webbrowser.open(once)

    try:
        serve(Workspace(folder), port=port, place=f"lessons/stage?{place}", ready=ready, guests=guests)
    finally:
        if guests is not None:
            guests.close()
            if answers is not None:
                write_out(guests.room.table(), answers)


def _check_behind(name: str) -> None:
    """Run every scene once while the stage opens: nothing is compiled in front of the class, and what fails is told."""
    from threading import Thread

    from thinstock.lesson.library import load
    from thinstock.lesson.played import check

    lesson, files = load(name)

    def checked() -> None:
        for fault in check(lesson, files):
            click.echo(phrase("cli.lesson.fails", fault=fault), err=True)
        click.echo(phrase("cli.lesson.checked"), err=True)

    click.echo(phrase("cli.lesson.checking"), err=True)
    Thread(target=checked, name="check", daemon=True).start()


def _guests(address: str, port: int, *, groups: bool) -> Listener:
    """The listener for the class, started, with its address and code told."""
    from thinstock.lesson.listener import Listener
    from thinstock.lesson.room import Room

    made = Listener(Room(groups=groups), address, port)
    made.start()
    click.echo(phrase("cli.lesson.class_at", url=made.url, code=made.room.code))
    return made


def _wanted(name: str, workspace: Path | None) -> tuple[str, Path]:
    """The stage's address behind the question mark, and the folder it may work in."""
    import os
    from urllib.parse import urlencode

    from thinstock.errors import Refused
    from thinstock.lesson.library import ENDING, found, load
    from thinstock.words.fault import fault_in

    folder = Path(os.path.realpath(workspace or Path.cwd()))
    if not name.endswith(".toml"):
        return urlencode({"lesson": found(name)}), folder
    load(name)
    place = Path(os.path.realpath(name))
    folder = place.parent if workspace is None else folder
    if folder not in place.parents or not place.name.endswith(ENDING):
        raise Refused(fault_in("cli.lesson.place", "lesson", name, ending=ENDING))
    return urlencode({"file": place.relative_to(folder).as_posix()}), folder


@command.command("list", short_help=phrase("cli.lesson.list"))
def listing() -> None:
    """List the bundled lessons."""
    from thinstock.lesson.library import bundled, lesson_names

    for name in lesson_names():
        lesson = bundled(name)
        click.echo(phrase("cli.lesson.row", name=name, title=lesson.title, scenes=len(lesson.scenes),
                          minutes=f"{lesson.minutes:g}"))  # fmt: skip


@command.command("check", short_help=phrase("cli.lesson.check"))
@click.argument("names", nargs=-1, metavar="[NAME]...")
def check_lessons(names: tuple[str, ...]) -> None:
    """Run every scene of lessons, of all bundled ones if none is named, and say what no longer runs."""
    from thinstock.errors import Fault, Refused
    from thinstock.lesson.library import lesson_names, load
    from thinstock.lesson.played import check

    wrong: list[Fault] = []
    for name in names or lesson_names():
        lesson, files = load(name)
        found = check(lesson, files)
        wrong += found
        if not found:
            click.echo(phrase("cli.lesson.runs", name=lesson.name, scenes=len(lesson.scenes)))
    if wrong:
        raise Refused(wrong)


@command.command("export", short_help=phrase("cli.lesson.export"))
@click.argument("name")
@click.option("--out", "-o", required=True, type=click.Path(path_type=Path), help=phrase("cli.lesson.out"))
@click.option("--without-notes", is_flag=True, help=phrase("cli.lesson.without"))
def export(name: str, out: Path, without_notes: bool) -> None:
    """Write the lesson NAME as PDF, as slides (PPTX) or as one offline HTML file, by the ending of FILE."""
    from thinstock.app.stage.taken import KINDS
    from thinstock.cli.options import write_out
    from thinstock.errors import Refused
    from thinstock.lesson.library import load
    from thinstock.words.fault import fault_in

    kind = out.suffix.lower().removeprefix(".")
    if kind not in KINDS:
        raise Refused(fault_in("cli.lesson.kind", "--out", str(out), known=", ".join(KINDS)))
    lesson, files = load(name)
    write_out(KINDS[kind][1](lesson, files, not without_notes), out)


@command.command("clip", short_help=phrase("cli.lesson.clip"))
@click.argument("name")
@click.option("--out", "-o", required=True, type=click.Path(path_type=Path), help=phrase("cli.lesson.clip_out"))
@click.option("--scene", metavar="SCENE", default="", help=phrase("cli.lesson.clip_scene"))
def clip_of(name: str, out: Path, scene: str) -> None:
    """Write the lesson NAME, or one scene of it, as a clip of 1920 × 1080 whose slider moves from end to end.

    Every picture is the machine run at that value. The trainer's notes are its subtitles.
    """
    from thinstock.lesson.library import load
    from thinstock.lesson.out.clips import clip

    lesson, files = load(name)

    def told(done: int, count: int) -> None:
        click.echo(phrase("cli.lesson.clip_done", done=done, all=count), err=True)

    beside = clip(lesson, out, files, scene=scene, on_progress=told)
    click.echo(phrase("cli.lesson.clip_written", out=out, beside=beside))


@command.command("new", short_help=phrase("cli.lesson.new"))
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--title", default="", help=phrase("cli.lesson.title"))
@click.option("--like", metavar="NAME", default="", help=phrase("cli.lesson.like"))
@click.option("--machine", metavar="MACHINE", default="facial-roll", help=phrase("cli.lesson.machine"))
def new_lesson(file: Path, title: str, like: str, machine: str) -> None:
    """Write FILE, a lesson of one scene to go on from, or a copy of a bundled one; no file is overwritten."""
    from thinstock.files.write import put
    from thinstock.lesson import write
    from thinstock.lesson.library import ENDING, found, lesson_text

    if not file.name.endswith(ENDING):
        file = file.with_name(file.name.removesuffix(".toml") + ENDING)
    text = lesson_text(found(like)) if like else write.new(title or file.name.removesuffix(ENDING), machine)
    put(file, write.headed(text, title), new=True)
    click.echo(phrase("cli.lesson.written", file=file))
