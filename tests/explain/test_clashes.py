"""Clashes: smallest sets and repairs against brute force on tiny seasons, words, second looks, the demo season."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace
from datetime import date, datetime, timedelta
from itertools import product

import numpy as np
import pytest

from lineup.explain import clash_model, clashes
from lineup.explain.clash_model import Look
from lineup.explain.clashes import ALONE, any_lineup, find_clashes
from lineup.lawful import broken_rules
from lineup.limits import Limit, Limits
from lineup.plan import Clash, Fact, Repair
from lineup.problem import build
from lineup.season import Absence, Clearance, Pin, Position, Season, Seat, WorkedDuty
from lineup.study import Study, open_study
from tests.builders import FIRST_SUNDAY, make_race, tiny_season, utc
from tests.optimize.brute import every_lineup
from tests.optimize.seasons import QUICK, random_model, random_season


def study_of(season: Season, seed: int = 1) -> Study:
    return Study(season, season.weekends, QUICK, known_model=random_model(season, 8, np.random.default_rng(seed)))


def with_limits(season: Season, *limits: Limit) -> Season:
    return season.replace(limits=replace(season.limits, by_name={limit.name: limit for limit in limits}))


def cleared_only(season: Season, **positions: str) -> Season:
    """Season in which the named athletes are cleared for these positions (such as a3="p1 p2") and nothing else."""
    kept = [c for c in season.clearances if c.athlete not in positions or c.position in positions[c.athlete].split()]
    return season.replace(clearances=tuple(kept))


def out(athlete: str, days: int = 0, first: date = FIRST_SUNDAY, **more: object) -> Absence:
    return Absence(athlete, first, first + timedelta(days=days), "out", **more)  # type: ignore[arg-type]


# ------------------------------------------------------------------------------------------------- brute force


class Relaxed:
    """A season in which only some facts hold, searched blindly: race by race, then every schedule."""

    def __init__(self, study: Study, facts: Collection[Fact]) -> None:
        self.study, self.season = study, study.season
        self.facts = {(fact.kind, fact.ids) for fact in facts}
        self.needed = {Seat(f.ids[0], *pair) for f in facts if f.kind == "need" for pair in _pairs(f.ids[1:])}

    def holds(self) -> bool:
        races = [list(self._race(race)) for race in self.season.races]
        return any(self._schedules(parts) for parts in product(*races))

    def _race(self, race: str) -> Iterator[dict[str, Seat]]:
        """Seat of each athlete, for every way to fill the race; ways that put the same people to work count once."""
        season = self.season
        seats = [seat for car in season.cars_in[race] for seat in season.seats(race, car)]
        options = [
            [*(a for a in season.athletes if self._may(a, seat)), *([] if seat in self.needed else [None])]
            for seat in seats
        ]
        told: set[frozenset[str]] = set()
        for choice in product(*options):
            crew = {a: seat for a, seat in zip(choice, seats, strict=True) if a is not None}
            people = frozenset(crew)
            whole = len(crew) == sum(a is not None for a in choice)
            if whole and people not in told and self._keeps(race, crew):
                told.add(people)
                yield crew

    def _may(self, athlete: str, seat: Seat) -> bool:
        season, facts = self.season, self.facts
        level = season.clearance_level(athlete, seat.position, seat.race)
        must = any(p.kind == "must" and p.athlete == athlete and p.position and _names(p, seat) for p in season.pins)
        cleared = level == "cleared" or (level == "training" and must)
        if ("clearance", (seat.position,)) in facts and not cleared:
            return False
        first, last = season.duty_days(seat.race)
        for absence in season.absences:
            over = absence.first_day > last or (absence.last_day is not None and absence.last_day < first)
            free = absence.athlete != athlete or over or seat.position in absence.positions
            if not free and ("availability", (athlete, absence.first_day.isoformat())) in facts:
                return False
        return not any(
            p.kind == "never" and p.athlete == athlete and _names(p, seat) and ("never", _ids(p)) in facts
            for p in season.pins
        )

    def _keeps(self, race: str, crew: Mapping[str, Seat]) -> bool:
        season, facts = self.season, self.facts
        limit, own = season.limits.get("travel_places"), season.races[race].travel_places
        places = own if own is not None else (limit.at_most if limit else None)
        if ("travel_places", (race,)) in facts and places is not None and len(crew) > places:
            return False
        for pin in season.pins:
            seats = [s for car in season.cars_in[race] for s in season.seats(race, car) if _names(pin, s)]
            if not seats or (pin.kind, _ids(pin)) not in facts:
                continue
            one, two = crew.get(pin.athlete), crew.get(pin.other or "")
            if pin.kind == "must" and one not in seats:
                return False
            if pin.kind == "pair" and (one and one.car) != (two and two.car):
                return False
            if pin.kind == "apart" and one and two and one.car == two.car:
                return False
        return True

    def _schedules(self, parts: Collection[Mapping[str, Seat]]) -> bool:
        for athlete in self.season.athletes:
            worked = [seat.race for crew in parts for who, seat in crew.items() if who == athlete]
            for breach in self.study.pricer.rules.assess(athlete, worked).breaches:
                if breach.rule == "one_seat":
                    together = any(k == "one_seat" and set(ids) <= {*worked, athlete} for k, ids in self.facts)
                    if together:
                        return False
                elif (breach.rule, (athlete,)) in self.facts:
                    return False
        return True


def _pairs(words: Collection[str]) -> Iterator[tuple[str, str]]:
    it = iter(words)
    return zip(it, it, strict=True)


def _names(pin: Pin, seat: Seat) -> bool:
    return pin.race in (None, seat.race) and pin.car in (None, seat.car) and pin.position in (None, seat.position)


def _ids(pin: Pin) -> tuple[str, ...]:
    return tuple(part for part in (pin.athlete, pin.other, pin.race, pin.car, pin.position) if part)


def has_lineup(study: Study, season: Season | None = None) -> bool:
    """Whether brute force over the optimiser's own problem finds a lineup."""
    changed = study if season is None else study_of(season)  # stops differ, but nothing here is too slow
    return next(every_lineup(build(changed.season, changed.model, study.weekends, QUICK)), None) is not None


