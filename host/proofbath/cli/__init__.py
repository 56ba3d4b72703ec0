"""The command line: verbs loaded when called, one-line errors, exit status by whose fault."""

from __future__ import annotations

import difflib
import sys
from collections.abc import Callable, Sequence
from importlib import import_module, metadata

import click

from proofbath.errors import ProofbathError

VERBS = {
    "batch": "Take a batch in, plan its nights, rework it, and see who passed.",
    "bench": "Speak to the night that is running: status, pause, resume, finish, stop, leave.",
    "calibrate": "Calibrate a bench, step by step, and put it on record.",
    "certify": "Judge a batch and issue its certificates; withdraw or replace one.",
    "chart": "Look at a bench's control charts, and record what made a run go out of control.",
    "check": "Look at a bench at rest, or prove its interlocks one by one.",
    "curve": "Find the opening temperatures in one recorded curve.",
    "demo": "Take a batch through the virtual bench, from calibration to certificates.",
    "flash": "Give a controller its program and its serial number.",
    "loading": "Hang up a night's units with every station checked, or take them off.",
    "night": "Run a night's plan on a bench, from checks before heat to curves.",
    "record": "Measure a unit by hand, with pot, thermometer and caliper.",
    "records": "Look after the records: persons, backup, restore, verify.",
    "resume": "Go on with a night that ended too early.",
    "rework": "Advise how much to change on each unit of a batch.",
    "serve": "Show the bench and the workshop as pages on the shop's network.",
    "service": "Keep logs of coolant temperature from the engine, and learn from them.",
    "statistics": "Say what the shop's own numbers carry: batches, types, trends.",
    "study": "Plan and evaluate a study of the bench itself.",
    "tune": "Find a bath's model and gains by a heating test, for its bench file.",
    "unit": "Put units and their types on record, and read a unit's history.",
    "verify": "Tell whether a certificate's PDF or JSON is what was issued.",
    "virtual": "Look into a virtual bench: the true answers of its units; get examples.",
}
"""Each verb has a module of its name beside this one, with its click command as `command`."""


class _Verbs(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(VERBS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command:
        if name not in VERBS:
            close = difflib.get_close_matches(name, VERBS, 1)
            meant = f"did you mean {close[0]}?" if close else f"verbs: {', '.join(sorted(VERBS))}"
            raise click.UsageError(f"{name} is not a verb of proofbath; {meant}", ctx)
        command: click.Command = import_module(f"proofbath.cli.{name}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the verbs from the table, without loading any of them."""
        with formatter.section("Verbs"):
            formatter.write_dl(sorted(VERBS.items()))


@click.command(cls=_Verbs, subcommand_metavar="VERB ...", no_args_is_help=False)
@click.version_option(metadata.version("proofbath"))
def proofbath() -> None:
    """Bench for coolant thermostats: bath, ramp, opening curves.

    Exit status: 0 done, 1 judged fail, 2 wrong input or refused, 3 bench fault, 4 something still
    heats after the end of a run.
    """


def _where_to_look(error: click.ClickException) -> str:
    context = getattr(error, "ctx", None)
    return f"See {context.command_path if context else 'proofbath'} --help."


def main(arguments: Sequence[str] | None = None, utc: Callable[[], str] | None = None) -> None:
    """Run the command line (by default the process's own) and leave with its exit status.

    `utc` is the clock of verbs that issue papers; the computer's where it is left out.
    """
    try:
        status = proofbath.main(arguments, prog_name="proofbath", standalone_mode=False, obj=utc)
    except ProofbathError as error:
        for fault in error.faults:
            click.echo(fault, err=True)
        status = error.exit_status
    except click.ClickException as error:
        click.echo(f"{error.format_message()} {_where_to_look(error)}", err=True)
        status = 2
    except (click.Abort, KeyboardInterrupt):
        click.echo("stopped", err=True)
        status = 130
    sys.exit(status if isinstance(status, int) else 0)
