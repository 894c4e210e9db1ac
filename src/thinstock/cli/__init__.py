"""The command line: `thinstock COMMAND ...`. One file per command, fetched when that command is called.

Exit status: 0 the command ran, 1 the input was refused (all faults on the error stream, with `--json` also as one
object on the output), 2 wrong usage, 3 a fault of the program itself, 130 stopped with Ctrl-C.
"""

from __future__ import annotations

import os
import shutil
import sys
import warnings
from collections.abc import Sequence
from importlib import import_module
from typing import TYPE_CHECKING

import click

from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.errors import Refused

COMMANDS = {
    "machines": phrase("cli.cli.bundled_machines"),
    "new": phrase("cli.cli.write_machine_file_twelve_numbers"),
    "run": phrase("cli.cli.run_machine_how_much_water"),
    "open": phrase("cli.cli.open_page_change_value_see"),
    "limits": phrase("cli.cli.highest_speed_every_part_machine"),
    "circuits": phrase("cli.cli.water_circuits"),
    "watch": phrase("cli.cli.over_time"),
    "trouble": phrase("cli.cli.symptom"),
    "benchmarks": phrase("cli.cli.published_ranges"),
    "formers": phrase("cli.cli.formers_side_by_side_for"),
    "sheet": phrase("cli.cli.sheet_against_light_clouds_holes"),
    "explain": phrase("cli.cli.working_number_every_formula_in"),
    "compare": phrase("cli.cli.machines_side_by_side_at"),
    "solve": phrase("cli.cli.which_value_one_setting_gives"),
    "rebuild": phrase("cli.cli.what_rebuild_gains_in_money"),
    "study": phrase("cli.cli.how_sure_machine_s_numbers"),
    "sweep": phrase("cli.cli.machine_at_very_many_cases"),
    "map": phrase("cli.cli.one_result_over_two_inputs"),
    "history": phrase("cli.cli.signals_over_time_steady_windows"),
    "survey-form": phrase("cli.cli.write_empty_table_readings_for"),
    "survey": phrase("cli.cli.reconcile_table_readings_what_agrees"),
    "calibrate": phrase("cli.cli.fit_machine_s_constants_to"),
    "condition": phrase("cli.cli.few_figures_known"),
    "drift": phrase("cli.cli.constants_over_many_rounds"),
    "plan": phrase("cli.cli.which_reading_makes_answer_surer"),
    "handout": phrase("cli.cli.handout_on_machine_as_pdf"),
    "exercises": phrase("cli.cli.problems_around_machine_for_class"),
    "lesson": phrase("cli.cli.give_lesson"),
    "check": phrase("cli.cli.read_machine_file_say_what"),
    "truth": phrase("cli.cli.what_print_says_what_thinstock"),
    "formulas": phrase("cli.cli.formulas_picture_words_range_source"),
    "schema": phrase("cli.cli.json_schema_machine_file_for"),
}
"""Every command with its line of help; `cli.<name>` holds it as `command`."""


MOST_TOLD = 100
"""Faults of one refusal that are told one by one."""
COMPLETE = "_THINSTOCK_COMPLETE"
"""Set by a shell that completes a command: see the README."""


