"""The options that commands on a store share, declared once: which store, who acts under which roles, and when."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import wraps
from pathlib import Path
from typing import Annotated, Any

import typer

from lineup.errors import InputError
from lineup.store import LOCAL, Store, User, default_store, open_store, read_people, read_routine

Command = Callable[..., None]
Reason = Annotated[str, typer.Option("--reason", help="Why; it stays in the record.")]


@dataclass(frozen=True, slots=True)
class StoreOptions:
    """What was said on the command line about store, person and time; each field is one option."""

    store: Annotated[
        str | None, typer.Option("--store", metavar="WHERE", help="File or URL; default: beside the season.")
    ] = None
    by: Annotated[str | None, typer.Option("--by", metavar="ID", help="Who does it; default: the one local user.")] = (
        None
    )
    roles: Annotated[Path | None, typer.Option("--roles", metavar="FILE", help="Roles file (TOML).")] = None
    routine: Annotated[
        Path | None, typer.Option("--routine", metavar="FILE", help="Deadlines and reminders (TOML).")
    ] = None
    now: Annotated[
        str | None, typer.Option("--now", metavar="TIME", help="ISO time with offset; default: the clock.")
    ] = None

    @property
    def user(self) -> User:
        """Who acts; names given on a command line are taken on trust and never count as logged in."""
        return LOCAL if self.by is None else User(self.by)

    @property
    def moment(self) -> datetime:
        """The time of a step: as given, else the clock's. The library itself never looks at a clock.

        Raises
        ------
        InputError
            When it is not an ISO time, or has no offset from UTC.
        """
        if self.now is None:
            return datetime.now(UTC)
        try:
            found = datetime.fromisoformat(self.now)
        except ValueError:
            raise InputError(f"{self.now!r} is not a time of the form 2027-03-14T09:30+00:00") from None
        if found.tzinfo is None:
            raise InputError(f"{self.now!r} does not say its offset from UTC, as in 2027-03-14T09:30+00:00")
        return found

    @contextmanager
    def opened(self, season: Path) -> Iterator[Store]:
        """Open the store of a season for one command."""
        people = read_people(self.roles) if self.roles is not None else None
        routine = read_routine(self.routine) if self.routine is not None else None
        with open_store(self.store or default_store(season), people, routine) as store:
            yield store


def with_store(*names: str) -> Callable[[Command], Command]:
    """Give a command store options of these names, all of them unless named; it gets them as its keyword `at`."""
    shared = {
        n: p for n, p in inspect.signature(StoreOptions, eval_str=True).parameters.items() if n in names or not names
    }

    def give(command: Command) -> Command:
        own = {n: p for n, p in inspect.signature(command, eval_str=True).parameters.items() if n != "at"}

        @wraps(command)
        def run(**said: Any) -> None:
            at = StoreOptions(**{name: said.pop(name) for name in shared})
            command(**said, at=at)

        parameters = (*own.values(), *shared.values())
        run.__signature__ = inspect.Signature(parameters, return_annotation=None)  # type: ignore[attr-defined]
        run.__annotations__ = {parameter.name: parameter.annotation for parameter in parameters}
        return run

    return give
