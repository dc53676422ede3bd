"""What practice would bring: for each athlete and each crew of a plan, what to work on first."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from lineup.choreography import exists
from lineup.plan import Plan
from lineup.season import Season, Task
from lineup.skills import SkillEstimates
from lineup.stop_model.bank import ServiceBank
from lineup.stop_model.sampling import Points, Sampler, sobol_points
from lineup.stop_model.stops import StopModel

Floats = NDArray[np.float64]
Kind = Literal["miss", "after_miss", "extra_movement", "pace"]

QUICKER = 0.01  # share of a clean time; seconds for tasks that may begin early
LEAST_S = 0.0005  # per stop; with the next line, less than both is not worth a practice
LEAST_PENALTY_S = 0.1  # over the block
CAUTION = (
    "Clean before quick: after a slip, chasing the lost time makes it worse. Lifting, jacking and fueling can hurt: "
    "drill them rested, warmed up and at a weight and pace your coach allows, under the sanctioning body's rules, "
    "local codes and licensed practice. This list clears nobody to train or compete after an injury."
)


@dataclass(frozen=True, slots=True)
class Priority:
    """One thing to practise, and what it would bring to the stops this athlete is planned for.

    Attributes
    ----------
    car : the crew it is counted for; empty: all of them.
    kind : "miss": half as many of one miss; "after_miss": half of the pace lost after any miss; "extra_movement":
        times above the athlete's own median brought halfway to it; "pace": every time one percent quicker, or a
        hundredth of a second for tasks that may begin early.
    what : the miss or the split; empty for "after_miss".
    per_stop_s : seconds saved in an average stop of those planned.
    block_s : seconds saved over all of them.
    penalty_s : penalty seconds saved over all of them.
    """

    athlete: str
    position: str
    car: str
    kind: Kind
    what: str
    per_stop_s: float
    block_s: float
    penalty_s: float
    text: str

    @property
    def worth_it(self) -> bool:
        """Whether it brings enough to be told."""
        return self.per_stop_s >= LEAST_S or self.penalty_s >= LEAST_PENALTY_S


@dataclass(frozen=True)
class PracticePlan:
    """What to practise, most important first: by athlete, and by car for the crew as a whole.

    Misses, pace after them and extra movement come before raw pace; within each, by seconds over the block.
    """

    athletes: Mapping[str, tuple[Priority, ...]]
    crews: Mapping[str, tuple[Priority, ...]]
    caution: str = CAUTION


@dataclass(frozen=True, slots=True)
class _Idea:
    """A change of one athlete's skill in one position: the sampler in which it has come true."""

    kind: Kind
    what: str
    sampler: Sampler
    penalty_s: float = 0.0


_Key = tuple[str, str, str, Kind, str]  # athlete, position, car ("": all), kind, what
_Gains = Mapping[tuple[Kind, str], tuple[float, float]]  # seconds and penalty seconds saved in one stop


def practice_priorities(season: Season, model: StopModel, estimates: SkillEstimates, plan: Plan) -> PracticePlan:
    """Say what each athlete and each crew of a plan should practise, and what it would bring.

    Each idea is tried on the same sampled stops as the plan, everybody else staying as they are, so the seconds are
    exact on those stops; those of several ideas add up only roughly.
    """
    trials = _Trials(season, model, estimates)
    saved: dict[_Key, Floats] = defaultdict(lambda: np.zeros(2))
    stops: dict[tuple[str, str, str], float] = defaultdict(float)
    for entry in dict.fromkeys(a.seat.entry for a in plan.assignments):
        crew = plan.crew(entry.race, entry.car)
        for service, count in season.service_counts.get(entry.race, {}).items():
            bank = model.banks[service, season.races[entry.race].tire]
            for position in (p for p in bank.positions if p in crew):
                for car in (entry.car, ""):
                    stops[crew[position], position, car] += count
                    for idea, gains in trials.gains(bank, crew, position).items():
                        saved[crew[position], position, car, *idea] += count * np.array(gains)
    words = _Words(season, estimates)
    found = [words.priority(key, gains, stops[key[:3]]) for key, gains in saved.items()]
    ranked = sorted((p for p in found if p.worth_it), key=lambda p: (p.kind == "pace", -p.block_s - p.penalty_s))
    athletes, crews = dict.fromkeys(p.athlete for p in ranked), dict.fromkeys(p.car for p in ranked if p.car)
    return PracticePlan(
        athletes={name: tuple(p for p in ranked if p.athlete == name and not p.car) for name in sorted(athletes)},
        crews={car: tuple(p for p in ranked if p.car == car) for car in sorted(crews)},
    )