def is_smallest(study: Study, clash: Clash) -> bool:
    """Whether the facts cannot all hold, and all but any one can."""
    fewer = ([f for f in clash.facts if f is not fact] for fact in clash.facts)
    return not Relaxed(study, clash.facts).holds() and all(Relaxed(study, facts).holds() for facts in fewer)


# ------------------------------------------------------------------------------------- repairs, read from their text


def repaired(season: Season, repair: Repair) -> Season:
    """The season after a repair, done as its text says."""
    text = repair.text.removesuffix(ALONE)
    if text.startswith("take back the pin"):
        return season.replace(pins=tuple(pin for pin in season.pins if _ids(pin) != repair.ids))
    if found := re.match(r"lift (\w+) .* from ([\d.]+) to ([\d.]+) ", text):
        name, old, new = found.group(1), float(found.group(2)), float(found.group(3))
        limit = season.limits.by_name[name]
        side = "at_most" if limit.at_most == old else "at_least"
        changed = replace(limit, at_most=new) if side == "at_most" else replace(limit, at_least=new)
        return season.replace(limits=Limits({**season.limits.by_name, name: changed}, journeys=season.limits.journeys))
    if found := re.match(r"find \d+ more travel places? to .* \((\d+) instead", text):
        race = replace(season.races[repair.ids[0]], travel_places=int(found.group(1)))
        return season.replace(races={**season.races, race.id: race})
    if text.startswith("clear "):
        return season.with_clearance(Clearance(repair.ids[0], repair.ids[1], "cleared"))
    if found := re.match(r"have .* back by (\d+ \w+ \d+)", text):
        back = datetime.strptime(found.group(1), "%d %b %Y").date()
        athlete, first_day = repair.ids
        return season.replace(absences=tuple(_ended(season.absences, athlete, first_day, back)))
    if text.startswith("find one more athlete"):
        new = replace(season.athletes["a1"], id="new", name="New", height_m=None)
        season = season.replace(athletes={**season.athletes, "new": new})
        return season.with_clearance(Clearance("new", repair.ids[0], "cleared"))
    if text.startswith("leave "):
        return season.replace(entries=tuple(e for e in season.entries if (e.race, e.car) != repair.ids))
    if found := re.match(r"allow .* a slowest service of ([\d.]+) s", text):
        car = replace(season.cars[repair.ids[0]], slowest_s=float(found.group(1)))
        return season.replace(cars={**season.cars, car.id: car})
    raise AssertionError(f"no way to do: {text}")


def _ended(absences: Collection[Absence], athlete: str, first_day: str, back: date) -> Iterator[Absence]:
    for absence in absences:
        if (absence.athlete, absence.first_day.isoformat()) != (athlete, first_day):
            yield absence
        elif absence.first_day < back:
            yield replace(absence, last_day=back - timedelta(days=1))


