"""Why nothing better: what would have to give for a car to gain a tenth of a second a stop, each tried."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any, Literal

from lineup.errors import InputError
from lineup.explain import mends, words
from lineup.explain.change import Change, Lineup
from lineup.explain.quicker import Quicker, least, median_s, splits_of
from lineup.explain.swaps import chance_quicker, new_chances
from lineup.explain.ways import of_seat
from lineup.plan import Move, Plan
from lineup.season import Entry
from lineup.stop_model.crew_chance import CrewChances
from lineup.study import Study

TENTH_S = 0.1
MOST_EACH = 4  # answers told of each kind
ALMOST_S = 1e-9
Kind = Literal["price", "other_car", "rule", "quicker"]


@dataclass(frozen=True, slots=True)
class Give:
    """One thing that would have to give.

    Attributes
    ----------
    kind : "price": lawful, but other costs grow; "other_car": lawful, another car's stops pay; "rule": a rule
        forbids it; "quicker": somebody does one split faster.
    per_stop_s : seconds that an average stop of the car becomes shorter by.
    cost_s : weighted seconds that the whole plan becomes dearer by; None where it only asks for faster work.
    chance : that the car really gains anything.
    rules : rules that would have to give.
    quicker_s : seconds less at the split, every time.
    """

    kind: Kind
    text: str
    per_stop_s: float
    cost_s: float | None = None
    chance: float | None = None
    moves: tuple[Move, ...] = ()
    rules: tuple[str, ...] = ()
    athlete: str | None = None
    position: str | None = None
    split: str | None = None
    quicker_s: float | None = None


@dataclass(frozen=True, slots=True)
class Better:
    """What would have to give for a car to gain so much a stop in a race; `text` sums it up."""

    entry: Entry
    asked_s: float
    text: str
    gives: tuple[Give, ...]


def nothing_better(study: Study, plan: Plan, entry: Entry, tenth: float = TENTH_S) -> Better:
    """Say what would have to give for a car to gain `tenth` seconds in an average stop of a race.

    Every replacement, exchange and chain of up to three moves in the race is tried, forbidden ones too, and every
    split of every starter of the car.

    Raises
    ------
    InputError
        When the plan has no crew for that car in that race.
    """
    lineup = Lineup(study.pricer, plan)
    if entry not in lineup.crews:
        raise InputError(f"the plan has no crew for car {entry.car!r} in race {entry.race!r}")
    changes = _Changes(study, lineup, entry, tenth, new_chances(study))
    gives = (*changes.found(), *_quicker(study, lineup, entry, tenth))
    return Better(entry, tenth, _summary(study, entry, tenth, gives, changes.most_s), gives)


def better_to_dict(answer: Better) -> dict[str, Any]:
    """Return the JSON form of a "why nothing better"."""
    return asdict(answer)


@dataclass(eq=False)
class _Changes:
    """Changes of the car's crew in the race that gain at least what is asked."""

    study: Study
    lineup: Lineup
    entry: Entry
    asked_s: float
    chances: CrewChances
    most_s: float = 0.0  # the most that any lawful change gains

    def found(self) -> Iterator[Give]:
        """Yield the cheapest few of each kind."""
        counts: dict[Kind, int] = {}
        for change, gain in self._enough():
            change = self.lineup.with_breaches(change)
            kind = self._kind(change)
            if counts.get(kind, 0) < MOST_EACH:
                counts[kind] = counts.get(kind, 0) + 1
                yield self._give(kind, change, gain)

    def _enough(self) -> list[tuple[Change, float]]:
        seats = self.study.season.seats(self.entry.race, self.entry.car)
        ways = {moves: None for seat in seats for moves in of_seat(self.study, self.lineup, seat)}
        priced = [(change, self.gain_s(change)) for change in (self.lineup.change(w, with_rules=False) for w in ways)]
        for change, gain in sorted(priced, key=lambda item: -item[1]):
            if gain <= 0 or not self.lineup.with_breaches(change).breaches:
                self.most_s = max(0.0, gain)
                break
        enough = [item for item in priced if item[1] >= self.asked_s - ALMOST_S]
        return sorted(enough, key=lambda item: (len(item[0].moves), -item[0].gain_s))

    def gain_s(self, change: Change) -> float:
        """Seconds that an average stop of the car becomes shorter by."""
        pricer, entry = self.study.pricer, self.entry
        if entry not in change.after:
            return 0.0
        saved = pricer.entry_value(entry, change.before[entry]) - pricer.entry_value(entry, change.after[entry])
        return saved / pricer.priority[entry.car] / sum(count for _, count in pricer.services(entry.race))

    def _kind(self, change: Change) -> Kind:
        if change.breaches:
            return "rule"
        return "other_car" if any(e != self.entry for e in change.after) else "price"

    def _give(self, kind: Kind, change: Change, gain: float) -> Give:
        season, entry = self.study.season, self.entry
        chance = chance_quicker(self.lineup, self.chances, entry, change.before[entry], change.after[entry])
        steps, cost = words.moves(season, change.moves), -change.gain_s
        gained = f"{words.seconds(gain)} a stop, {words.sureness(chance)}"
        if kind == "rule":
            text = f"{steps}: {gained}; forbidden: {' '.join(f'{r}.' for r in mends.reasons(season, change.breaches))}"
        elif kind == "other_car":
            text = f"{steps}: {gained}; another crew pays, and in all it {words.costs(cost)}."
        else:
            text = f"{steps}: {gained}; in all it {words.costs(cost)}."
        rules = tuple(dict.fromkeys(breach.rule for breach in change.breaches))
        return Give(kind, text, gain, cost, chance, change.moves, rules)