class _Trials:
    """Tries ideas on the sampled stops, each crew's once."""

    def __init__(self, season: Season, model: StopModel, estimates: SkillEstimates) -> None:
        self._season = season
        self._estimates = estimates
        self._model = model
        self._points: dict[str, Points] = {}
        self._known: dict[tuple[str, str, str, frozenset[tuple[str, str]]], _Gains] = {}

    def gains(self, bank: ServiceBank, crew: Mapping[str, str], position: str) -> _Gains:
        """Mean seconds and penalty seconds that each idea saves in one stop."""
        own = {p: crew[p] for p in bank.positions if p in crew}
        key = (bank.service, bank.tire, position, frozenset(own.items()))
        if key not in self._known:
            self._known[key] = self._try_out(bank, own, position)
        return self._known[key]

    def _try_out(self, bank: ServiceBank, crew: Mapping[str, str], position: str) -> _Gains:
        empty = frozenset(p for p in bank.positions if p not in crew)
        tasks = [t for t in bank.choreography.tasks if t.position == position]
        ideas = list(self._ideas(bank, [t for t in tasks if exists(t, empty)], crew[position], position))
        if not ideas:
            return {}
        row = bank.crew_row(crew)
        rows = [idea.sampler.draw(position, [crew[position]]).seconds[0] for idea in ideas]
        means = bank.with_durations(row, position, np.array(rows)).mean(axis=1)
        saved = bank.stop_times(row).mean() - means
        return {(i.kind, i.what): (float(s), i.penalty_s) for i, s in zip(ideas, saved, strict=True)}

    def _ideas(self, bank: ServiceBank, tasks: list[Task], athlete: str, position: str) -> Iterator[_Idea]:
        """Every idea for one athlete's existing tasks."""
        known = self._estimates
        sampler = Sampler(bank.choreography, known, bank.tire, self._points_of(bank))
        for miss in dict.fromkeys(miss for task in tasks for miss in task.misses):
            key = (athlete, position, miss)
            rarer = replace(known.misses[key], rate=known.misses[key].rate / 2, beta=known.misses[key].beta * 2)
            chances = sum(task.misses.count(miss) for task in tasks)
            penalty = chances * rarer.rate * self._season.misses[miss].penalty_s
            yield _Idea("miss", miss, _with(sampler, misses={**known.misses, key: rarer}), penalty)
        pace = known.pace.get(athlete, 1.0)
        if pace > 1.0 and any(task.misses for task in tasks):
            yield _Idea("after_miss", "", _with(sampler, pace={**known.pace, athlete: (1.0 + pace) / 2}))
        for split in dict.fromkeys(task.split for task in tasks):
            key = (athlete, position, split)
            luck = {task.id: sampler.points.day[task.id] for task in tasks if task.split == split}
            day = {**sampler.points.day, **{task: np.minimum(z, z / 2) for task, z in luck.items()}}
            steadier = replace(sampler.points, day=day)
            yield _Idea("extra_movement", split, replace(sampler, points=steadier))
            step = np.log1p(-QUICKER) if known.splits[key].scale == "log" else -QUICKER
            quicker = replace(known.splits[key], mean=known.splits[key].mean + float(step))
            yield _Idea("pace", split, _with(sampler, splits={**known.splits, key: quicker}))

    def _points_of(self, bank: ServiceBank) -> Points:
        if bank.service not in self._points:
            self._points[bank.service] = sobol_points(bank.choreography, self._model.seed, self._model.scenarios)
        return self._points[bank.service]


def _with(sampler: Sampler, **changes: Any) -> Sampler:
    """Return the sampler under changed estimates."""
    return replace(sampler, estimates=replace(sampler.estimates, **changes))


class _Words:
    """Puts what was found into sentences."""

    def __init__(self, season: Season, estimates: SkillEstimates) -> None:
        self._season = season
        self._estimates = estimates
        self._split_names: dict[tuple[str, str], str] = {}
        for choreography in season.choreographies.values():
            for task in choreography.tasks:
                self._split_names.setdefault((task.position or "", task.split), task.name)

    def priority(self, key: _Key, gains: Floats, stops: float) -> Priority:
        athlete, position, car, kind, what = key
        block_s, penalty_s = gains.tolist()
        per_stop_s = block_s / stops if stops else 0.0
        brings = []
        if per_stop_s >= LEAST_S:
            brings.append(f"{per_stop_s:.3f} s a stop, {block_s:.1f} s over the block")
        if penalty_s >= LEAST_PENALTY_S:
            brings.append(f"{penalty_s:.1f} s of penalties over the block")
        text = f"{self._idea(athlete, position, kind, what)}: saves {' and '.join(brings)}."
        return Priority(athlete, position, car, kind, what, per_stop_s, block_s, penalty_s, text)

    def _idea(self, athlete: str, position: str, kind: Kind, what: str) -> str:
        if kind == "miss":
            rate = 100 * self._estimates.misses[athlete, position, what].rate
            return f"Half as many of “{self._season.misses[what].name}” (now {rate:.2g} in 100 tries)"
        if kind == "after_miss":
            return f"Back to own pace after a miss, half of the {self._estimates.pace[athlete] - 1:.1%} now lost"
        estimate = self._estimates.splits[athlete, position, what]
        name = f"“{self._split_names[position, what]}” (typically {estimate.median_s:.2f} s)"
        if kind == "extra_movement":
            return f"No extra steps or second tries in {name}, half of what slower times take beyond it"
        return f"{name} {'one percent' if estimate.scale == 'log' else 'a hundredth of a second'} quicker"