def tight_season(seed: int) -> Season:
    """A random season with more absences and tighter hard limits than most."""
    season, rng = random_season(seed), np.random.default_rng(seed + 1000)
    for athlete in season.athletes:
        if rng.random() < 0.35:
            season = season.with_absence(out(athlete, int(rng.integers(0, 12)), kind="medical"))
    hard = {name: replace(limit, price_s=None) for name, limit in season.limits.by_name.items()}
    return season.replace(limits=replace(season.limits, by_name=hard))


@pytest.mark.parametrize("seed", [seed for seed in range(24) if seed not in (4, 7)])  # those take brute force long
def test_clashes_are_smallest_and_their_repairs_hold(seed: int) -> None:
    study = study_of(tight_season(seed), seed)
    found = find_clashes(study)
    assert bool(found) != has_lineup(study)
    for clash in found:
        assert is_smallest(study, clash), clash
        for repair in clash.repairs:
            if len(found) == 1 or repair.text.endswith(ALONE):
                assert has_lineup(study, repaired(study.season, repair)), repair.text


@pytest.mark.parametrize("seed", range(12))
def test_some_lineup_keeps_every_rule(seed: int) -> None:
    study = study_of(random_season(seed), seed)
    lineup = any_lineup(study)
    assert (lineup is not None) == has_lineup(study)
    if lineup is not None:
        assert broken_rules(study.pricer, study.pricer.crews(lineup)) == ()


# ---------------------------------------------------------------------------------------------- cases told in words


def shortage() -> Season:
    """Three fuelers for two cars: B is out, C has worked three weekends in a row, of three allowed."""
    season = tiny_season(athletes=7, positions=["jack", "fueler"], cars=2, races=1)
    season = cleared_only(season, a1="fueler", a2="fueler", a3="fueler", a4="jack", a5="jack", a6="jack", a7="")
    sundays = [FIRST_SUNDAY - timedelta(weeks=week) for week in (3, 2, 1)]
    worked = tuple(
        WorkedDuty(
            "a3",
            f"old-{i}",
            "track-1",
            utc(datetime(d.year, d.month, d.day, 8)),
            utc(datetime(d.year, d.month, d.day, 17)),
        )
        for i, d in enumerate(sundays)
    )
    season = with_limits(season.replace(worked=worked), Limit("weekends_in_a_row", at_most=3))
    return season.with_absence(Absence("a2", FIRST_SUNDAY, date(2026, 6, 12), "out", kind="medical"))


def test_a_shortage_is_told_as_a_coach_would_tell_it() -> None:
    (clash,) = find_clashes(study_of(shortage()))
    assert [fact.text for fact in clash.facts] == [
        "Race 1 (r1) needs two at Fueler (fueler) (Car 1 (c1) and Car 2 (c2))",
        "only Athlete 1 (a1), Athlete 2 (a2) and Athlete 3 (a3) may work Fueler (fueler)",
        "Athlete 2 (a2) is out until 12 Jun 2026",
        "Athlete 3 (a3): 4 weekends in a row of 3 allowed with Race 1 (r1)",
    ]
    assert is_smallest(study_of(shortage()), clash)


def test_repairs_are_ranked_and_each_one_works() -> None:
    season = shortage()
    (clash,) = find_clashes(study_of(season))
    starts = ["lift weekends_in_a_row", "clear Athlete", "clear Athlete", "have Athlete 2 (a2) back by 5 Apr 2026"]
    starts += ["find one more athlete", "leave Car"]
    assert [r.text.startswith(s) for r, s in zip(clash.repairs, starts, strict=True)] == [True] * 6, clash.repairs
    assert "only those who may release an athlete decide that" in clash.repairs[3].text
    assert clash.repairs[0].text.endswith("from 3 to 4 weekends")
    study = study_of(season)
    assert not has_lineup(study)
    assert all(has_lineup(study, repaired(season, repair)) for repair in clash.repairs)


def test_a_wrong_repair_does_not_pass_the_check() -> None:
    """The check above can fail: lifting by nothing, clearing somebody who is away, coming back too late."""
    season = shortage()
    lift, clear, _, back, *_ = find_clashes(study_of(season))[0].repairs
    wrong = [
        replace(lift, text=lift.text.replace("to 4 weekends", "to 3 weekends")),
        replace(clear, ids=("a2", "fueler")),
        replace(back, text=back.text.replace("5 Apr", "6 Apr")),
    ]
    assert not any(has_lineup(study_of(season), repaired(season, repair)) for repair in wrong)


