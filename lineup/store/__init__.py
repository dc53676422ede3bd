"""Revisions, differences and the sign-off of weekend rosters."""

from lineup.plan_changes import SeatChange
from lineup.store.changes import TripChange
from lineup.store.checklist import Checklist, Item
from lineup.store.difference import Difference, difference
from lineup.store.history import HistoryLine
from lineup.store.notes import Drill, KeptPin, Tick
from lineup.store.people import LOCAL, People, Person, User, read_people
from lineup.store.record import Record, Verification
from lineup.store.reminders import Reminder, Routine, read_routine
from lineup.store.revisions import Revision
from lineup.store.store import Store, default_store, open_store
from lineup.store.weekend import STEPS, Mark, Review, Roster, StepState, WeekendState

__all__ = [
    "LOCAL",
    "STEPS",
    "Checklist",
    "Difference",
    "Drill",
    "HistoryLine",
    "Item",
    "KeptPin",
    "Mark",
    "People",
    "Person",
    "Record",
    "Reminder",
    "Review",
    "Revision",
    "Roster",
    "Routine",
    "SeatChange",
    "StepState",
    "Store",
    "Tick",
    "TripChange",
    "User",
    "Verification",
    "WeekendState",
    "default_store",
    "difference",
    "open_store",
    "read_people",
    "read_routine",
]
