"""An athlete is out: the plan with the fewest changes, the best plan, and what lies between."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from typing import Any

from lineup.eligibility import may_fill
from lineup.explain import words
from lineup.explain.absences import Return, lapsed_text, on_others, without_lapsed
from lineup.explain.clashes import find_clashes
from lineup.explain.patch import patched
from lineup.optimize.run import OnProgress, Stop
from lineup.optimize.solve import Outcome, solve
from lineup.plan import Assignment, Clash, Plan
from lineup.plan_changes import SeatChange, change_to_dict, seat_changes
from lineup.season import Absence, Pin, Season, Seat
from lineup.settings import Settings
from lineup.study import Study

CHANGE_BEYOND_ANY_GAIN_S = 10_000.0  # a price per changed seat that no gain of a block outweighs
CAUTION = (
    "This tool clears nobody to compete. Who is fit to return, to lift, to fuel or to go over the wall is for licensed "
    "practice and the sanctioning body to say; the season folder holds dates, never a diagnosis."
)
NOT_THERE = "not at the track; would have to travel there"


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
    """What follows from absences: options by number of changes, or the clash when no plan is left.

    Attributes
    ----------
    absences : days without a start, those of returns included.
    returns : ramps by the coach's dates.
    lost : seats of the plan in force that their athletes cannot take.
    notes : what the reader must know: weekends that had to be opened, pins that cannot be kept, reserves lost.
    """

    absences: tuple[Absence, ...]
    lost: tuple[Seat, ...]
    options: tuple[Option, ...]
    clash: tuple[Clash, ...] = ()
    notes: tuple[str, ...] = ()
    returns: tuple[Return, ...] = ()
    caution: str = CAUTION

    @property
    def to_enter(self) -> tuple[Absence, ...]:
        """The absences as availability.csv can hold them: who returns step by step is out until he may cover."""
        returning = {back.no_start for back in self.returns}
        return (*(a for a in self.absences if a not in returning), *(back.no_cover for back in self.returns))


def replan(
    study: Study,
    plan: Plan,
    absences: Sequence[Absence],
    signed: Collection[str] = (),
    on_site: Collection[str] = (),
    returns: Sequence[Return] = (),
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
    returns : athletes who come back step by step, by the coach's dates; out until their start date.
    settings : effort of each solve; there are two to five.
    """
    out = (*absences, *(back.no_start for back in returns))
    season, lapsed = without_lapsed(study.season, study.weekends, out)
    absent = study.with_season(_limited_to_site(season, plan, on_site))
    lost = tuple(a.seat for a in plan.assignments if not may_fill(absent.season, a.athlete, a.seat).allowed)
    notes = [lapsed_text(study.season, pin) for pin in lapsed] + [back.text(study.season) for back in returns]
    notes += list(on_others(study.season, plan, lost, out))
    if not lost:
        unchanged = Option("nothing changes", plan.assignments, (), 0.0, "proven", ())
        return Replan(out, (), (unchanged,), (), tuple(notes), tuple(returns))
    effort = settings or study.settings.replace(time_s=10.0, work=None)
    run = _Run(study, absent, plan, lost, effort, on_progress, stop)
    frozen = run.frozen(min(a.first_day for a in out), signed)
    fewest = run.fewest(frozen)
    if fewest.value_s is None and signed:
        frozen = run.frozen(min(a.first_day for a in out), ())
        fewest = run.fewest(frozen)
        notes.append("No plan keeps the signed weekends as they are: they had to be opened.")
    if fewest.value_s is None:
        clash = find_clashes(absent) if fewest.status == "impossible" else ()
        notes.append("No plan exists without them." if clash else "No plan was found in the time given; give it more.")
        return Replan(out, lost, (), clash, tuple(notes), tuple(returns))
    return Replan(out, lost, run.options(fewest, frozen), (), tuple(notes), tuple(returns))


def season_after(study: Study, found: Replan) -> Season:
    """Return the season for choosing reserves and for the audit of an option.

    Who returns step by step counts as out only until he may cover: the options themselves keep him from starting.
    Pins that cannot be kept are left out.
    """
    season, _ = without_lapsed(study.season, study.weekends, found.absences)
    return season.replace(absences=(*study.season.absences, *found.to_enter))


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
                "changes": [change_to_dict(change) for change in o.changes],
            }
            for o in found.options
        ],
        "clash": [asdict(clash) for clash in found.clash],
        "notes": list(found.notes),
        "returns": [asdict(back) for back in found.returns],
        "caution": found.caution,
    }


def option_text(season: Season, option: Option) -> str:
    """Say in one sentence what an option asks and costs."""
    told = words.changed(season, option.changes)
    hands = f"{words.hands(len(option.changes))}: {told}" if option.changes else "no seat changes"
    people = f"; {words.count(len(option.touched), 'other athlete')} involved" if option.touched else ""
    return f"{option.label.capitalize()}: {hands}{people}; it {words.costs(option.cost_s)}."


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

    def fewest(self, frozen: frozenset[Seat]) -> Outcome:
        """Fewest changes, then least cost: the tolerance is that of the plan's own value, not of the prices on top."""
        own = abs(self.study.pricer.value(self.plan.assignments))
        share = own / (own + CHANGE_BEYOND_ANY_GAIN_S * (len(self.lost) + 1))
        start = patched(self.absent, self.plan, self.lost, frozen=frozen)
        return self.solve(CHANGE_BEYOND_ANY_GAIN_S, frozen, start, self.effort.tolerance * share)

    def solve(
        self,
        change_s: float,
        frozen: frozenset[Seat],
        start: Sequence[Assignment] | None,
        tolerance: float | None = None,
    ) -> Outcome:
        problem = self.absent.problem.near(self.plan.assignments, change_s, frozen)
        effort = self.effort if tolerance is None else self.effort.replace(tolerance=tolerance)
        return solve(problem, effort, on_progress=self.on_progress, stop=self.stop, start=start)

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
        changes = seat_changes(self.plan, self.plan.replace(assignments=outcome.assignments))
        cost = self.absent.pricer.value(outcome.assignments) - self.study.pricer.value(self.plan.assignments)
        out = {a.athlete for a in self.plan.assignments if a.seat in self.lost}
        moved = {a for c in changes for a in (c.before, c.after) if a is not None and a not in out}
        return Option(label, outcome.assignments, changes, cost, outcome.status, tuple(sorted(moved)))


def _not_beaten(options: list[Option]) -> tuple[Option, ...]:
    kept: list[Option] = []
    for option in sorted(options, key=lambda o: (len(o.changes), o.cost_s)):
        if not kept or option.cost_s < kept[-1].cost_s - 1e-9:
            kept.append(option)
    last = "best plan" if len(kept) > 1 else "fewest changes, and the best plan"
    return (*kept[:-1], replace(kept[-1], label=last))


def _limited_to_site(season: Season, plan: Plan, races: Collection[str]) -> Season:
    """Keep everyone who is not at these races already away from their seats."""
    pins = []
    for race in races:
        there = {a.athlete for a in plan.assignments if a.race == race}
        there |= {r.athlete for r in plan.reserves if r.race == race}
        pins += [Pin("never", a, NOT_THERE, None, race) for a in season.athletes if a not in there]
    return season.with_pin(*pins)
