"""The cost of a plan, worked out once more: one crew and one service at a time, task by task."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lineup.audit.diary import HOUR
from lineup.audit.records import Check
from lineup.audit.scene import Scene
from lineup.season import Entry, Seat, WorkedDuty
from lineup.skills import SkillEstimates, estimate_skills, own_seconds
from lineup.stop_model.stops import ServiceBank, StopModel

Floats = NDArray[np.float64]
Crew = Mapping[str, str]


def stop_seconds(bank: ServiceBank, crew: Crew) -> Floats:
    """Stop time of one crew in every scenario, walked back from the tasks that let the car go; shape (scenarios,)."""
    tasks = {task.id: task for task in bank.choreography.tasks}
    ranks: dict[str, int] = {}
    seen: dict[str | None, int] = {}
    for task in bank.choreography.tasks:
        ranks[task.id] = seen.get(task.position, 0)
        seen[task.position] = ranks[task.id] + 1
    done: dict[str, Floats] = {}

    def own(name: str) -> Floats | float:
        task = tasks[name]
        needs = [position for position in (task.position, task.only_with) if position is not None]
        if any(position not in crew for position in needs) or task.only_without in crew:
            return 0.0
        if task.position is None:
            times: Floats = bank.car[ranks[name]]
        else:
            row = list(bank.athletes[task.position]).index(crew[task.position])
            times = bank.durations[task.position][row, ranks[name]]
        return times

    def finish(name: str) -> Floats:
        if name not in done:
            start = np.full(bank.scenarios, -math.inf)
            for earlier in tasks[name].after:
                start = np.maximum(start, finish(earlier))
            done[name] = (start if tasks[name].after else 0.0) + own(name) + np.zeros(bank.scenarios)
        return done[name]

    return np.asarray(np.max([finish(task.id) for task in tasks.values() if task.release], axis=0))


def blended_s(times: Floats, tail: float, tail_share: float) -> float:
    """Blend the mean with the mean of the worst share, whose last scenario counts in part."""
    worst = sorted(times.tolist(), reverse=True)
    count = tail_share * len(worst)
    whole = math.floor(count)
    total = math.fsum(worst[:whole]) + (count - whole) * math.fsum(worst[whole : whole + 1])
    return (1 - tail) * math.fsum(worst) / len(worst) + tail * total / count


class Money:
    """Prices one plan. Limits that are priced are counted by the checks and handed in."""

    def __init__(self, scene: Scene, model: StopModel, tail: float, estimates: SkillEstimates | None) -> None:
        self.scene = scene
        self.season = scene.season
        self.model = model
        self.tail = tail
        self._given = estimates
        self._times: dict[tuple[str, str, frozenset[tuple[str, str]]], Floats] = {}

    @cached_property
    def _estimates(self) -> SkillEstimates:
        return self._given if self._given is not None else estimate_skills(self.season)

    def factor(self, car: str) -> float:
        """Priority of a car over the mean of all cars."""
        every = [c.priority for c in self.season.cars.values()]
        return self.season.cars[car].priority * len(every) / math.fsum(every)

    def banks(self, race: str) -> list[tuple[ServiceBank, float]]:
        """Return the sampled stops of each service of a race, with the expected count."""
        counts, tire = self.season.service_counts[race], self.season.races[race].tire
        return [(self.model.banks[service, tire], count) for service, count in counts.items()]

    def costs(self, checks: Iterable[Check]) -> dict[str, float]:
        """Cost items in seconds, zeros left out except that of the stops."""
        weights, athletes = self.season.weights, self.season.athletes
        everyone = [(seat, who) for (who, _), seats in self.scene.seats_of.items() for seat in seats]
        items = {
            "stops": math.fsum(self.entry_s(entry, crew) for entry, crew in self.scene.crews.items()),
            "penalties": math.fsum(self._penalty_s(seat, who) for seat, who in everyone),
            "crew_changes": weights.crew_change_s * self._changes(),
            "not_standing": weights.not_standing_s
            * sum(self._stands_in(seat, who) is not None for seat, who in everyone),
            "unsure_changes": math.fsum(self._unsure_s(seat, who) for seat, who in everyone),
            "travel": weights.travel_hour_s * self._travelled_h(),
            "uneven": weights.uneven_s * self._away() if weights.uneven_s else 0.0,
            "development": -weights.development_start_s
            * sum(athletes[who].group == "developing" for _, who in everyone),
        }
        items |= {f"limit:{check.rule}": check.cost_s for check in checks if check.priced and check.rule != "cover"}
        return {name: seconds for name, seconds in items.items() if seconds or name == "stops"}

    def _stop(self, bank: ServiceBank, crew: Crew) -> Floats:
        """Return stop times of a crew; the same crew in the same service is worked out once."""
        key = (bank.service, bank.tire, frozenset((p, who) for p, who in crew.items() if p in bank.positions))
        if key not in self._times:
            self._times[key] = stop_seconds(bank, crew)
        return self._times[key]

    def entry_s(self, entry: Entry, crew: Crew) -> float:
        """Stop cost of one entry."""
        share = self.season.weights.tail_share
        parts = (count * blended_s(self._stop(bank, crew), self.tail, share) for bank, count in self.banks(entry.race))
        return self.factor(entry.car) * math.fsum(parts)

    def slowest_s(self, entry: Entry, crew: Crew) -> float:
        """Mean stop of the slowest service of one entry."""
        return max(float(np.mean(self._stop(bank, crew))) for bank, _ in self.banks(entry.race))

    def forecastable(self) -> bool:
        """Whether everyone has sampled stops in his seat."""
        return all(
            crew[position] in bank.athletes[position]
            for entry, crew in self.scene.crews.items()
            for bank, _ in self.banks(entry.race)
            for position in bank.positions
            if position in crew
        )

    def _penalty_s(self, seat: Seat, who: str) -> float:
        return self.factor(seat.car) * math.fsum(
            count * float(bank.penalty_s[seat.position][list(bank.athletes[seat.position]).index(who)])
            for bank, count in self.banks(seat.race)
            if seat.position in bank.positions
        )

    def _stands_in(self, seat: Seat, who: str) -> str | None:
        """Standing athlete of a seat whom somebody else replaces, or None."""
        standing = self.season.standing.get((seat.car, seat.position))
        return None if standing == who else standing

    def _changes(self) -> int:
        """Follow each car from race to race, starting with its last one in worked.csv."""
        count = 0
        for car in self.season.cars:
            held = self._before(car)
            for race in self.scene.races:
                if car in self.season.cars_in[race]:
                    crew = self.scene.crews.get(Entry(race, car), {})
                    count += sum(held.get(position, who) != who for position, who in crew.items())
                    held = dict(crew)
        return count

    def _before(self, car: str) -> dict[str, str]:
        starts = [race.report for race in self.scene.races.values()]
        rows: list[WorkedDuty] = [
            row
            for row in self.season.worked
            if row.car == car and row.race not in self.scene.races and (not starts or row.report < min(starts))
        ]
        rows.sort(key=lambda row: row.report)
        return {row.position: row.athlete for row in rows if row.position and row.race == rows[-1].race}

    def _travelled_h(self) -> float:
        """Hours of travel of starters for the block, trips as a reserve left out."""
        return math.fsum(
            (stay.way_in + stay.way_out) / HOUR
            for athlete in self.scene.busy_athletes()
            for stay in self.scene.diary(athlete, with_trips=False).stays
            if stay.planned
        )

    def _away(self) -> float:
        """Count starts away from an even share, over all who may start in the block or do."""
        seats = self.scene.seats
        able = self.scene.able
        share = len(seats) / len(able) if able else 0.0
        starts = {athlete: len(races) for athlete, races in self.scene.worked.items()}
        return math.fsum(abs(starts[a] - share) for a in self.season.athletes if a in able or starts[a])

    # ------------------------------------------------------------------------------- changes that may not be real

    def _unsure_s(self, seat: Seat, who: str) -> float:
        """Gain over the standing athlete that is taken back, because it may well not be real."""
        standing, keep = self._stands_in(seat, who), self.season.weights.keep_chance
        if standing is None or keep <= 0:
            return 0.0
        share = self.season.weights.tail_share
        gain = 0.0
        for bank, count in self.banks(seat.race):
            if seat.position not in bank.positions or standing not in bank.athletes[seat.position]:
                continue
            with_standing, with_other = (
                blended_s(self._stop(bank, self._usual(bank, seat.car) | {seat.position: a}), self.tail, share)
                for a in (standing, who)
            )
            gain += count * (with_standing - with_other)
        if gain <= 0 or self._chance(seat, who, standing) >= keep:
            return 0.0
        return self.factor(seat.car) * gain

    def _usual(self, bank: ServiceBank, car: str) -> dict[str, str]:
        """Standing crew of a car, with the quickest cleared athlete where a seat that must be filled has nobody."""
        crew = {}
        for position in bank.positions:
            standing = self.season.standing.get((car, position))
            if standing in bank.athletes[position]:
                crew[position] = str(standing)
            elif self.season.positions[position].filled == "always" and bank.athletes[position]:
                own = [float(times.sum()) for times in bank.durations[position]]
                crew[position] = bank.athletes[position][own.index(min(own))]
        return crew

    def _chance(self, seat: Seat, who: str, standing: str) -> float:
        """Chance that one is quicker than the other over all stops of the race, from independent draws."""
        totals = []
        for athlete in (who, standing):
            parts = [
                count
                * own_seconds(
                    self._estimates, athlete, seat.position, bank.choreography, seed=self.model.seed, tire=bank.tire
                )
                for bank, count in self.banks(seat.race)
                if seat.position in bank.positions
            ]
            totals.append(np.sum(parts, axis=0))
        return float(np.mean(totals[0] < totals[1]))
