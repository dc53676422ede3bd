"""A season, a block of it, and what follows from both, each part computed once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

from lineup.errors import InputError, Report
from lineup.plan import Plan
from lineup.plan_file import read_plan
from lineup.price import Pricer
from lineup.problem import Problem, build
from lineup.read import read_season
from lineup.season import Season, WorkedDuty
from lineup.settings import Settings
from lineup.skills import SkillEstimates, estimate_skills
from lineup.stop_model.stops import StopModel, sample_stops
from lineup.suggest import did_you_mean


@dataclass(frozen=True, eq=False)
class Study:
    """A season, a block of it, and what follows from both: estimates, sampled stops, prices.

    Each part is computed once, when it is first asked for. A what-if is `with_season`: the same estimates and
    samples, other facts.

    Attributes
    ----------
    known_estimates, known_model : estimates and samples made before, to be taken instead of new ones.
    """

    season: Season
    weekends: tuple[str, ...]
    settings: Settings = field(default_factory=Settings)
    report: Report = field(default_factory=Report)
    known_estimates: SkillEstimates | None = None
    known_model: StopModel | None = None

    @cached_property
    def estimates(self) -> SkillEstimates:
        """Skill estimates from the graded stops."""
        return self.known_estimates or estimate_skills(self.season)

    @cached_property
    def model(self) -> StopModel:
        """Sampled stops of everyone who may fill a seat."""
        if self.known_model is not None:
            return self.known_model
        return sample_stops(self.season, self.estimates, self.settings.seed, self.settings.scenarios)

    @cached_property
    def pricer(self) -> Pricer:
        """The one evaluator of plans."""
        return Pricer(self.season, self.model, self.weekends, self.settings, self.estimates)

    @cached_property
    def problem(self) -> Problem:
        """The block as the optimiser sees it."""
        return build(self.season, self.model, self.weekends, self.settings, self.pricer)

    def with_season(self, season: Season) -> Study:
        """Return the same block under other facts; graded stops and choreographies must be the same."""
        return Study(season, self.weekends, self.settings, self.report, self.estimates, self.model)

    def read_plan(self, path: Path | str) -> Plan:
        """Read a plan file against this season."""
        return read_plan(path, self.season)


def open_study(
    path: Path | str,
    settings: Settings | None = None,
    first: str | None = None,
    last: str | None = None,
    after: Path | str | None = None,
) -> Study:
    """Read a season and choose the block to work on.

    Parameters
    ----------
    path : season folder or workbook.
    first, last : labels of the first and the last weekend; `None` means the season's own.
    after : an earlier plan file whose duties before the block become history.

    Raises
    ------
    InputError
        When the season is broken (`SeasonError`), a weekend is unknown or the block is empty.
    """
    season, report = read_season(path)
    weekends = choose_block(season, first, last)
    if after is not None:
        season = with_history(season, read_plan(after, season), weekends)
    return Study(season, weekends, settings or Settings(), report)


def choose_block(season: Season, first: str | None = None, last: str | None = None) -> tuple[str, ...]:
    """Return the consecutive weekend labels from first to last, both included."""
    known = season.weekends
    for label in (first, last):
        if label is not None and label not in known:
            raise InputError(f"weekend {label!r} is not in races.csv{did_you_mean(label, known)}")
    start = known.index(first) if first is not None else 0
    end = known.index(last) if last is not None else len(known) - 1
    if start > end:
        raise InputError(f"the block is empty: weekend {first!r} lies after {last!r}")
    return known[start : end + 1]


def with_history(season: Season, plan: Plan, weekends: Sequence[str]) -> Season:
    """Return the season in which the plan's duties before the block count as worked."""
    before = set(season.weekends[: season.weekends.index(weekends[0])]) if weekends else set()
    known = {(duty.athlete, duty.race) for duty in season.worked}
    duties = []
    for a in plan.assignments:
        race = season.races[a.race]
        if race.weekend in before and (a.athlete, a.race) not in known:
            duties.append(WorkedDuty(a.athlete, race.id, race.site, race.report, race.released, a.car, a.position))
    return season.replace(worked=(*season.worked, *duties))


def study_of(study: Study, plan: Plan) -> Study:
    """Return the study that a plan was made in: its weekends, and its seed, scenarios and tail where it states them."""
    settings = study.settings.replace(
        seed=study.settings.seed if plan.seed is None else plan.seed,
        scenarios=study.settings.scenarios if plan.scenarios is None else plan.scenarios,
        tail=study.settings.tail if plan.tail is None else plan.tail,
    )
    weekends = plan.weekends or study.weekends
    if (weekends, settings) == (study.weekends, study.settings):
        return study
    return replace(study, weekends=weekends, settings=settings, known_estimates=study.estimates, known_model=None)
