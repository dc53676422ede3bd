"""Who could travel as a reserve and what that brings: ways of cover, trips, places, and what each choice costs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from lineup.optimize.cover_ways import OnSite, Way
from lineup.season import Seat
from lineup.study import Study

SENT_S = 0.001  # nobody travels for less than a thousandth of a second
NEAR_DAYS = 7  # trips further apart than this never share a journey
MOST_NAMED = 6

Trips = frozenset[tuple[str, str]]  # (race, athlete)


@dataclass(eq=False)
class TravelChoice:
    """The choice before any solver: who could travel where, the ways of each seat, what trips cost."""

    study: Study
    site: OnSite
    candidates: Mapping[str, tuple[str, ...]] = field(init=False)
    ways: Mapping[Seat, Mapping[str | None, Way]] = field(init=False)

    def __post_init__(self) -> None:
        races = self.site.races
        self.candidates = {race: tuple(self._could_travel(race)) for race in races}
        self.ways = {s: self.site.ways(s, self.candidates[race]) for race in races for s in self.site.filled(race)}

    def _could_travel(self, race: str) -> Iterator[str]:
        """Athletes who are not there anyway, could step into some seat and may make the trip."""
        season, near = self.study.season, self.site.around(race)
        for athlete in season.athletes:
            able = any(self.site.may_cover(athlete, seat) for seat in self.site.filled(race))
            idle = athlete not in self.site.seat_in[race] and athlete not in near
            if idle and able and self.site.could_work(athlete, race) and not self.broken(athlete, (race,)):
                yield athlete

    # ------------------------------------------------------------------------------------------------------ trips

    def broken(self, athlete: str, trips: Sequence[str]) -> frozenset[tuple[str, str | None]]:
        """Hard limits that trips as a reserve break on top of the athlete's starts."""
        starts, rules = self.site.starts[athlete], self.study.pricer.rules
        kept = {(b.rule, b.race) for b in rules.assess(athlete, starts).breaches}
        return frozenset((b.rule, b.race) for b in rules.assess(athlete, starts, trips).breaches) - kept

    def trip_costs(self, athlete: str, trips: Sequence[str]) -> dict[str, float]:
        """Seconds that trips as a reserve add to travel and to priced limits, by item."""
        starts, rules = self.site.starts[athlete], self.study.pricer.rules
        before, after = rules.assess(athlete, starts).costs, rules.assess(athlete, starts, trips).costs
        added = {name: after.get(name, 0.0) - before.get(name, 0.0) for name in {**before, **after}}
        return {name: seconds for name, seconds in added.items() if seconds}

    def trip_s(self, athlete: str, trips: Sequence[str]) -> float:
        """Sum of `trip_costs`."""
        return sum(self.trip_costs(athlete, trips).values())

    def near(self, first: str, second: str) -> bool:
        """Whether two trips may share a journey."""
        races = self.study.season.races
        return abs((races[second].report - races[first].report).days) <= NEAR_DAYS

    def saved_s(self, athlete: str, first: str, second: str) -> float:
        """Seconds that two trips cost less together than each alone."""
        return sum(self.trip_s(athlete, (race,)) for race in (first, second)) - self.trip_s(athlete, (first, second))

    def most_saved(self, athlete: str, race: str) -> float:
        """Seconds that a trip could save at most by following an earlier one."""
        races = self.site.races
        earlier = (other for other in races[: races.index(race)] if self.near(other, race))
        able = (other for other in earlier if athlete in self.candidates[other])
        return max((self.saved_s(athlete, other, race) for other in able), default=0.0)

    def apart(self, trips: Trips, earlier: Trips) -> bool:
        """Whether trips neither save anything after earlier ones nor break a limit with them."""
        for race, athlete in trips:
            before = [other for other in self.site.races if (other, athlete) in earlier]
            if self.most_saved(athlete, race) > 0 or (before and self.broken(athlete, (*before, race))):
                return False
        return True

    # ------------------------------------------------------------------------------------------------------ cover

    @property
    def asked(self) -> int:
        """Ways that each seat must have."""
        limit = self.study.season.limits.get("cover")
        return int(limit.at_least) if limit is not None and limit.at_least is not None else 0

    @property
    def cover_is_hard(self) -> bool:
        """Whether the limit on cover is hard."""
        limit = self.study.season.limits.get("cover")
        return limit is not None and limit.hard

    def covered_by(self, seat: Seat) -> tuple[int, tuple[str, ...]]:
        """Ways that are on site anyway, and the candidates who would each be one more."""
        direct = tuple(a for a in self.candidates[seat.race] if self.site.may_cover(a, seat))
        return len(self.site.stand_ins(seat)), direct

    def must_cover(self) -> Iterator[Seat]:
        """Seats that the limit on cover speaks of: filled, and not allowed to stay empty."""
        for seat in self.ways:
            if self.study.season.positions[seat.position].filled == "always":
                yield seat

    def short(self, chosen: Trips) -> dict[Seat, int]:
        """Ways that each seat lacks with these reserves."""
        lacking = {}
        for seat in self.must_cover():
            fixed, direct = self.covered_by(seat)
            ways = fixed + sum((seat.race, athlete) in chosen for athlete in direct)
            if ways < self.asked:
                lacking[seat] = self.asked - ways
        return lacking

    def best(self, seat: Seat, chosen: Trips) -> Way:
        """Cheapest way to cover a seat with these reserves."""
        ways = self.ways[seat].items()
        return min((way for a, way in ways if a is None or (seat.race, a) in chosen), key=lambda way: way.cost_s)

    def tell_short(self, short: Mapping[Seat, int]) -> Iterator[str]:
        """Say which seats lack cover, and whether anybody could be sent."""
        season = self.study.season
        for seat, lacking in [*short.items()][:MOST_NAMED]:
            fixed, direct = self.covered_by(seat)
            where = f"{season.label('positions', seat.position)} of {season.label('cars', seat.car)}"
            most = fixed + len(direct)
            few = f"only {most} could be there" if most else "nobody could be there"
            why = "travel places and trips do not allow all of them" if most >= self.asked else few
            race = season.label("races", seat.race)
            yield f"cover: {where} at {race} has {self.asked - lacking} of {self.asked} ways to be covered; {why}"
        if len(short) > MOST_NAMED:
            yield f"cover: {len(short) - MOST_NAMED} more seats lack cover"

    def cost_s(self, chosen: Trips) -> float:
        """Cost of these reserves beyond that of none, with the least that each must be worth, seconds."""
        chance = self.study.season.weights.absence_chance
        without_s = chance * sum(ways[None].cost_s for ways in self.ways.values())
        return sum(self.costs(chosen).values()) - without_s + SENT_S * len(chosen)

    def costs(self, chosen: Trips) -> dict[str, float]:
        """Exact costs of these reserves, by item."""
        weights, rules = self.study.season.weights, self.study.pricer.rules
        costs = {"absence": weights.absence_chance * sum(self.best(seat, chosen).cost_s for seat in self.ways)}
        costs["reserve_places"] = weights.priced_travel_place_s * len(chosen)
        for athlete in sorted({athlete for _, athlete in chosen}):
            trips = [race for race in self.site.races if (race, athlete) in chosen]
            for name, seconds in self.trip_costs(athlete, trips).items():
                costs[name] = costs.get(name, 0.0) + seconds
        for race in self.site.races:
            starters, sent = len(self.site.seat_in[race]), sum(where == race for where, _ in chosen)
            beyond, before = rules.places_beyond(race, starters + sent), rules.places_beyond(race, starters)
            more = (beyond.cost_s or 0.0 if beyond else 0.0) - (before.cost_s or 0.0 if before else 0.0)
            costs["limit:travel_places"] = costs.get("limit:travel_places", 0.0) + more
        limit = self.study.season.limits.get("cover")
        if limit is not None and limit.price_s is not None:
            costs["limit:cover"] = limit.price_s * sum(self.short(chosen).values())
        return {name: seconds for name, seconds in costs.items() if seconds or name == "absence"}
