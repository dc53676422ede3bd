"""What a block allows, fact by fact: who is kept out of which seat and why, which sets of races break which limit."""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import combinations

from lineup.explain.crew_bounds import CrewBounds, Service
from lineup.explain.grounds import Ground, blockers, of_pin
from lineup.rules import ScheduleRules, Window
from lineup.season import Pin, Season, Seat

Seating = Mapping[Seat, str]  # athlete of each filled seat
Active = Callable[[Ground], bool]
LINEAR = frozenset({"starts", "races_per_weekend", "weekends_in_a_row", "races_in_days"})  # see `windows`


@dataclass(frozen=True, slots=True)
class TooMuch:
    """These races together break a limit, for every athlete of a class; none can be left out."""

    rule: str
    group: int
    races: frozenset[str]

    def ground(self, athlete: str) -> Ground:
        """Ground that this is for one of the class: two races at once concern everyone alike."""
        alike = self.rule == "one_seat" and len(self.races) == 2
        return Ground(self.rule, tuple(sorted(self.races)) if alike else (athlete,))


@dataclass(frozen=True, slots=True)
class TooSlow:
    """A crew, as (position, athlete), whose mean stop in a service is above what a car allows."""

    car: str
    service: Service
    crew: tuple[tuple[str, str], ...]