class Commands(click.Group):
    """A group that knows its commands' names and lines of help without fetching them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        found: click.Command = import_module(f"thinstock.cli.{cmd_name.replace('-', '_')}").command
        return found

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            from difflib import get_close_matches

            near = get_close_matches(args[0], COMMANDS, n=1)
            hint = phrase("cli.cli.did_you_mean", near=near[0]) if near else ""
            ctx.fail(phrase("cli.cli.there_no_command", args=f"{args[0]!r}", hint=hint))
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


def _version(ctx: click.Context, param: click.Parameter, value: bool) -> None:
    if not value or ctx.resilient_parsing:
        return
    from importlib.metadata import version

    click.echo(f"thinstock {version('thinstock')}")
    ctx.exit()


@click.group(
    cls=Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog=phrase("cli.cli.exit_status_ran_input_refused"),
)
@click.option(
    "--version",
    is_flag=True,
    expose_value=False,
    is_eager=True,
    callback=_version,
    help=phrase("cli.cli.print_version"),
)
def group() -> None:
    """How dilute the stock, how much water it brings, and which part of the machine takes it out."""


def main(args: Sequence[str] | None = None) -> None:
    """Run the command line and leave with its exit status; asked by a shell what could follow, answer that."""
    if os.environ.get(COMPLETE):
        group.main(prog_name="thinstock", complete_var=COMPLETE)
    sys.exit(status(args))


def status(args: Sequence[str] | None = None) -> int:
    """Run the command line; the exit status."""
    from thinstock.cli.streams import shown_streams

    with shown_streams():
        return _status(args)


def _status(args: Sequence[str] | None) -> int:
    from thinstock.errors import Fault, Refused, Slow

    given = list(sys.argv[1:] if args is None else args)
    usual = warnings.formatwarning
    warnings.formatwarning = lambda said, sort, *rest: (
        f"thinstock: {said}\n" if sort is Slow else usual(said, sort, *rest)
    )
    try:
        with group.make_context("thinstock", given) as context:
            group.invoke(context)
        sys.stdout.flush()
    except click.exceptions.Exit as left:
        return left.exit_code
    except click.ClickException as wrong:
        wrong.show()
        return wrong.exit_code
    except (click.Abort, KeyboardInterrupt):
        print("stopped", file=sys.stderr)
        return 130
    except Refused as refused:
        return _refuse(refused, refusal(refused), given)
    except BrokenPipeError:
        _let_go_of_stdout()
        return 0
    except OSError as wrong:
        where, why = str(wrong.filename or ""), str(wrong.strerror or wrong)
        said = f"thinstock: {where}: {why}" if where else f"thinstock: {why}"
        return _refuse(Refused(Fault(field=where or "file", bound=why)), said, given)
    except Exception as fault:
        return _own_fault(fault)
    return 0


def _refuse(refused: Refused, said: str, given: Sequence[str]) -> int:
    """Say what is refused, in words and where JSON was asked for also as an object; the exit status."""
    if "--json" in given:
        import json

        from thinstock.tell.record import refusal as as_object

        print(json.dumps(as_object(refused), indent=1, allow_nan=False))
    print(said, file=sys.stderr)
    if refused.__cause__ is not None:  # what a reader of a foreign file raised
        _trace(refused.__cause__)
    return 1


def _trace(fault: BaseException) -> None:
    """Where something was raised, if that is asked for."""
    if os.environ.get("THINSTOCK_TRACE"):
        import traceback

        traceback.print_exception(fault)


def refusal(refused: Refused) -> str:
    """All faults of a refusal: one a line in a pipe, on a terminal in lines of its width."""
    from thinstock.tell.terminal import NARROWEST, WIDEST, has_width, wrapped

    faults = refused.faults
    head = "thinstock: refused" if len(faults) == 1 else phrase("cli.cli.thinstock_refused_faults", faults=len(faults))
    more = [phrase("cli.cli.more_faults", count=len(faults) - MOST_TOLD)] if len(faults) > MOST_TOLD else []
    told = [f"  {fault}" for fault in faults[:MOST_TOLD]]
    if has_width(sys.stderr):
        width = max(NARROWEST, min(shutil.get_terminal_size().columns, WIDEST))
        told = [line for one in told for line in wrapped(one.lstrip(), width=width, first="  ", then="    ")]
    return "\n".join([head, *told, *more])


def _let_go_of_stdout() -> None:
    """The reader has left; nothing more is written, not even at the end of the program."""
    try:
        devnull = os.open(os.devnull, os.O_WRONLY)
        os.dup2(devnull, sys.stdout.fileno())
    except (OSError, ValueError):
        pass


def _own_fault(fault: Exception) -> int:
    """A fault of the program: told in one line; the trace is written to a file only when asked for."""
    _trace(fault)
    print(
        phrase("cli.cli.thinstock_fault_program_not_your", name=type(fault).__name__, fault=fault),
        file=sys.stderr,
    )
    return 3
