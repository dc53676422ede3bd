"""Which hard rules a lineup breaks, whole or among a few athletes and races, each in a coach's words."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from lineup.eligibility import may_fill
from lineup.pins import matches_race, pair_rule, pin_place
from lineup.price import Pricer
from lineup.rules import Breach
from lineup.season import Entry, Pin, Seat
from lineup.tariff import Crew


def broken_rules(
    pricer: Pricer,
    crews: Mapping[Entry, Crew],
    athletes: Collection[str] | None = None,
    races: Collection[str] | None = None,
) -> tuple[Breach, ...]:
    """Return the hard rules that a lineup of the pricer's block breaks.

    Parameters
    ----------
    crews : athlete by position of each entry.
    athletes, races : look only at what concerns these; `None` looks at all. A change of a lineup that keeps the
        rules can break only what concerns the athletes and races it touches.
    """
    look = _Look(pricer, crews, athletes, races)
    return (*look.seats(), *look.twice(), *look.schedules(), *look.pins(), *look.empty(), *look.slow(), *look.travel())


class _Look:
    def __init__(
        self,
        pricer: Pricer,
        crews: Mapping[Entry, Crew],
        athletes: Collection[str] | None,
        races: Collection[str] | None,
    ) -> None:
        self.pricer = pricer
        self.season = pricer.season
        self.crews = crews
        self.races = [r.id for r in self.season.races_of(pricer.weekends) if races is None or r.id in races]
        self.athletes = athletes
        self.worked: dict[str, list[Seat]] = {}
        for entry, crew in crews.items():
            for position, athlete in crew.items():
                self.worked.setdefault(athlete, []).append(Seat(entry.race, entry.car, position))

    def concerns(self, athlete: str) -> bool:
        return self.athletes is None or athlete in self.athletes

    def seats(self) -> Iterator[Breach]:
        for athlete, seats in self.worked.items():
            for seat in seats:
                if self.concerns(athlete) and seat.race in self.races:
                    verdict = may_fill(self.season, athlete, seat)
                    if not verdict.allowed and verdict.rule is not None:
                        yield _breach(verdict.rule, athlete, seat, verdict.text, verdict.figure, verdict.limit)

    def twice(self) -> Iterator[Breach]:
        for athlete, seats in self.worked.items():
            count: dict[str, Seat] = {}
            for seat in seats:
                if seat.race in count and self.concerns(athlete):
                    who, race = self.season.label("athletes", athlete), self.season.label("races", seat.race)
                    yield _breach("one_seat", athlete, seat, f"{who} has two seats at {race}", 2, 1)
                count[seat.race] = seat

    def schedules(self) -> Iterator[Breach]:
        for athlete in self.pricer.with_schedule(self.worked):
            if self.concerns(athlete):
                races = [seat.race for seat in self.worked.get(athlete, ())]
                yield from self.pricer.rules.assess(athlete, races).breaches

    def pins(self) -> Iterator[Breach]:
        for pin in self.season.pins:
            if pin.kind == "never" or not (self.concerns(pin.athlete) or (pin.other and self.concerns(pin.other))):
                continue
            for race in self.races:
                if matches_race(self.season, pin, race) and not self._keeps(pin, race):
                    yield Breach("pin", pin.athlete, race, pin.car, pin.position, 0, 1, self._broken(pin))

    def _keeps(self, pin: Pin, race: str) -> bool:
        """Whether a pin is kept at a race that it matches."""
        own, others = ([s for s in self.worked.get(a or "", ()) if s.race == race] for a in (pin.athlete, pin.other))
        if pin.kind == "must":
            return any(pin.matches(seat) for seat in own)
        first, second = {seat.car for seat in own}, {seat.car for seat in others}
        return first == second if pin.kind == "pair" else not first & second

    def _broken(self, pin: Pin) -> str:
        names = " and ".join(self.season.label("athletes", a) for a in (pin.athlete, pin.other) if a)
        asked = pin_place(self.season, pin) if pin.kind == "must" else pair_rule(self.season, pin)
        return f"{names}: pinned ({pin.kind}) to {asked}: {pin.reason}"

    def empty(self) -> Iterator[Breach]:
        for race in self.races:
            for car in self.season.cars_in[race]:
                crew = self.crews.get(Entry(race, car), {})
                for seat in self.season.seats(race, car):
                    position = self.season.positions[seat.position]
                    if position.filled == "always" and seat.position not in crew:
                        text = f"{self.season.label('positions', position.id)} of {self._where(seat.entry)} is empty"
                        yield _breach("filled", "", seat, text, 0, 1)

    def slow(self) -> Iterator[Breach]:
        for entry, crew in self.crews.items():
            most = self.season.cars[entry.car].slowest_s
            if most is None or entry.race not in self.races:
                continue
            means = self.pricer.mean_s(entry.race, crew)
            service = max(means, key=lambda s: means[s], default=None)
            if service is not None and means[service] > most:
                text = f"{self._where(entry)}: the mean stop is {means[service]:.2f} s, at most {most:.2f} s is asked"
                yield Breach("slowest", "", entry.race, entry.car, None, means[service], most, text)

    def travel(self) -> Iterator[Breach]:
        for race in self.races:
            people = {a for entry, crew in self.crews.items() if entry.race == race for a in crew.values()}
            beyond = self.pricer.rules.places_beyond(race, len(people))
            if beyond is not None and beyond.cost_s is None:
                yield beyond

    def _where(self, entry: Entry) -> str:
        return f"car {self.season.label('cars', entry.car)} at {self.season.label('races', entry.race)}"


def _breach(rule: str, athlete: str, seat: Seat, text: str, figure: float | None, limit: float | None) -> Breach:
    return Breach(rule, athlete, seat.race, seat.car, seat.position, figure or 0.0, limit or 0.0, text)
