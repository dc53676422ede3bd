"""Who should learn what: the clearances that would make absences cheaper, each per hour of practice it would take."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from typing import Any

from lineup.eligibility import may_fill
from lineup.explain import words
from lineup.optimize.cover_ways import OnSite
from lineup.optimize.run import Stop
from lineup.plan import Plan
from lineup.price import Pricer
from lineup.season import Clearance, Season
from lineup.skills import SkillEstimates, estimate_skills
from lineup.stop_model.stops import sample_stops
from lineup.study import Study

HOURS = 40.0  # of practice until somebody new to a position is cleared: an assumption, for the coach to replace
HOURS_IN_TRAINING = 20.0  # for somebody already in training
LEAST_S = 0.001


@dataclass(frozen=True, slots=True)
class CrossTraining:
    """One clearance and what it would save.

    Attributes
    ----------
    saves_s : weighted seconds that the expected cost of absences falls by, over the block.
    hours : practice hours assumed until the athlete is cleared.
    graded : whether he has been graded in the position; if not he is taken as what its pool suggests.
    """

    athlete: str
    position: str
    saves_s: float
    hours: float
    graded: bool
    text: str

    @property
    def per_hour_s(self) -> float:
        """Weighted seconds saved per practice hour."""
        return self.saves_s / self.hours


def cross_training(
    study: Study,
    plan: Plan,
    hours: Mapping[str, float] | float = HOURS,
    hours_in_training: Mapping[str, float] | float = HOURS_IN_TRAINING,
    most: int = 10,
    stop: Stop | None = None,
) -> tuple[CrossTraining, ...]:
    """Find the clearances that lower the expected cost of absences most per practice hour, best first.

    The expected cost is the season's chance of an absence times the cheapest cover of every filled seat, with those
    who are on site in the plan, reserves included. It is worked out anew, exactly on the samples, with each clearance
    that somebody on site lacks. Practice is taken to bring the graded stops that a starter needs (`recent_grades`).

    Parameters
    ----------
    hours : practice hours until a clearance, for every position or by position: an assumption.
    hours_in_training : the same for those already in training there.
    """
    trial = _Trial.of(study, plan)
    found = []
    for athlete, position in trial.missing:
        if stop is not None and stop():
            break
        saved = trial.saved_s(athlete, position)
        if saved >= LEAST_S:
            level = _in_training(study.season, athlete, position)
            needed = _hours(hours_in_training if level else hours, position, HOURS_IN_TRAINING if level else HOURS)
            found.append(_advice(study, trial.estimates, athlete, position, saved, needed))
    return tuple(sorted(found, key=lambda advice: (-advice.per_hour_s, advice.athlete, advice.position))[:most])


def advice_to_dict(advice: CrossTraining) -> dict[str, Any]:
    """Return the JSON form of one piece of advice."""
    return {**asdict(advice), "per_hour_s": advice.per_hour_s}


def _hours(given: Mapping[str, float] | float, position: str, default: float) -> float:
    return given.get(position, default) if isinstance(given, Mapping) else given


def _in_training(season: Season, athlete: str, position: str) -> bool:
    return any((c.athlete, c.position, c.level) == (athlete, position, "training") for c in season.clearances)


def _advice(
    study: Study, estimates: SkillEstimates, athlete: str, position: str, saves_s: float, hours: float
) -> CrossTraining:
    season = study.season
    graded = any(e.grades > 0 for (a, p, _), e in estimates.splits.items() if (a, p) == (athlete, position))
    doubt = "" if graded else "; never graded there, taken as the position's pool suggests"
    text = (
        f"Clear {words.name(season, athlete)} for {words.position(season, position)}: absences are expected to cost "
        f"{words.seconds(saves_s)} less over the block, {saves_s / hours:.4f} s for each of the {hours:g} hours of "
        f"practice assumed{doubt}."
    )
    return CrossTraining(athlete, position, saves_s, hours, graded, text)


@dataclass(eq=False)
class _Trial:
    """The plan's races on the day, with samples also for those who are not cleared yet."""

    study: Study
    plan: Plan
    estimates: SkillEstimates
    now: OnSite
    missing: tuple[tuple[str, str], ...]
    able: Season  # in which practice has brought the graded stops that are asked of a starter

    @classmethod
    def of(cls, study: Study, plan: Plan) -> _Trial:
        season, limits = study.season, study.season.limits
        there = {a.athlete for a in plan.assignments} | {r.athlete for r in plan.reserves}
        cleared = {(c.athlete, c.position) for c in season.clearances if c.level == "cleared"}
        pairs = ((a, p) for a in season.athletes if a in there for p in season.positions)
        missing = tuple(pair for pair in pairs if pair not in cleared)
        anyone = season.with_clearance(*(Clearance(a, p, "training") for a, p in missing))
        estimates = estimate_skills(anyone)
        model = sample_stops(anyone, estimates, study.settings.seed, study.settings.scenarios, study.weekends)
        pricer = Pricer(season, model, study.weekends, study.settings, estimates)
        kept = {name: limit for name, limit in limits.by_name.items() if name != "recent_grades"}
        return cls(
            study, plan, estimates, OnSite(pricer, plan), missing, season.replace(limits=replace(limits, by_name=kept))
        )

    @cached_property
    def now_s(self) -> Mapping[str, float]:
        """Expected cost of absences in each race as things are, weighted seconds."""
        return {race: self.expected_s(self.now, race) for race in self.now.races}

    def expected_s(self, site: OnSite, race: str) -> float:
        """Return the expected cost of absences in one race, weighted seconds."""
        sent = tuple(r.athlete for r in self.plan.reserves if r.race == race)
        ways = (site.ways(seat, sent).values() for seat in site.filled(race))
        return self.study.season.weights.absence_chance * sum(min(way.cost_s for way in each) for each in ways)

    def saved_s(self, athlete: str, position: str) -> float:
        """Weighted seconds that one clearance saves: in races where the athlete is on site, elsewhere nothing."""
        races = [race for race in self.now.races if self._there(athlete, race)]
        before = sum(self.now_s[race] for race in races)
        season = self.able.with_clearance(Clearance(athlete, position, "cleared"))
        seats = (seat for race in races for seat in self.now.filled(race) if seat.position == position)
        may = {(athlete, seat): may_fill(season, athlete, seat).allowed for seat in seats}
        if not any(may.values()):
            return 0.0
        # what is known of everybody else and of all crews' costs stays true: only these answers are new
        site = self.now.if_may(may)
        return before - sum(self.expected_s(site, race) for race in races)

    def _there(self, athlete: str, race: str) -> bool:
        sent = (r.athlete for r in self.plan.reserves if r.race == race)
        return athlete in self.now.seat_in[race] or athlete in sent or athlete in self.now.around(race)
