"""Which candidates of a tryout would start, and where: each tried in the crews of the plan."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

from lineup.explain import words
from lineup.explain.change import Change, Lineup, Moves
from lineup.explain.swaps import chance_real, new_chances
from lineup.plan import Move, Plan
from lineup.season import Clearance, Seat
from lineup.stop_model.crew_chance import CrewChances
from lineup.study import Study


@dataclass(frozen=True, slots=True)
class Candidate:
    """Where somebody on tryout would do most good in a position, if cleared for it.

    Attributes
    ----------
    races : races in which he would start; none where no seat can lawfully be his.
    gain_s : weighted seconds that the plan becomes cheaper by; below zero: dearer.
    chance : that the gain is real.
    starts : whether he would start: he gains something, more likely than not.
    """

    athlete: str
    position: str
    car: str | None
    races: tuple[str, ...]
    gain_s: float
    chance: float
    text: str

    @property
    def starts(self) -> bool:
        """Whether the candidate would start."""
        return self.gain_s > 0 and self.chance > 0.5


def tryout(study: Study, plan: Plan) -> tuple[Candidate, ...]:
    """Say where each candidate would start, in each position he has a clearance of any level for; best first."""
    chances = new_chances(study)
    found = [_best(study, plan, chances, athlete, position) for athlete, position in _on_tryout(study)]
    return tuple(sorted(found, key=lambda c: (-c.gain_s, c.athlete, c.position)))


def candidate_to_dict(candidate: Candidate) -> dict[str, Any]:
    """Return the JSON form of a candidate."""
    return {**asdict(candidate), "starts": candidate.starts}


def _on_tryout(study: Study) -> Iterator[tuple[str, str]]:
    season = study.season
    for athlete, facts in season.athletes.items():
        if facts.group == "candidate":
            known = {c.position for c in season.clearances if c.athlete == athlete}
            yield from ((athlete, position) for position in season.positions if position in known)


def _best(study: Study, plan: Plan, chances: CrewChances, athlete: str, position: str) -> Candidate:
    cleared = study.with_season(study.season.with_clearance(Clearance(athlete, position, "cleared")))
    lineup = Lineup(cleared.pricer, plan)
    tried = [(car, _on_car(cleared, lineup, athlete, position, car)) for car in study.season.cars]
    changes = [(car, change) for car, change in tried if change is not None]
    season = study.season
    who, what = words.name(season, athlete), words.position(season, position)
    if not changes:
        text = f"{who}: no seat as {what} can be his or hers, the rest of the plan staying as it is."
        return Candidate(athlete, position, None, (), 0.0, 0.0, text)
    car, best = max(changes, key=lambda item: item[1].gain_s)
    chance = chance_real(lineup, chances, best)
    races = tuple(move.end.race for move in best.moves if move.end is not None)
    where = f"{what} on {season.cars[car].name or car}"
    verb = "would start as" if best.gain_s > 0 and chance > 0.5 else "would not start; nearest is"
    text = (
        f"{who} {verb} {where} ({words.count(len(races), 'race')}): that {words.costs(-best.gain_s)}; "
        f"that it saves anything is {words.sureness(chance)}."
    )
    return Candidate(athlete, position, car, races, best.gain_s, chance, text)


def _on_car(cleared: Study, lineup: Lineup, athlete: str, position: str, car: str) -> Change | None:
    """Put the candidate into one seat of a car in every race that he may work it in; None where there is none."""
    best: Change | None = None
    moves: Moves = ()
    for race in cleared.season.races_of(cleared.weekends):
        seat = Seat(race.id, car, position)
        if seat not in cleared.problem.eligible or athlete not in cleared.problem.eligible[seat]:
            continue
        if (race.id, athlete) in lineup.seat_of:
            continue
        starter = lineup.crews.get(seat.entry, {}).get(position)
        leaves = () if starter is None else (Move(starter, seat, None),)
        change = lineup.change((*moves, Move(athlete, None, seat), *leaves))
        if not change.breaches:
            best, moves = change, change.moves
    return best
