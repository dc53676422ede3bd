"""Roles from a file, checked before every write."""

from __future__ import annotations

import re
import textwrap
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from lineup.errors import InputError, NotAllowed
from lineup.season import Pin, Season
from lineup.store import STEPS, People, Roster, Store, User, open_store, people, read_people
from lineup.store.reminders import Reminder, Routine
from tests.store.rosters import NOW, Audit, acknowledge_all, after, clean_audit, roster_plan, sign_step

ROLES = """\
login = true
[[person]]
id = "Coach@example.org"
name = "The coach"
roles = ["coach"]
[[person]]
id = "chief@example.org"
roles = ["crew_chief"]
cars = ["c1"]
[[person]]
id = "director@example.org"
name = "The director"
roles = ["signer"]
[[person]]
id = "both@example.org"
roles = ["coach", "signer"]
[[person]]
id = "reader@example.org"
roles = ["reader"]
"""
COACH, CHIEF, DIRECTOR, BOTH, READER = (
    User(f"{name}@example.org", authenticated=True) for name in ("coach", "chief", "director", "both", "reader")
)


@pytest.fixture
def roles(tmp_path: Path) -> People:
    path = tmp_path / "roles.toml"
    path.write_text(ROLES)
    return read_people(path)


@pytest.fixture
def staffed(place: str, roles: People) -> Iterator[Store]:
    """A store where everybody needs a role."""
    routine = Routine(reminders=(Reminder("kit", "Kit packed", "travel_list"),))
    with open_store(place, roles, routine) as store:
        yield store


def test_the_roles_file_of_the_readme_is_one(tmp_path: Path) -> None:
    blocks = re.findall(r"(?:^ {7}.*\n|^\n)+", (Path(__file__).parents[2] / "README.md").read_text(), re.MULTILINE)
    (text,) = [block for block in blocks if "[[person]]" in block]
    path = tmp_path / "roles.toml"
    path.write_text(textwrap.dedent(text))
    read = read_people(path)
    assert read.login
    assert {role for person in read.by_id.values() for role in person.roles} == set(people.ROLES)
    assert read.by_id["jack@example.org"].athlete == "a17"
    secrets = next(block for block in blocks if "[auth]" in block)
    assert set(tomllib.loads(textwrap.dedent(secrets))["auth"]) == {
        "redirect_uri", "cookie_secret", "client_id", "client_secret", "server_metadata_url"
    }  # fmt: skip


def test_the_example_file_is_one(tmp_path: Path) -> None:
    path = tmp_path / "roles.toml"
    path.write_text(people.EXAMPLE)
    read = read_people(path)
    assert read.login
    assert {role for person in read.by_id.values() for role in person.roles} == {
        "coach",
        "crew_chief",
        "signer",
        "athlete",
    }


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("", "person: field required"),
        (
            '[[person]]\nid = "x"\nroles = ["athlete"]',
            r"person 1 \(x\): the role athlete and the key `athlete` go together",
        ),
        (
            '[[person]]\nid = "x"\nroles = ["reader"]\nathlete = "a1"',
            r"person 1 \(x\): the role athlete and the key `athlete` go together",
        ),
        ("person = 5", "person: input should be a valid tuple"),
        ('[[person]]\nid = "a"\nroles = ["boss"]', r"person\.1\.roles\.1: input should be 'coach', 'crew_chief'"),
        ('[[person]]\nid = "a"\nroles = []', r"person\.1\.roles: tuple should have at least 1 item"),
        ('[[person]]\nid = "a"\nroles = ["reader"]\nrole = "x"', r"person\.1\.role: extra inputs are not permitted"),
        ('[[person]]\nid = "a"\nroles = ["crew_chief"]', r"person 1 \(a\): a crew chief needs `cars`"),
        ('[[person]]\nid = "a"\nroles = ["reader"]\n[[person]]\nid = "A"\nroles = ["coach"]', "'A' is there twice"),
        ("[[person", "is not TOML in UTF-8"),
    ],
)
def test_a_wrong_roles_file_is_told(tmp_path: Path, content: str, message: str) -> None:
    path = tmp_path / "roles.toml"
    path.write_text(content)
    with pytest.raises(InputError, match=message):
        read_people(path)


def test_a_missing_roles_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.toml: there is no such file"):
        read_people(tmp_path / "none.toml")
    with pytest.raises(InputError, match="cannot be read"):
        read_people(tmp_path)


def every_write(season: Season, number: int) -> dict[str, Callable[[Store, User], Any]]:
    """Each write of a store, as somebody would call it who may."""
    plan, roster = roster_plan(season), Roster("w1", "starting_crews", number)
    changed = roster_plan(season, r1_c1_p2="a7")
    given = {"now": after(2)}
    return {
        "save": lambda s, by: s.save(plan, season, reason="r", by=by, parent=number, **given),
        "check_anew": lambda s, by: s.check_anew(number, season, Audit(), reason="r", by=by, **given),
        "propose": lambda s, by: s.propose(Roster("w2", "travel_list", number), by=by, **given),
        "keep_pin": lambda s, by: s.keep_pin(Pin("never", "a1", "r", race="r1"), by=by, **given),
        "lift_pin": lambda s, by: s.lift_pin(s.pins()[0].number, reason="r", by=by, **given),
        "keep_drill": lambda s, by: s.keep_drill("d", [], {}, by=by, **given),
        "set_deadline": lambda s, by: s.set_deadline("w1", "travel_list", NOW, by=by, **given),
        "tick": lambda s, by: s.tick("w1", "kit", by=by, **given),
        "review c1": lambda s, by: s.review(roster, "c1", "acknowledged", by=by, **given),
        "review c2": lambda s, by: s.review(roster, "c2", "acknowledged", by=by, **given),
        "amend c1": lambda s, by: s.amend(roster, changed, season, clean_audit, reason="r", by=by, **given),
        "amend c2": lambda s, by: s.amend(
            roster, roster_plan(season, r1_c2_p2="a7"), season, clean_audit, reason="r", by=by, **given
        ),
        "withdraw": lambda s, by: s.withdraw(roster, reason="r", by=by, **given),
    }


