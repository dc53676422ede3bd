"""Who may do what to the roster: the people and roles of a roles file, checked before each write."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Literal, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from lineup.errors import InputError, NotAllowed

M = TypeVar("M", bound=BaseModel)
Role = Literal["coach", "crew_chief", "signer", "reader", "athlete"]
ROLES: Final[tuple[str, ...]] = get_args(Role)
ROLE_NAMES: Final[Mapping[str, str]] = {role: role.replace("_", " ") for role in ROLES}

EXAMPLE: Final = """\
login = true   # people are who the log-in says; without it names are taken on trust, and every sheet says so

[[person]]
id = "coach@example.org"      # what the log-in calls this person
name = "The coach"
roles = ["coach"]

[[person]]
id = "chief@example.org"
name = "Crew chief of car 7"
roles = ["crew_chief"]
cars = ["car-7"]              # a crew chief's cars

[[person]]
id = "director@example.org"
name = "The director"
roles = ["signer"]

[[person]]
id = "jack@example.org"
name = "The jack of car 7"
roles = ["athlete"]           # sees the own weekends and nothing else
athlete = "a17"               # the id in athletes.csv
"""


@dataclass(frozen=True, slots=True)
class User:
    """Who acts. `authenticated` is set by whoever checked a log-in, never by a form field."""

    id: str
    name: str = ""
    authenticated: bool = False


LOCAL: Final = User("local", "Local user")


@dataclass(frozen=True, slots=True)
class Person:
    """One row of the roles file; `cars` are a crew chief's, `athlete` the id of somebody who is an athlete."""

    id: str
    name: str
    roles: frozenset[str]
    cars: tuple[str, ...] = ()
    athlete: str | None = None

    @property
    def is_staff(self) -> bool:
        """Whether this person sees more than the own weekends."""
        return self.roles != {"athlete"}


@dataclass(frozen=True, slots=True)
class People:
    """Everybody who may write or read. `login`: only people whose log-in was checked may write."""

    by_id: Mapping[str, Person] = field(default_factory=dict)
    login: bool = False

    def person(self, user: User) -> Person:
        """Return the row of this user.

        Raises
        ------
        NotAllowed
            When the roles file does not name the user, or asks for a log-in that nobody checked.
        """
        found = self.by_id.get(user.id.casefold())
        if found is None:
            raise NotAllowed(f"{user.id or 'nobody'} is not in the roles file: ask whoever keeps it for a role")
        if self.login and not user.authenticated:
            raise NotAllowed(f"{user.id} is not logged in: the roles file asks for a log-in before anything is written")
        return found

    def require(self, user: User, roles: tuple[Role, ...], step: str, cars: frozenset[str] = frozenset()) -> None:
        """Allow a step to some roles; a crew chief only where every one of `cars` is his.

        Raises
        ------
        NotAllowed
            When the user has none of these roles, or not for these cars.
        """
        person = self.person(user)
        held = person.roles & set(roles)
        if held - {"crew_chief"} or (held and cars <= set(person.cars)):
            return
        if held:
            others = ", ".join(sorted(cars - set(person.cars)))
            raise NotAllowed(
                f"{user.id} is crew chief of {', '.join(person.cars)}, not of {others}: {step} is not theirs"
            )
        has = ", ".join(ROLE_NAMES[role] for role in ROLES if role in person.roles)
        needs = " or ".join(ROLE_NAMES[role] for role in roles)
        raise NotAllowed(f"{step} needs the role {needs}; {user.id} has {has}")


class _Person(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)
    id: str = Field(min_length=1, max_length=200)
    name: str = Field(default="", max_length=200)
    roles: tuple[Role, ...] = Field(min_length=1)
    cars: tuple[str, ...] = ()
    athlete: str | None = Field(default=None, min_length=1, max_length=200)


class _RolesFile(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)
    login: bool = False
    person: tuple[_Person, ...] = Field(min_length=1)


def read_people(path: Path | str) -> People:
    """Read a roles file (TOML; `EXAMPLE` shows one).

    Raises
    ------
    InputError
        When it cannot be read, or a key, a role or a double id is wrong; every problem in one message.
    """
    file = checked(_RolesFile, read_toml(path), path)
    by_id: dict[str, Person] = {}
    problems = []
    for number, row in enumerate(file.person, start=1):
        key = row.id.casefold()
        if key in by_id:
            problems.append(f"{path}: person {number}: the id {row.id!r} is there twice. Keep one")
        if "crew_chief" in row.roles and not row.cars:
            problems.append(f"{path}: person {number} ({row.id}): a crew chief needs `cars`. Name them")
        if ("athlete" in row.roles) != (row.athlete is not None):
            problems.append(
                f"{path}: person {number} ({row.id}): the role athlete and the key `athlete` go together. "
                "Give both, or neither"
            )
        by_id[key] = Person(row.id, row.name or row.id, frozenset(row.roles), row.cars, row.athlete)
    if problems:
        raise InputError("\n".join(problems))
    return People(by_id, file.login)


def read_toml(path: Path | str) -> dict[str, Any]:
    """Read a TOML file; InputError when it is missing or not TOML."""
    try:
        return tomllib.loads(Path(path).read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise InputError(f"{path}: there is no such file") from None
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror})") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: is not TOML in UTF-8 ({error})") from None


def checked(model: type[M], data: dict[str, Any], path: Path | str) -> M:
    """Validate a parsed file; InputError with every problem, one a line."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        lines = []
        for detail in error.errors():
            place = ".".join(str(part + 1) if isinstance(part, int) else part for part in detail["loc"])
            lines.append(
                f"{path}: {place}: {detail['msg'][0].lower()}{detail['msg'][1:]} (found {str(detail['input'])[:60]!r})"
            )
        raise InputError("\n".join(lines)) from None