def test_what_cannot_work_is_not_offered() -> None:
    """a2 is out for good reasons at race 2 alone; ending an absence that touches no race of the clash is no repair."""
    season = shortage().with_absence(out("a3", 100))
    (clash,) = find_clashes(study_of(season))
    texts = [repair.text for repair in clash.repairs]
    assert not any(text.startswith(("lift", "have Athlete 3")) for text in texts)  # a3 is held by two facts


def test_several_independent_clashes_are_all_told() -> None:
    season = tiny_season(athletes=4, positions=2, races=3)
    season = cleared_only(season, a1="p1", a2="p1", a3="p2", a4="p2")
    third = FIRST_SUNDAY + timedelta(weeks=2)
    season = season.with_absence(out("a1"), out("a2"), out("a3", 0, third), out("a4", 0, third))
    found = find_clashes(study_of(season))
    assert [clash.facts[0].ids for clash in found] == [("r1", "c1", "p1"), ("r3", "c1", "p2")]
    study = study_of(season)
    assert all(is_smallest(study, clash) for clash in found)
    both = repaired(repaired(season, _back(found[0])), _back(found[1]))
    assert has_lineup(study, both)
    assert not has_lineup(study, repaired(season, _back(found[0])))


def _back(clash: Clash) -> Repair:
    return next(repair for repair in clash.repairs if repair.text.startswith("have "))


def test_one_shortage_seen_at_many_seats_is_told_once() -> None:
    season = with_limits(tiny_season(athletes=3, races=4), Limit("weekends_in_a_row", at_most=3))
    found = find_clashes(study_of(season))
    assert len(found) == 1
    assert found[0].repairs[0].text.endswith("from 3 to 4 weekends")
    assert all(has_lineup(study_of(season), repaired(season, repair)) for repair in found[0].repairs)


def test_a_pin_against_an_absence() -> None:
    season = tiny_season().with_pin(Pin("must", "a1", "promised", race="r1", position="p1")).with_absence(out("a1"))
    (clash,) = find_clashes(study_of(season))
    assert [fact.kind for fact in clash.facts] == ["must", "availability"]
    assert clash.facts[0].text == ("Athlete 1 (a1) must work P1 (p1) at Race 1 (r1) (pinned: promised)")
    assert clash.repairs[0].text.startswith("take back the pin: Athlete 1 (a1) must work")


def test_pins_of_two_that_cannot_both_hold() -> None:
    season = tiny_season(athletes=8, cars=2)
    season = season.with_pin(Pin("pair", "a1", "learning", other="a2"), Pin("apart", "a1", "rivals", other="a2"))
    season = season.with_pin(Pin("must", "a1", "promised"))
    (clash,) = find_clashes(study_of(season))
    assert [fact.kind for fact in clash.facts] == ["must", "pair", "apart"]
    assert "Athlete 1 (a1) and Athlete 2 (a2) work the same car or not at all (pinned: learning)" in clash.facts[1].text
    assert len(clash.repairs) == 3


def test_a_pair_that_names_a_position_ties_every_seat_of_the_races_that_have_it() -> None:
    season = tiny_season(athletes=8, cars=2).with_pin(
        Pin("pair", "a1", "learning", "a2", None, None, "p1"),
        Pin("must", "a1", "promised", None, None, "c1", "p2"),
        Pin("must", "a2", "promised", None, None, "c2", "p2"),
    )
    (clash,) = find_clashes(study_of(season))
    assert sorted(fact.kind for fact in clash.facts) == ["must", "must", "pair"]
    told = (
        "Athlete 1 (a1) and Athlete 2 (a2) work the same car or not at all where there is a P1 (p1) (pinned: learning)"
    )
    assert told in [fact.text for fact in clash.facts]


def test_travel_places_are_found_to_be_too_few() -> None:
    season = tiny_season(athletes=6)
    season = season.replace(races={"r1": replace(season.races["r1"], travel_places=1)})
    (clash,) = find_clashes(study_of(season))
    assert clash.facts[-1].text == "Race 1 (r1) has 1 travel place"
    assert clash.repairs[0].text.startswith("find 2 more travel places to Race 1 (r1) (3 instead of 1)")
    assert has_lineup(study_of(season), repaired(season, clash.repairs[0]))