@dataclass(eq=False)
class Block:
    """The races of a block and the facts about them.

    `lifted` grounds do not bind. What is learned about schedules and crews is kept between looks.
    """

    season: Season
    weekends: tuple[str, ...]
    bounds: CrewBounds
    lifted: frozenset[Ground] = frozenset()
    too_much: set[TooMuch] = field(default_factory=set)
    too_slow: set[TooSlow] = field(default_factory=set)
    _blockers: dict[tuple[Seat, str], tuple[Ground, ...]] = field(default_factory=dict)
    known: dict[tuple[int, frozenset[str]], frozenset[str]] = field(default_factory=dict)

    def lifting(self, *grounds: Ground) -> Block:
        """Return the block in which these grounds do not bind either; what was learned still holds."""
        lifted = self.lifted | set(grounds)
        blockers = {key: tuple(g for g in found if g not in lifted) for key, found in self._blockers.items()}
        return _sharing(replace(self, lifted=lifted, _blockers=blockers), self)

    def under(self, season: Season, touched: Collection[str] | None) -> Block:
        """Return the block under other facts, with what is known of everyone but the `touched` athletes (None: all)."""
        kept = () if touched is None else self._blockers.items()
        known = {key: found for key, found in kept if key[1] not in (touched or ())}
        changed = replace(self, season=season, _blockers=known, too_slow=set(), too_much=set(), known={})
        same = season.limits is self.season.limits and season.athletes is self.season.athletes
        return _sharing(changed, self) if same else changed

    @cached_property
    def windows_of(self) -> dict[str, tuple[tuple[Window, frozenset[str]], ...]]:
        """Of each athlete: linear parts of the hard limits, with the races each speaks of."""
        return {}

    def windows(self, athlete: str, races: frozenset[str]) -> Iterator[Window]:
        """Linear parts of the hard limits on an athlete's schedule that these races could break."""
        if athlete not in self.windows_of:
            hard = (window for window in self.rules.windows(athlete) if window.price_s is None)
            self.windows_of[athlete] = tuple((w, frozenset(r for g in w.groups for r in g)) for w in hard)
        for window, named in self.windows_of[athlete]:
            if window.least is not None or (window.most is not None and len(named & races) > max(window.most, 0)):
                yield window

    @cached_property
    def races(self) -> tuple[str, ...]:
        """Races of the block, in order of report."""
        return tuple(race.id for race in self.season.races_of(self.weekends))

    @cached_property
    def rules(self) -> ScheduleRules:
        """Limits on what one athlete works."""
        return ScheduleRules(self.season, self.weekends)

    def seats(self, races: Iterable[str]) -> tuple[Seat, ...]:
        """Seats of these races."""
        return tuple(s for race in races for car in self.season.cars_in[race] for s in self.season.seats(race, car))

    def blockers(self, seat: Seat, athlete: str) -> tuple[Ground, ...]:
        """Return what keeps an athlete out of a seat."""
        key = (seat, athlete)
        if key not in self._blockers:
            found = blockers(self.season, athlete, seat)
            self._blockers[key] = tuple(ground for ground in found if ground not in self.lifted)
        return self._blockers[key]

    def pins(self, kind: str, races: Collection[str]) -> Iterator[tuple[Pin, str, tuple[Seat, ...]]]:
        """Each pin of a kind, with each of the races it matches and the matching seats there."""
        for pin in self.season.pins:
            if pin.kind == kind and of_pin(pin) not in self.lifted:
                for race in races:
                    seats = tuple(seat for seat in self.seats((race,)) if pin.matches(seat))
                    if seats:
                        yield pin, race, seats

    def places(self, race: str) -> int | None:
        """Travel places of a race that bind, or None."""
        own, limit = self.season.races[race].travel_places, self.season.limits.get("travel_places")
        places = own if own is not None or limit is None else limit.at_most
        return None if places is None or (limit is not None and not limit.hard) else int(places)

    @cached_property
    def group_of(self) -> Mapping[str, int]:
        """Number of each athlete's class: those with the same home, wheel and history share what they may work."""
        season = self.season
        keys: dict[str, Hashable] = {}
        for athlete, facts in season.athletes.items():
            past = tuple((d.race, d.site, d.report, d.released) for d in season.worked if d.athlete == athlete)
            keys[athlete] = (facts.home, facts.drives, past)
        order = {key: number for number, key in enumerate(dict.fromkeys(keys.values()))}
        return {athlete: order[key] for athlete, key in keys.items()}

    def broken(self, athlete: str, races: frozenset[str]) -> frozenset[str]:
        """Hard limits that working these races breaks, but for counts, which are linear."""
        key = (self.group_of[athlete], races)
        if key not in self.known:
            ordered = tuple(race for race in self.races if race in races)
            breaches = self.rules.assess(athlete, ordered).breaches
            self.known[key] = frozenset(b.rule for b in breaches) - LINEAR
        return self.known[key]

    def learn(self, lineup: Seating, active: Active) -> bool:
        """Add to what is known whatever active fact the lineup breaks; False when it breaks none."""
        before = len(self.too_much) + len(self.too_slow)
        worked: dict[str, set[str]] = {}
        for seat, athlete in lineup.items():
            worked.setdefault(athlete, set()).add(seat.race)
        for athlete, races in worked.items():
            for rule in self.broken(athlete, frozenset(races)):
                if rule == "one_seat":
                    self._learn_overlaps(athlete, races)
                elif self.binds(Ground(rule, (athlete,)), active):
                    self._learn_schedule(athlete, frozenset(races), rule)
        for car in self.season.cars.values():
            if car.slowest_s is not None and self.binds(Ground("slowest", (car.id,)), active):
                self._learn_crews(lineup, car.id, car.slowest_s)
        return len(self.too_much) + len(self.too_slow) > before

    def binds(self, ground: Ground, active: Active) -> bool:
        """Whether a ground is active and not lifted."""
        return ground not in self.lifted and active(ground)

    def _learn_schedule(self, athlete: str, races: frozenset[str], rule: str) -> None:
        for race in sorted(races):
            if rule in self.broken(athlete, races - {race}):
                races = races - {race}
        if races:  # a limit that history alone breaks is nobody's doing here
            self.too_much.add(TooMuch(rule, self.group_of[athlete], races))

    def _learn_overlaps(self, athlete: str, races: Collection[str]) -> None:
        for size in (1, 2):
            for part in map(frozenset, combinations(sorted(races), size)):
                if "one_seat" in self.broken(athlete, part):
                    self.too_much.add(TooMuch("one_seat", self.group_of[athlete], part))

    def _learn_crews(self, lineup: Seating, car: str, slowest_s: float) -> None:
        for race, crew in self.crews(lineup, car):
            for service in self.services(race, car):
                mean_s = self.bounds.mean_s(service, crew)
                if mean_s is not None and mean_s > slowest_s:
                    self.too_slow.add(TooSlow(car, service, tuple(sorted(crew.items()))))
                    self.bounds.learn(service, crew)

    def crews(self, lineup: Seating, car: str) -> Iterator[tuple[str, dict[str, str]]]:
        """Races of a car in a lineup, each with its crew."""
        for race in self.races:
            crew = {seat.position: lineup[seat] for seat in self.season.seats(race, car) if seat in lineup}
            if crew and car in self.season.cars_in[race]:
                yield race, crew

    def services(self, race: str, car: str) -> tuple[Service, ...]:
        """Services, with the tire, of a car in a race; none where it is not entered."""
        if car not in self.season.cars_in[race]:
            return ()
        tire = self.season.races[race].tire
        return tuple((service, tire) for service in self.season.service_counts.get(race, {}))

    def slowest(self, lineup: Seating, car: str) -> float:
        """Mean of the slowest service of a car over its races in a lineup, seconds; 0 where no crew is known."""
        crews = [(race, crew) for race, crew in self.crews(lineup, car)]
        means = [self.bounds.mean_s(service, crew) for race, crew in crews for service in self.services(race, car)]
        return max((mean_s for mean_s in means if mean_s is not None), default=0.0)


def _sharing(changed: Block, block: Block) -> Block:
    """Let a changed block know what is known of schedules: it depends on limits, races, histories and homes alone."""
    changed.too_much, changed.known = block.too_much, block.known
    if "starts" not in block.season.limits.by_name:  # its least number asks who may start, which may have changed
        known = {name: value for name, value in block.__dict__.items() if name in ("rules", "windows_of")}
        changed.__dict__.update(known)
    return changed
