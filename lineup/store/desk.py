"""What every part of a store shares: its journal, and the check of a person's role."""

from __future__ import annotations

from lineup.store.journal import Journal
from lineup.store.people import LOCAL, People, Role, User
from lineup.store.reminders import Routine


class Desk:
    """A journal with the people who may write in it. Without people there is one local user who may do all."""

    def __init__(self, journal: Journal, people: People | None = None, routine: Routine | None = None) -> None:
        self._journal = journal
        self._people = people
        self._routine = routine or Routine()

    @property
    def people(self) -> People | None:
        """The roles in use, None where one local user does all."""
        return self._people

    @property
    def routine(self) -> Routine:
        """Deadlines and reminders of the season."""
        return self._routine

    def _require(self, by: User, roles: tuple[Role, ...], step: str, cars: frozenset[str] = frozenset()) -> None:
        if self._people is not None:
            self._people.require(by, roles, step, cars)

    def name_of(self, author: str) -> str:
        """Return how documents name somebody who wrote: the name in the roles file, else the id."""
        if self._people is not None and author.casefold() in self._people.by_id:
            return self._people.by_id[author.casefold()].name
        return LOCAL.name if author == LOCAL.id else author
