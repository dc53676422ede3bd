"""An athlete is out: the plan with the fewest changes, the best plan, and what lies between."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from lineup.eligibility import may_fill, shown_day
from lineup.errors import InputError
from lineup.explain import words
from lineup.explain.change import Lineup
from lineup.explain.clashes import find_clashes
from lineup.explain.swaps import ways_into
from lineup.explain.why_not import SeatChange, seat_changes
from lineup.optimize.solve import Outcome, Progress, solve
from lineup.plan import Assignment, Clash, Plan
from lineup.season import Absence, Pin, Season, Seat
from lineup.settings import Settings
from lineup.study import Study
from lineup.suggest import did_you_mean

CHANGE_BEYOND_ANY_GAIN_S = 10_000.0  # a price per changed seat that no gain of a block outweighs
CAUTION = (
    "This tool clears nobody to compete. Who is fit to return, to lift, to fuel or to go over the wall is for licensed "
    "practice and the sanctioning body to say; the season folder holds dates, never a diagnosis."
)
OnProgress = Callable[[Progress], None]
Stop = Callable[[], bool]


@dataclass(frozen=True, slots=True)
class Option:
    """One way to go on.

    Attributes
    ----------
    changes : seats that differ from the plan in force, those of the absent included.
    cost_s : weighted seconds that it costs more than the plan in force.
    status : whether it is proven to be what its label says, on the scenarios.
    touched : athletes whose duties change, the absent apart.
    """

    label: str
    assignments: tuple[Assignment, ...]
    changes: tuple[SeatChange, ...]
    cost_s: float
    status: str
    touched: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Replan:
    """What follows from absences: options by number of changes, or the clash when no plan is left."""

    absences: tuple[Absence, ...]
    lost: tuple[Seat, ...]
    options: tuple[Option, ...]
    clash: tuple[Clash, ...] = ()
    notes: tuple[str, ...] = ()
    caution: str = CAUTION


def absence_of(
    season: Season, weekends: Sequence[str], athlete: str, first: date | None = None, last: date | None = None
) -> Absence:
    """Return a new absence, checked: the athlete exists, the days touch the block, and nobody is out twice.

    Raises
    ------
    InputError
        When one of these does not hold.
    """
    if athlete not in season.athletes:
        raise InputError(f"athlete {athlete!r} is not in athletes.csv{did_you_mean(athlete, season.athletes)}")
    races = season.races_of(tuple(weekends))
    begins, ends = season.duty_days(races[0].id)[0], max(season.duty_days(race.id)[1] for race in races)
    start = first or begins
    if start > ends or (last is not None and last < begins):
        raise InputError(f"the absence lies outside the block, which runs from {begins} to {ends}")
    if last is not None and last < start:
        raise InputError(f"the absence ends ({last}) before it begins ({start})")
    for known in season.absences:
        covers_start = known.first_day <= start and (known.last_day is None or known.last_day >= start)
        if known.athlete == athlete and known.status == "out" and covers_start:
            until = "with no day of return" if known.last_day is None else f"until {shown_day(known.last_day)}"
            raise InputError(f"{season.label('athletes', athlete)} is out already, {until}")
    return Absence(athlete, start, last, "out", (), "other", "")


def replan(
    study: Study,
    plan: Plan,
    absences: Sequence[Absence],
    signed: Collection[str] = (),
    on_site: Collection[str] = (),
    settings: Settings | None = None,
    on_progress: OnProgress | None = None,
    stop: Stop | None = None,
) -> Replan:
    """Plan again around absences.

    Parameters
    ----------
    plan : the plan in force.
    signed : weekends that stay as they are, but for the seats of the absent; released only when no plan is left.
    on_site : races where only who is there already (starters and reserves of the plan) can step in.
    settings : effort of each solve; there are two to five.
    """
    absent = study.with_season(_limited_to_site(study.season, plan, on_site).with_absence(*absences))
    lost = tuple(a.seat for a in plan.assignments if not may_fill(absent.season, a.athlete, a.seat).allowed)
    if not lost:
        unchanged = Option("nothing changes", plan.assignments, (), 0.0, "proven", ())
        return Replan(tuple(absences), (), (unchanged,))
    effort = settings or Settings(time_s=10.0, workers=study.settings.workers, seed=study.settings.seed)
    run = _Run(study, absent, plan, lost, effort, on_progress, stop)
    frozen, notes = run.frozen(min(a.first_day for a in absences), signed), []
    fewest = run.solve(CHANGE_BEYOND_ANY_GAIN_S, frozen, run.patched())
    if fewest.value_s is None and signed:
        frozen = run.frozen(min(a.first_day for a in absences), ())
        fewest = run.solve(CHANGE_BEYOND_ANY_GAIN_S, frozen, run.patched())
        notes.append("No plan keeps the signed weekends as they are: they had to be opened.")
    if fewest.value_s is None:
        clash = find_clashes(absent) if fewest.status == "impossible" else ()
        text = "No plan exists without them." if clash else "No plan was found in the time given; give it more."
        return Replan(tuple(absences), lost, (), clash, (*notes, text))
    return Replan(tuple(absences), lost, run.options(fewest, frozen), (), tuple(notes))


def replan_to_dict(found: Replan) -> dict[str, Any]:
    """Return the JSON form of a re-plan."""
    return {
        "absences": [{**asdict(a), "kind": None} for a in found.absences],
        "lost": [asdict(seat) for seat in found.lost],
        "options": [
            {
                "label": o.label,
                "status": o.status,
                "cost_s": o.cost_s,
                "touched": list(o.touched),
                "changes": [{**asdict(c.seat), "before": c.before, "after": c.after} for c in o.changes],
            }
            for o in found.options
        ],
        "clash": [asdict(clash) for clash in found.clash],
        "notes": list(found.notes),
        "caution": found.caution,
    }


def option_text(season: Season, option: Option) -> str:
    """Say in one sentence what an option asks and costs."""
    count = len(option.changes)
    people = words.listing([words.name(season, a) for a in option.touched])
    more = "costs nothing" if abs(option.cost_s) < 0.005 else (
        f"{'costs' if option.cost_s > 0 else 'saves'} {words.seconds(option.cost_s)} of weighted time"
    )  # fmt: skip
    return f"{option.label.capitalize()}: {count} seat{'s' * (count != 1)} change hands, {people} take part; it {more}."


@dataclass
class _Run:
    study: Study
    absent: Study
    plan: Plan
    lost: tuple[Seat, ...]
    effort: Settings
    on_progress: OnProgress | None
    stop: Stop | None

    def frozen(self, first: date, signed: Collection[str]) -> frozenset[Seat]:
        """Seats that stay: races before the absence, and signed weekends but for the seats that were lost."""
        season = self.study.season
        races = season.races_of(self.study.weekends)
        kept = [r.id for r in races if season.duty_days(r.id)[1] < first or r.weekend in signed]
        return frozenset(
            seat for race in kept for car in season.cars_in[race] for seat in season.seats(race, car)
        ) - frozenset(self.lost)

    def patched(self) -> tuple[Assignment, ...] | None:
        """Fill each lost seat the cheapest legal way, one after the other; None where one has no such way."""
        left = tuple(a for a in self.plan.assignments if a.seat not in self.lost)
        for seat in self.lost:
            lineup = Lineup(self.absent.pricer, self.plan.replace(assignments=left))
            ways = [lineup.change(moves) for found in ways_into(self.absent, lineup, seat).values() for moves in found]
            legal = [change for change in ways if not change.breaches]
            if not legal:
                return None
            left = lineup.assignments(max(legal, key=lambda c: (-len(c.moves), c.gain_s)).after)
        return left

    def solve(self, change_s: float, frozen: frozenset[Seat], start: Sequence[Assignment] | None) -> Outcome:
        problem = self.absent.problem.near(self.plan.assignments, change_s, frozen)
        return solve(problem, self.effort, on_progress=self.on_progress, stop=self.stop, start=start)

    def options(self, fewest: Outcome, frozen: frozenset[Seat]) -> tuple[Option, ...]:
        """Fewest changes, best plan, and up to two between that neither beats on both counts."""
        found = [self.option("fewest changes", fewest)]
        best = self.option("best plan", self.solve(0.0, frozen, fewest.assignments))
        saved, more = found[0].cost_s - best.cost_s, len(best.changes) - len(found[0].changes)
        if more > 0 and saved > 0:
            for price_s in (2 * saved / more, saved / more / 2):
                between = self.solve(price_s, frozen, fewest.assignments)
                if between.value_s is not None:
                    found.append(self.option("between", between))
            found.append(best)
        return _not_beaten(found)

    def option(self, label: str, outcome: Outcome) -> Option:
        changes = seat_changes(self.plan.assignments, outcome.assignments)
        cost = self.absent.pricer.value(outcome.assignments) - self.study.pricer.value(self.plan.assignments)
        out = {a.athlete for a in self.plan.assignments if a.seat in self.lost}
        moved = {a for c in changes for a in (c.before, c.after) if a is not None and a not in out}
        return Option(label, outcome.assignments, changes, cost, outcome.status, tuple(sorted(moved)))


def _not_beaten(options: list[Option]) -> tuple[Option, ...]:
    kept: list[Option] = []
    for option in sorted(options, key=lambda o: (len(o.changes), o.cost_s)):
        if not kept or option.cost_s < kept[-1].cost_s - 1e-9:
            kept.append(option)
    return tuple(kept)


def _limited_to_site(season: Season, plan: Plan, races: Collection[str]) -> Season:
    """Keep everyone who is not at these races already away from their seats."""
    pins = []
    for race in races:
        there = {a.athlete for a in plan.assignments if a.race == race}
        there |= {r.athlete for r in plan.reserves if r.race == race}
        pins += [Pin("never", a, "not on site", None, race) for a in season.athletes if a not in there]
    return season.with_pin(*pins)