MAY = {
    "save": {COACH, BOTH},
    "check_anew": {COACH, BOTH},
    "propose": {COACH, BOTH},
    "keep_pin": {COACH, BOTH},
    "lift_pin": {COACH, BOTH},
    "keep_drill": {COACH, BOTH},
    "set_deadline": {COACH, BOTH, DIRECTOR},
    "tick": {COACH, BOTH, DIRECTOR, CHIEF},
    "review c1": {CHIEF},
    "review c2": set(),
    "amend c1": {COACH, BOTH, DIRECTOR, CHIEF},
    "amend c2": {COACH, BOTH, DIRECTOR},
    "withdraw": {BOTH, DIRECTOR},
}
STRANGERS = (User("nobody@example.org", authenticated=True), User("coach@example.org"), User("director@example.org"))


@pytest.mark.parametrize("write", MAY)
def test_every_write_checks_the_role(staffed: Store, season: Season, write: str) -> None:
    number = staffed.save(roster_plan(season), season, reason="r", by=COACH, now=NOW).number
    for step in STEPS:
        sign_step(staffed, season, number, step, coach=COACH, signer=DIRECTOR)
    staffed.keep_pin(Pin("never", "a8", "r", race="r1"), by=COACH, now=NOW)
    call = every_write(season, number)[write]
    before = staffed.head()
    for user in (COACH, CHIEF, DIRECTOR, BOTH, READER, *STRANGERS):
        if user not in MAY[write]:
            with pytest.raises(NotAllowed):
                call(staffed, user)
            assert staffed.head() == before
    for user in sorted(MAY[write], key=lambda u: u.id)[:1]:
        call(staffed, user)
        assert staffed.head()[0] > before[0]


def test_the_signer_is_not_the_proposer(staffed: Store, season: Season) -> None:
    number = staffed.save(roster_plan(season), season, reason="r", by=COACH, now=NOW).number
    roster = Roster("w1", "travel_list", number)
    staffed.propose(roster, by=BOTH, now=NOW)
    every = acknowledge_all(staffed, roster, season)
    for user in (COACH, CHIEF, READER, *STRANGERS):
        with pytest.raises(NotAllowed):
            staffed.sign(roster, season, clean_audit, every, by=user, now=after(1))
    with pytest.raises(NotAllowed, match=r"both@example\.org made or proposed this roster: signing"):
        staffed.sign(roster, season, clean_audit, every, by=BOTH, now=after(1))
    staffed.sign(roster, season, clean_audit, every, by=DIRECTOR, now=after(1))
    stamp = staffed.paper("w1", "travel_list").stamp
    assert (stamp.signed_by, stamp.proposed_by, stamp.authenticated) == ("The director", "both@example.org", True)


def test_nor_does_anybody_ratify_his_own_amendment(staffed: Store, season: Season) -> None:
    number = staffed.save(roster_plan(season), season, reason="r", by=COACH, now=NOW).number
    for step in STEPS:
        sign_step(staffed, season, number, step, coach=COACH, signer=DIRECTOR)
    changed = roster_plan(season, r1_c1_p2="a7")
    in_force = Roster("w1", "starting_crews", number)
    amended = staffed.amend(in_force, changed, season, clean_audit, reason="r", by=DIRECTOR, now=after(9))
    roster = Roster("w1", "starting_crews", amended.number)
    every = acknowledge_all(staffed, roster, season)
    with pytest.raises(NotAllowed, match="ratifying it takes a second person"):
        staffed.ratify(roster, season, clean_audit, every, by=DIRECTOR, now=after(10))
    staffed.ratify(roster, season, clean_audit, every, by=BOTH, now=after(10))


def test_messages_say_what_is_missing(staffed: Store, season: Season) -> None:
    with pytest.raises(NotAllowed, match=r"keeping a revision needs the role coach; director@example\.org has signer"):
        staffed.save(roster_plan(season), season, reason="r", by=DIRECTOR, now=NOW)
    with pytest.raises(NotAllowed, match=r"coach@example.org is not logged in: the roles file asks for a log-in"):
        staffed.save(roster_plan(season), season, reason="r", by=User("coach@example.org"), now=NOW)
    with pytest.raises(NotAllowed, match="nobody is not in the roles file"):
        staffed.save(roster_plan(season), season, reason="r", by=User(""), now=NOW)
    number = staffed.save(roster_plan(season), season, reason="r", by=COACH, now=NOW).number
    staffed.propose(Roster("w1", "travel_list", number), by=COACH, now=NOW)
    with pytest.raises(NotAllowed, match=r"chief@example\.org is crew chief of c1, not of c2: reviewing"):
        staffed.review(Roster("w1", "travel_list", number), "c2", "acknowledged", by=CHIEF, now=NOW)


def test_without_log_in_names_are_taken_on_trust(place: str, season: Season, tmp_path: Path) -> None:
    path = tmp_path / "roles.toml"
    path.write_text(ROLES.replace("login = true", "login = false"))
    with open_store(place, read_people(path)) as store:
        kept = store.save(roster_plan(season), season, reason="r", by=User("COACH@example.org"), now=NOW)
        assert not kept.authenticated