def test_two_races_at_once() -> None:
    season = tiny_season(athletes=5, races=2)
    season = season.replace(races={"r1": season.races["r1"], "r2": make_race(1, on=FIRST_SUNDAY, weekend="w1")})
    (clash,) = find_clashes(study_of(season))
    assert clash.facts[-1].kind == "one_seat"
    assert clash.facts[-1].text.startswith("nobody can work both Race 1 (r1) and Race 2 (r2)")
    assert is_smallest(study_of(season), clash)


def test_a_car_that_asks_for_more_than_its_crews_can_do() -> None:
    season = tiny_season(athletes=4)
    study = study_of(season)
    bank = next(iter(study.model.banks.values()))
    rows = np.array([row for row in product(range(4), repeat=3) if len(set(row)) == 3])
    quickest = float(bank.stop_times(rows).mean(axis=1).min())
    hasty = season.replace(cars={"c1": replace(season.cars["c1"], slowest_s=quickest - 0.5)})
    (clash,) = find_clashes(study.with_season(hasty))
    assert {fact.kind for fact in clash.facts} == {"need", "slowest"}
    allowed = float(re.search(r"of ([\d.]+) s instead", clash.repairs[0].text).group(1))  # type: ignore[union-attr]
    assert quickest <= allowed <= quickest + 0.2
    easy = season.replace(cars={"c1": replace(season.cars["c1"], slowest_s=quickest + 1e-9)})
    assert find_clashes(study.with_season(easy)) == ()


def test_height_and_recent_grades_are_facts_of_one_athlete() -> None:
    season = tiny_season(athletes=3)
    positions = {**season.positions, "p1": Position("p1", "Fueler", min_height_m=1.83)}
    short = season.replace(positions=positions)
    (clash,) = find_clashes(study_of(short))
    assert clash.facts[-1].text == "Athlete 3 (a3) is 180.0 cm tall; Fueler (p1) asks for 183.0 cm"
    few = with_limits(season, Limit("recent_grades", at_least=9, days=30))
    (clash, *_) = find_clashes(study_of(few))
    assert clash.facts[-1].text.endswith("has fewer than 9 graded stops as P1 (p1) in the 30 days before")
    assert any(repair.text.startswith("grade 3 more stops of Athlete") for repair in clash.repairs)


def test_a_published_limit_is_lifted_with_a_word_of_caution() -> None:
    law = Limit("weekly_rest_hours", at_least=167.0, preset="2003/88/EC", source="Directive 2003/88/EC art. 5")
    season = with_limits(tiny_season(athletes=3), law)
    (clash,) = find_clashes(study_of(season))
    lift = clash.repairs[0].text
    assert lift.startswith("lift weekly_rest_hours (longest rest in each ISO week) from 167 to ")
    assert "Directive 2003/88/EC art. 5 is not yours to lift" in lift
    assert has_lineup(study_of(season), repaired(season, clash.repairs[0]))


# ------------------------------------------------------------------------------------------------------ second looks


def test_a_block_with_a_lineup_has_no_clash() -> None:
    assert find_clashes(study_of(tiny_season())) == ()


def test_impossible_is_told_only_after_a_second_look(monkeypatch: pytest.MonkeyPatch) -> None:
    """A solver that wrongly refutes everything with its presolve on is found out without it."""
    honest, asked = clash_model.look, []

    def faulty(*args: object, **more: object) -> Look:
        presolve = args[4] if len(args) > 4 else more.get("presolve", True)
        asked.append(presolve)
        return Look(None) if presolve else honest(*args, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(clashes, "look", faulty)
    assert find_clashes(study_of(tiny_season())) == ()
    assert False in asked


def test_the_same_clashes_come_out_each_time() -> None:
    first, again = (find_clashes(study_of(shortage())) for _ in range(2))
    assert first == again


def test_a_broken_demo_season_is_explained() -> None:
    """All fuelers but one are out on the Sunday of Thornquist, where two cars need one each."""
    study = open_study("data_demo/season")
    fuelers = [c.athlete for c in study.season.clearances if c.position == "fueler" and c.athlete != "mikkel-umarov"]
    day = study.season.duty_days("thornquist-cairn")[0]
    broken = study.season.with_absence(*(out(athlete, 0, day) for athlete in fuelers))
    (clash,) = find_clashes(study.with_season(broken))
    assert clash.facts[0].text.startswith("Thornquist 400 (thornquist-cairn) needs two at Fueler (fueler)")
    assert {fact.ids[0] for fact in clash.facts if fact.kind == "availability"} < set(fuelers)
    back = next(repair for repair in clash.repairs if repair.text.startswith("have "))
    assert find_clashes(study.with_season(repaired(broken, back))) == ()
