"""Wires the commands together and maps known errors to exit codes."""

from __future__ import annotations

import os
import sys

import typer

from lineup.cli import answers, backups, export, planning, record, roster, season_data
from lineup.cli.common import BAD_INPUT, print_json, say
from lineup.errors import LineupError, SeasonError

app = typer.Typer(
    name="lineup",
    help="Assign pit-crew athletes to positions, cars and race weekends, prove how good it is, and explain it.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
for group in (season_data, planning, answers, backups, record, roster, export):
    group.register(app)


def main() -> None:
    """Run the command line; a known error becomes one report on stderr and exit code 2."""
    try:
        _run(as_json="--json" in sys.argv)
    except KeyboardInterrupt:
        say("lineup: stopped before there was anything to keep")
        raise SystemExit(130) from None
    except BrokenPipeError:
        sys.stderr.close()
        raise SystemExit(0) from None
    except OSError as error:  # a full disk behind stdout, say
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # what is left in the buffer goes nowhere
        say(f"lineup: cannot go on ({error.strerror or error})")
        raise SystemExit(BAD_INPUT) from None


def _run(*, as_json: bool) -> None:
    try:
        app()
    except LineupError as error:
        say(f"lineup: {error}")
        if as_json:
            print_json(_error_document(error))
        raise SystemExit(BAD_INPUT) from None


def _error_document(error: LineupError) -> dict[str, object]:
    if isinstance(error, SeasonError):
        return season_data.report_document(error.report)
    return {"error": str(error)}
