"""Two formulations, one answer: the audit against rules and prices on thousands of random, mutated plans."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Any

import pytest

from lineup.audit import Audit, audit
from lineup.eligibility import may_fill, passed_over, refusals
from lineup.lawful import broken_rules
from lineup.plan import Assignment, Plan, Reserve
from lineup.price import Pricer
from lineup.season import (
    Absence,
    Athlete,
    Car,
    Clearance,
    Entry,
    Miss,
    Pin,
    Position,
    Race,
    Season,
    Seat,
    Site,
    Task,
    Weights,
    WorkedDuty,
)
from lineup.settings import Settings
from lineup.skills import estimate_skills
from lineup.stop_model.stops import StopModel, sample_stops
from tests.builders import make_grades, tiny_season, utc
from tests.timetables import limits_of

SEASONS, PLANS = 18, 115  # 2,070 plans, a third of them priced
DAY = timedelta(hours=30)
MONDAY = date(2026, 2, 23)  # the block runs over the clock change of 8 March in America, 29 March in Europe
SITES = (  # name, zone, latitude, longitude: neighbours, half a continent, and an ocean apart
    ("shop", "America/New_York", 35.4, -80.8),
    ("north", "America/New_York", 37.6, -79.9),
    ("mid", "America/Chicago", 36.2, -86.8),
    ("west", "America/Los_Angeles", 34.0, -117.5),
    ("desert", "America/Phoenix", 33.4, -112.3),
    ("isle", "Europe/London", 52.1, -1.0),
)
TASKS = (
    Task("roll", "Stop", None, (), "roll", 0.5),
    Task("lift", "Lift", "jack", ("roll",), "lift", 1.5, misses=("slip",)),
    Task("left", "Left", "changer", ("lift",), "left", 4.0, misses=("slip",), load=True),
    Task("reach", "Reach", "helper", (), "reach", -0.2, early=True, misses=("slip",)),
    Task("fuel", "Fuel", "fueler", ("roll", "reach"), "fuel", 6.0, release=True),
    Task("wipe", "Wipe", "helper", ("reach",), "wipe", 2.0),
    Task("slow-drop", "Drop alone", "jack", ("left",), "slow-drop", 0.9, only_without="helper", release=True),
    Task("drop", "Drop", "jack", ("left", "wipe", "slow-drop"), "drop", 0.5, only_with="helper", release=True),
)


def random_season(rng: random.Random) -> Season:
    """A season with some of everything: sites in five zones, tight weekends, history, pins, absences, all limits."""
    positions = {
        "jack": Position("jack", "Jack", min_height_m=1.80),
        "changer": Position("changer", "Changer"),
        "fueler": Position("fueler", "Fueler", min_height_m=1.75),
        "helper": Position("helper", "Helper", "support", "if_possible"),
    }
    sites = {name: Site(name, name.title(), zone, latitude, longitude) for name, zone, latitude, longitude in SITES}
    athletes = {
        f"a{i}": Athlete(
            f"a{i}",
            f"Athlete {i}",
            rng.choice(["shop", "shop", "north", "mid", "west"]),
            rng.choice(["regular", "regular", "developing"]),
            rng.choice([None, 1.70, 1.78, 1.82, 1.90]),
            drives=rng.random() < 0.4,
        )
        for i in range(9)
    }
    races = {race.id: race for race in random_races(rng)}
    cars = {f"c{i}": Car(f"c{i}", "cup", rng.choice([1.0, 2.0, 0.5]), "shop") for i in (1, 2)}
    season = tiny_season(positions=list(positions), shape=TASKS)
    return season.replace(
        athletes=athletes,
        positions=positions,
        sites=sites,
        cars=cars,
        races=races,
        entries=tuple(Entry(race, car) for race in races for car in cars if rng.random() < 0.85),
        service_counts={race: {"four": rng.choice([3.0, 6.0])} for race in races},
        clearances=tuple(random_clearances(rng, athletes, positions)),
        misses={"slip": Miss("slip", "Slip", 1.0, 10.0)},
        grades=make_grades(athletes, TASKS, 3, None, 0.05, rng.randrange(1000)),
        absences=tuple(random_absences(rng, athletes, positions)),
        pins=tuple(random_pins(rng, list(athletes), list(races))),
        standing={("c1", "jack"): "a0", ("c2", "changer"): "a1", ("c1", "fueler"): "a2"},
        worked=tuple(random_past(rng, athletes)),
        limits=random_limits(rng),
        weights=Weights(0.7, 0.5, 0.03, 0.2, 0.4, tail=0.3, keep_chance=rng.choice([0.0, 0.6])),
    )


def random_races(rng: random.Random) -> Iterator[Race]:
    spells: list[tuple[date, str]] = []
    for week in range(5):
        sites = rng.sample([name for name, *_ in SITES], 2)
        days = [MONDAY + timedelta(days=7 * week + d) for d in rng.sample([2, 4, 5, 5, 6], rng.randint(1, 3))]
        spells += [(day, rng.choice(sites)) for day in days]
    found = []
    for day, site in spells:
        zone = next(zone for name, zone, *_ in SITES if name == site)
        report = utc(datetime.combine(day, time(rng.randint(5, 20), rng.choice([0, 30]))), zone)
        hours = timedelta(hours=rng.choice([4, 7, 9.5, 13]))
        places = rng.choice([None, None, 6])
        found.append(
            (
                report,
                Race(
                    "", f"w{(day - MONDAY).days // 7}", "cup", site, report, report, report + hours, "plain", "", places
                ),
            )
        )
    found.sort(key=lambda pair: pair[0])
    for i, (_, race) in enumerate(found):
        yield replace(race, id=f"r{i}", name=f"Race {i}")


def random_clearances(rng: random.Random, athletes: Any, positions: Any) -> Iterator[Clearance]:
    for athlete in athletes:
        for position in positions:
            since = rng.choice([None, None, MONDAY + timedelta(days=10)])
            series = rng.choice([None, "cup", "cup", "truck"])
            yield Clearance(athlete, position, rng.choice(["cleared", "cleared", "training"]), since, series)


def random_absences(rng: random.Random, athletes: Any, positions: Any) -> Iterator[Absence]:
    for athlete in rng.sample(list(athletes), 3):
        first = MONDAY + timedelta(days=rng.randint(0, 30))
        last = rng.choice([None, first + timedelta(days=rng.randint(0, 9))])
        yield Absence(athlete, first, last, "out")
    first = MONDAY + timedelta(days=rng.randint(0, 20))
    yield Absence("a5", first, first + timedelta(days=12), "only", tuple(rng.sample(list(positions), 2)))


def random_pins(rng: random.Random, athletes: list[str], races: list[str]) -> Iterator[Pin]:
    for kind in ("must", "never", "never"):
        race, car = rng.choice([None, *races]), rng.choice([None, "c1", "c2"])
        position = rng.choice([None, "jack", "changer", "helper"])
        yield Pin(kind, rng.choice(athletes), "so be it", None, race, car, position)  # type: ignore[arg-type]
    for number, kind in enumerate(("pair", "apart", "pair", "apart")):
        one, other = rng.sample(athletes, 2)
        race, car = rng.choice([None, None, *races]), rng.choice([None, "c1", "c2"])
        position = rng.choice([None, "jack", "helper"])
        yield Pin(kind, one, f"tie {number}", other, race, car, position)  # type: ignore[arg-type]


def random_past(rng: random.Random, athletes: Any) -> Iterator[WorkedDuty]:
    for week in range(1, 4):
        for athlete in rng.sample(list(athletes), 4):
            site = rng.choice(SITES)
            day = MONDAY - timedelta(days=7 * week - rng.choice([5, 6]))
            report = utc(datetime.combine(day, time(rng.randint(7, 18))), site[1])
            released = report + timedelta(hours=rng.choice([6, 10]))
            car, position = rng.choice([(None, None), ("c1", "jack"), ("c1", "fueler"), ("c2", "changer")])
            yield WorkedDuty(athlete, f"h{week}-{site[0]}", site[0], report, released, car, position)


def random_limits(rng: random.Random) -> Any:
    """Every limit with tight numbers, each hard or priced."""
    tight: dict[str, dict[str, Any]] = {
        "rest_hours": {"at_least": rng.choice([9, 11])},
        "duty_hours": {"at_most": 12},
        "weekly_rest_hours": {"at_least": rng.choice([35, 60])},
        "rolling_rest_hours": {"at_least": rng.choice([35, 50]), "days": rng.choice([5, 7])},
        "races_per_weekend": {"at_most": 1},
        "weekends_in_a_row": {"at_most": rng.choice([2, 3])},
        "races_in_days": {"at_most": 3, "days": 15},
        "nights_away_in_days": {"at_most": 2, "days": 10},
        "travel_hours_in_days": {"at_most": 12, "days": 14},
        "starts": {"at_least": 2, "at_most": 4},
        "recent_grades": {"at_least": 2, "days": rng.choice([20, 40])},
        "travel_places": {"at_most": 5},
        "height": {},
    }
    keys: dict[str, Any] = {}
    for name, figures in tight.items():
        if rng.random() < 0.5 or (name == "height" and rng.random() < 0.5):
            keys[name] = figures | {"price_s": rng.choice([0.5, 2.0])}
        elif figures:
            keys[name] = figures
    keys["preset"] = rng.choice(["49 CFR 395.3", "49 CFR 395.5"])
    if rng.random() < 0.3:
        keys["driving_hours"] = {"price_s": 1.0}
    keys["reserves_count"] = rng.random() < 0.5
    keys["journeys"] = {"road_at_most_km": rng.choice([450, 3000]), "home_rest_h": rng.choice([8, 12])}
    return limits_of(**keys)


def random_plans(rng: random.Random, season: Season) -> Iterator[Plan]:
    """Start from a plan in which few are in two places, then change a seat or a reserve at a time."""
    seats = [seat for entry in season.entries for seat in season.seats(entry.race, entry.car)]
    able = {seat: [a for a in season.athletes if may_fill(season, a, seat).allowed] for seat in seats}
    cleared = {p: [c.athlete for c in season.clearances if c.position == p] for p in season.positions}
    taken: dict[Seat, str] = {}
    trips: set[tuple[str, str]] = set()

    def free(seat: Seat, athletes: Sequence[str]) -> list[str]:
        """Those who have nothing to do within a day of the race."""
        near = {
            race for race, facts in season.races.items() if abs(facts.report - season.races[seat.race].report) < DAY
        }
        busy = {a for other, a in taken.items() if other.race in near} | {a for race, a in trips if race in near}
        return [a for a in athletes if a not in busy]

    def change(seat: Seat) -> None:
        taken.pop(seat, None)
        wide = rng.random()  # mostly someone who may; sometimes anyone cleared; rarely someone who is busy
        choice = able[seat] if wide < 0.85 else cleared[seat.position]
        choice = choice if wide > 0.97 else free(seat, choice)
        if choice and rng.random() < 0.95:
            taken[seat] = rng.choice(choice)

    for seat in seats:
        change(seat)
    for _ in range(PLANS):
        seat = rng.choice(seats)
        if rng.random() < 0.75:
            change(seat)
        elif trips and rng.random() < 0.5:
            trips.remove(rng.choice(sorted(trips)))
        else:
            trips |= {(seat.race, a) for a in free(seat, list(season.athletes))[:1]}
        yield Plan(
            "best_so_far",
            tuple(Assignment(s.race, s.car, s.position, a) for s, a in taken.items()),
            tuple(Reserve(*pair) for pair in sorted(trips)),
            weekends=season.weekends,
        )


def two_places(found: Audit) -> set[str]:
    return {str(measure.athlete) for measure in found.check("one_seat").broken}


def by_rules(pricer: Pricer, plan: Plan) -> tuple[set[tuple[str, str]], dict[str, float]]:
    """What rules and eligibility say: (limit, who) of each hard breach, and what priced limits cost with reserves."""
    season, hard, cost = pricer.season, set(), {}
    starts: dict[str, list[str]] = {athlete: [] for athlete in season.athletes}
    for a in plan.assignments:
        starts[a.athlete].append(a.race)
        hard |= {
            (verdict.rule or "", a.athlete) for verdict in refusals(season, a.athlete, a.seat) if verdict.rule != "pin"
        }
        for verdict in passed_over(season, a.athlete, a.seat):
            for name, seconds in verdict.costs.items():
                cost[name] = cost.get(name, 0.0) + seconds
        if len(set(starts[a.athlete])) < len(starts[a.athlete]):
            hard.add(("one_seat", a.athlete))
    for athlete, races in starts.items():
        trips = [r.race for r in plan.reserves if r.athlete == athlete]
        answer = pricer.rules.assess(athlete, races, trips)
        hard |= {(breach.rule, athlete) for breach in answer.breaches}
        for name, seconds in answer.costs.items():
            cost[name] = cost.get(name, 0.0) + seconds
    for race in season.races:
        people = {a.athlete for a in plan.assignments if a.race == race}
        people |= {r.athlete for r in plan.reserves if r.race == race}
        beyond = pricer.rules.places_beyond(race, len(people))
        if beyond is not None and beyond.cost_s is None:
            hard.add(("travel_places", race))
        elif beyond is not None and beyond.cost_s is not None:
            cost["limit:travel_places"] = cost.get("limit:travel_places", 0.0) + beyond.cost_s
    return hard, cost


def by_audit(found: Audit) -> tuple[set[tuple[str, str]], dict[str, float]]:
    """What the audit says, in the same form."""
    hard, cost = set(), {}
    for check in found.checks:
        if check.priced and check.broken:
            cost[f"limit:{check.rule}"] = check.cost_s
        elif check.rule not in ("filled", "pin", "costs", "proof"):
            hard |= {(check.rule, str(m.athlete or m.race)) for m in check.broken}
    return hard, cost


def broken_pins(pricer: Pricer, plan: Plan, found: Audit) -> tuple[set[tuple[str, ...]], set[tuple[str, ...]]]:
    """Pins that a plan breaks, as kind, athlete and race: by rules and eligibility, and by the audit."""
    season = pricer.season
    tied = {athlete for pin in season.pins for athlete in (pin.athlete, pin.other) if athlete}
    by_rule = broken_rules(pricer, pricer.crews(plan.assignments), tied)
    texts = [(b.text, b.athlete, b.race) for b in by_rule if b.rule == "pin" and "pinned (" in b.text]
    for a in plan.assignments:
        texts += [(v.text, a.athlete, a.race) for v in refusals(season, a.athlete, a.seat) if "pinned away" in v.text]
    words = {"(must)": "must", "(pair)": "pair", "(apart)": "apart", "pinned away": "never"}
    own = {"none that matches": "must", "are paired": "pair", "pinned apart": "apart", "pinned away": "never"}
    audited = [(m.text, m.athlete, m.race) for m in found.check("pin").broken]
    return tuple(  # type: ignore[return-value]
        {(kind, *where) for text, *where in said for word, kind in known.items() if word in text}
        for said, known in ((texts, words), (audited, own))
    )


@pytest.mark.parametrize("seed", range(SEASONS))
def test_audit_and_rules_agree_on_random_plans(seed: int) -> None:
    rng = random.Random(seed)
    season = random_season(rng)
    estimates = estimate_skills(season)
    model: StopModel = sample_stops(season, estimates, 1, 32)
    pricer = Pricer(season, model, season.weekends, Settings(), estimates)
    for number, plan in enumerate(random_plans(rng, season)):
        with_costs = number % 3 == 0
        found = audit(season, plan, season.weekends, model if with_costs else None, estimates=estimates)
        clash = two_places(found)
        said, audited = broken_pins(pricer, plan, found)
        assert said == audited
        reserves_out = {r.athlete for r in plan.reserves}
        hard, cost = by_rules(pricer, plan)
        own_hard, own_cost = by_audit(found)
        assert clash == {who for rule, who in hard if rule == "one_seat"}
        time_apart = ("clearance", "height", "availability", "recent_grades", "travel_places")
        skipped = {(rule, who) for rule, who in hard | own_hard if who in clash and rule not in time_apart}
        skipped |= {("availability", who) for who in reserves_out}
        assert hard - skipped == own_hard - skipped
        if not clash:
            cost.pop("travel", None)
            assert own_cost == pytest.approx(cost)
        if not clash and with_costs:
            costs = pricer.costs(pricer.crews(plan.assignments))
            assert found.costs == pytest.approx(costs)
            assert found.value_s == pytest.approx(sum(costs.values()))