def _quicker(study: Study, lineup: Lineup, entry: Entry, asked_s: float) -> Iterator[Give]:
    """Yield the splits at which the least improvement of one starter gives what is asked, the least first."""
    season, crew, pricer = study.season, lineup.crews[entry], study.pricer
    stops = sum(count for _, count in pricer.services(entry.race))
    found = []
    for position, athlete in crew.items():
        for split, called in splits_of(season, entry.race, position):
            trial = Quicker(pricer, athlete, position, split)

            def enough(seconds: float, trial: Quicker = trial) -> bool:
                return trial.race_s(entry, crew, seconds) / stops >= asked_s - ALMOST_S

            need = least(enough)
            if need is not None:
                found.append((need, position, athlete, split, called, trial.race_s(entry, crew, need) / stops))
    for need, position, athlete, split, called, gain in sorted(found)[:MOST_EACH]:
        now = median_s(study.estimates, athlete, position, split)
        text = (
            f"{words.name(season, athlete)} taking {words.enough(need)} less every time for “{called}” "
            f"(now about {now:.2f} s): {words.seconds(gain)} a stop."
        )
        yield Give("quicker", text, gain, athlete=athlete, position=position, split=split, quicker_s=need)


def _summary(study: Study, entry: Entry, asked_s: float, gives: tuple[Give, ...], most_s: float) -> str:
    season = study.season
    car, race = season.cars[entry.car].name or entry.car, season.races[entry.race].name or entry.race
    lawful = [give for give in gives if give.kind in ("price", "other_car")]
    asked = f"{words.seconds(asked_s)} a stop for {car} at {race}"
    if lawful:
        cheapest = min(lawful, key=lambda give: give.cost_s or 0.0)
        return f"{asked} can be had: the cheapest way {words.costs(cheapest.cost_s or 0.0)}."
    most = "No lawful change of up to three moves gains anything" if most_s < words.NOTHING_S else (
        f"The most that a lawful change of up to three moves gains is {words.seconds(most_s)} a stop"
    )  # fmt: skip
    if gives:
        return f"{asked} cannot be had within the rules. {most}. One of these would have to give."
    return f"{asked} cannot be had. {most}, and no starter's single split could bring it either."
