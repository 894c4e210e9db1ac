"""`thinstock open`: the local page in the browser, on this computer only."""

from __future__ import annotations

import os
from pathlib import Path
from urllib.parse import urlencode

import click

from thinstock.errors import Refused, needs
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase


@click.command("open")
@click.argument("machine", metavar="[MACHINE]", required=False)
@click.option("--port", type=click.IntRange(1, 65535), help=phrase("cli.open.port_on_this_computer_usual"))
@click.option("--no-browser", is_flag=True, help=phrase("cli.open.only_print_address"))
@click.option(
    "--workspace",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help=phrase("cli.open.folder_whose_machine_files_page"),
)
def command(machine: str | None, port: int | None, no_browser: bool, workspace: Path | None) -> None:
    """Open the page: change a value and see the machine answer.

    MACHINE is a bundled machine or a file. The page is served to this computer's own browser only, through the address
    that is printed, until you stop it with Ctrl-C.
    """
    for name in ("starlette", "uvicorn", "jinja2", "vl_convert", "PIL"):
        needs(name, "page")
    from thinstock.app.server import bound_socket, serve
    from thinstock.work.workspace import Workspace

    query, folder = _wanted(machine, workspace)
    if port is not None:
        try:
            bound_socket(port).close()
        except OSError as taken:
            raise Refused(fault_in("cli.open.port", "port", str(port), why=str(taken.strerror or taken))) from None

    def ready(address: str, once: str) -> None:
        click.echo(phrase("cli.open.thinstock_open_at_workspace_stop", address=address, folder=folder))
        if not no_browser:
            import webbrowser

            webbrowser.open(once)

    _prepare()
    serve(Workspace(folder), port=port, place="machine" + (f"?{query}" if query else ""), ready=ready)


def _prepare() -> None:
    """Run a machine once: on a new computer, or after a change of the program, the calculation is compiled then."""
    from threading import Timer

    from thinstock import limits, load
    from thinstock.studies.bands import uncertainty

    note = Timer(2.0, click.echo, [phrase("cli.open.preparing_calculation_this_happens_once")])
    note.daemon = True
    note.start()
    try:
        machine = load("facial-roll")
        machine.run()
        limits(machine)
        uncertainty(machine)
    finally:
        note.cancel()


def _wanted(machine: str | None, workspace: Path | None) -> tuple[str, Path]:
    """The page's address behind the question mark, and the folder it may work in."""
    from thinstock.case.library import machine_names

    folder = Path(os.path.realpath(workspace or Path.cwd()))
    if machine is None:
        return "", folder
    if machine in machine_names():
        return urlencode({"machine": machine}), folder
    place = Path(os.path.realpath(machine))
    if not place.is_file():
        from thinstock.case import load

        load(machine)
    if workspace is None:
        folder = place.parent
    if folder != place and folder not in place.parents:
        raise Refused(fault_in("cli.open.machine", "machine", machine))
    return urlencode({"file": place.relative_to(folder).as_posix()}), folder
