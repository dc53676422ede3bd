"""Every cost item on a plan whose figures can be worked out on paper."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from lineup.errors import InputError, PlanFileError
from lineup.plan import Assignment
from lineup.price import Priced, Pricer
from lineup.season import Absence, Entry, Position, Season, Seat, Weights, WorkedDuty
from lineup.settings import Settings
from lineup.skills import estimate_skills
from tests.builders import grade_row, grade_table
from tests.fixed_stops import fixed_model, fixed_season
from tests.timetables import limits_of


def plan(text: str) -> list[Assignment]:
    """Assignments from lines "race car: athlete of p1, athlete of p2"; "-" leaves a seat empty."""
    found = []
    for line in text.strip().splitlines():
        entry, crew = line.split(":")
        race, car = entry.split()
        names = [name.strip() for name in crew.split(",")]
        found += [Assignment(race, car, f"p{i + 1}", name) for i, name in enumerate(names) if name != "-"]
    return found


WHOLE = "r1 c1: a1, a2\nr1 c2: a3, a4\nr2 c1: a1, a2\nr2 c2: a4, a3"


def pricer(settings: Settings | None = None, **changes: Any) -> Pricer:
    season = fixed_season(**changes)
    return Pricer(season, fixed_model(season), season.weekends, settings or Settings())


def price(text: str = WHOLE, settings: Settings | None = None, **changes: Any) -> Priced:
    return pricer(settings, **changes).price(plan(text))


def test_stops_and_penalties_by_hand() -> None:
    # a1 beside a2: max(4,5) max(4,5) max(4,5) max(8,5) = 5 5 5 8, mean 5.75. a3 beside a4: 7 throughout.
    # Priorities 3 and 1, mean 2: 1.5 and 0.5. Two races, 5 stops each.
    found = price()
    assert found.costs["stops"] == pytest.approx(2 * 5 * (1.5 * 5.75 + 0.5 * 7))
    assert found.costs["penalties"] == pytest.approx(2 * 5 * (1.5 * 0.5 + 0.5 * 0.25))
    assert found.value_s == pytest.approx(sum(found.costs.values()))
    assert set(found.costs) == {"stops", "penalties"}
    assert found.notes == ()


def test_the_tail_is_blended_in() -> None:
    # Worst 30 % of 4 stops is 1.2 stops of 5 5 5 8: (8 + 0.2 * 5) / 1.2 = 7.5 (Rockafellar and Uryasev 2002)
    found = price("r1 c1: a1, a2", weights=Weights(tail=0.4, tail_share=0.3))
    assert found.costs["stops"] == pytest.approx(1.5 * 5 * (0.6 * 5.75 + 0.4 * 7.5))
    over = price("r1 c1: a1, a2", settings=Settings(tail=1.0), weights=Weights(tail=0.4, tail_share=0.3))
    assert over.costs["stops"] == pytest.approx(1.5 * 5 * 7.5)


def test_forecasts_come_with_the_price() -> None:
    first = price("r1 c1: a1, a2").entries[0]
    assert (first.race, first.car, first.service) == ("r1", "c1", "four")
    assert first.mean_s == pytest.approx(5.75)
    assert first.critical_share == {"p1": 0.25, "p2": 0.75}


def test_crew_changes_within_the_block_and_from_the_last_race_before() -> None:
    weights = Weights(crew_change_s=2.0)
    assert price(weights=weights).costs["crew_changes"] == 2 * 2.0  # both seats of c2 change hands at r2
    assert "crew_changes" not in price("r1 c1: a1, a2\nr2 c1: a1, a2", weights=weights).costs
    season = fixed_season()
    report = season.races["r1"].report
    before = tuple(
        WorkedDuty(who, race, "track-1", report.replace(day=day), report.replace(day=day, hour=22), car, position)
        for who, race, day, car, position in (
            ("a2", "h2", 3, "c1", "p1"),  # the last race of c1 before the block: a2 held p1, p2 is not known
            ("a1", "h1", 2, "c1", "p1"),
            ("a4", "h1", 2, "c1", "p2"),
            ("a3", "h1", 2, "c2", "p1"),
        )
    )
    assert price(weights=weights, worked=before).costs["crew_changes"] == 3 * 2.0


def test_a_seat_that_was_empty_makes_no_change() -> None:
    weights = Weights(crew_change_s=2.0)
    assert "crew_changes" not in price("r1 c1: a1, -\nr2 c1: a1, a2", weights=weights).costs
    # an entry with nobody breaks the chain as well: the car's race before is r1, and nobody held the seat there
    assert "crew_changes" not in price("r2 c1: a1, a2", weights=weights).costs


def test_not_standing_and_development() -> None:
    season = fixed_season()
    young = season.athletes | {"a4": replace(season.athletes["a4"], group="developing")}
    found = price(
        weights=Weights(not_standing_s=0.75, development_start_s=0.3),
        standing={("c1", "p1"): "a1", ("c2", "p1"): "a3"},
        athletes=young,
    )
    assert found.costs["not_standing"] == 0.75  # c2 at r2
    assert found.costs["development"] == pytest.approx(-0.6)


def test_travel_counts_every_journey_of_starters() -> None:
    found = pricer(weights=Weights(travel_hour_s=0.1))
    hours = sum(found.rules.assess(f"a{i}", ("r1", "r2")).travel_h for i in range(1, 5))
    assert hours > 0
    assert found.price(plan(WHOLE)).costs["travel"] == pytest.approx(0.1 * hours)


def test_uneven_load() -> None:
    # 8 seats, 4 who may start: an even share of 2 each
    assert "uneven" not in price(weights=Weights(uneven_s=1.0)).costs
    found = price("r1 c1: a1, a2\nr2 c1: a1, a2", weights=Weights(uneven_s=0.5))
    assert found.costs["uneven"] == 0.5 * (0 + 0 + 2 + 2)
    out = pricer(
        weights=Weights(uneven_s=0.5), absences=(Absence("a4", fixed_season().duty_days("r1")[0], None, "out"),)
    )
    assert out.even_share == pytest.approx(8 / 3)
    assert out.uneven({"a1": 3}) == pytest.approx(0.5 * (1 / 3 + 8 / 3 + 8 / 3))


def test_priced_limits_cost_and_say_who() -> None:
    limits = limits_of(
        weekends_in_a_row={"at_most": 1, "price_s": 4.0},
        height={"price_s": 0.5},
        starts={"at_least": 2, "price_s": 1.0},
    )
    positions = {"p1": Position("p1", "P1", min_height_m=1.9), "p2": Position("p2", "P2")}
    found = price("r1 c1: a1, a2\nr2 c1: a1, a3", limits=limits, positions=positions)
    assert found.costs["limit:weekends_in_a_row"] == 4.0
    assert found.costs["limit:height"] == 2 * 0.5
    assert found.costs["limit:starts"] == 1.0 + 1.0 + 2.0  # a2, a3 one short, a4 two
    paid = [(p.rule, p.athlete, p.race, p.position, p.cost_s) for p in found.priced]
    assert ("weekends_in_a_row", "a1", "r2", None, 4.0) in paid
    assert ("height", "a1", "r1", "p1", 0.5) in paid
    assert sum(p.cost_s or 0.0 for p in found.priced) == pytest.approx(4.0 + 1.0 + 4.0)
    too_short = next(p for p in found.priced if p.rule == "height")
    assert (too_short.car, too_short.figure, too_short.limit) == ("c1", 1.8, 1.9)
    assert too_short.text.startswith("Athlete 1 (a1)")


def test_no_recent_grade_at_all_is_none_of_those_asked_for() -> None:
    limits = limits_of(recent_grades={"at_least": 2, "days": 30, "price_s": 0.5})
    found = price("r1 c1: a1, -", limits=limits, grades=grade_table([]))
    assert [(p.rule, p.athlete, p.figure, p.limit) for p in found.priced] == [("recent_grades", "a1", 0, 2)]
    assert found.costs["limit:recent_grades"] == found.priced[0].cost_s == 2 * 0.5


def test_travel_places_have_a_price_where_limits_toml_gives_one() -> None:
    season = fixed_season()
    races = season.races | {"r1": replace(season.races["r1"], travel_places=3)}
    assert "limit:travel_places" not in price(races=races).costs  # hard: the audit's matter
    found = price(races=races, limits=limits_of(travel_places={"at_most": 2, "price_s": 1.5}))
    assert found.costs["limit:travel_places"] == 1.5 * (1 + 2)  # 4 people: 3 places at r1, 2 at r2
    paid = [(p.rule, p.race, p.athlete, p.figure, p.limit, p.cost_s) for p in found.priced]
    assert paid == [("travel_places", "r1", None, 4, 3, 1.5), ("travel_places", "r2", None, 4, 2, 3.0)]


def test_an_advantage_that_may_not_be_real_is_added_back() -> None:
    standing = {("c1", "p1"): "a3", ("c1", "p2"): "a2"}
    season = fixed_season(standing=standing, weights=Weights(keep_chance=0.9))
    same = [grade_row(a, p, f"do-{p}", 5.0) for a in season.athletes for p in ("p1", "p2") for _ in range(3)]
    season = season.replace(grades=grade_table(same))
    found = Pricer(season, fixed_model(season), season.weekends, Settings(), estimate_skills(season))
    # the standing crew, a3 beside a2, stops in 6 5 6 6, mean 5.75; a2 in place of a3 makes it 5: 0.75 s on 5 stops at
    # priority 1.5, and with equal grades the chance that it is real is a half
    assert found.unsure.chance("a2", "a3", Seat("r1", "c1", "p1")) == pytest.approx(0.5, abs=0.05)
    assert found.seat_items("a2", Seat("r1", "c1", "p1")) == {"unsure_changes": pytest.approx(1.5 * 5 * 0.75)}
    assert found.seat_items("a4", Seat("r1", "c1", "p1")) == {}  # no gain to take back
    quick = season.replace(
        grades=grade_table([row | {"seconds": 4.0} if row["athlete"] == "a2" else row for row in same])
    )
    told = Pricer(season, fixed_model(season), season.weekends, Settings(), estimate_skills(quick))
    assert told.unsure.chance("a2", "a3", Seat("r1", "c1", "p1")) > 0.9  # the estimates given, not the season's own
    bold = Pricer(season.replace(weights=Weights(keep_chance=0.3)), found.model, season.weekends, Settings())
    assert bold.seat_items("a2", Seat("r1", "c1", "p1")) == {}  # likely enough: kept


def test_single_pieces_add_up_to_the_whole() -> None:
    weights = Weights(not_standing_s=0.75, development_start_s=0.3)
    found = pricer(weights=weights, standing={("c1", "p1"): "a2"})
    whole = found.price(plan(WHOLE))
    seats = sum(found.seat_cost(a.athlete, a.seat) for a in plan(WHOLE))
    crews = found.crews(plan(WHOLE))
    stops = sum(found.entry_value(entry, crew) for entry, crew in crews.items())
    assert whole.value_s == pytest.approx(seats + stops) == pytest.approx(found.value(plan(WHOLE)))
    assert found.costs(crews) == whole.costs
    assert found.mean_s("r1", crews[Entry("r1", "c1")]) == {"four": pytest.approx(5.75)}


def test_a_partly_filled_plan_is_priced_and_says_what_is_missing() -> None:
    found = price("r1 c1: a1, -")
    assert found.costs["stops"] == pytest.approx(1.5 * 5 * 5.0)  # a1 alone: 4 4 4 8
    assert found.notes[0] == "Race 1 (r1), car Car 1 (c1), P2 (p2): nobody, its work counts as no time"
    assert found.notes[1] == "Race 1 (r1), car Car 2 (c2): nobody, left out"
    assert len(found.notes) == 4
    assert len(found.entries) == 1


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (("r9", "c1", "p1", "a1"), "the plan names race 'r9', which the season lacks"),
        (("r1", "c9", "p1", "a1"), "car 'c9'"),
        (("r1", "c1", "p9", "a1"), "position 'p9'"),
        (("r1", "c1", "p1", "a9"), "athlete 'a9', which the season lacks"),
    ],
)
def test_unknown_names_are_refused(row: tuple[str, str, str, str], message: str) -> None:
    with pytest.raises(PlanFileError, match=message):
        pricer().price([Assignment(*row)])


def test_names_outside_the_block_are_refused() -> None:
    season = fixed_season()
    first = Pricer(season, fixed_model(season), ("w1",), Settings())
    with pytest.raises(PlanFileError, match=r"race Race 2 \(r2\), which lies outside the block"):
        first.price(plan("r2 c1: a1, a2"))
    with pytest.raises(PlanFileError, match=r"fills Race 1 \(r1\), car Car 1 \(c1\), P1 \(p1\) twice: a1 and a2"):
        first.price([Assignment("r1", "c1", "p1", "a1"), Assignment("r1", "c1", "p1", "a2")])
    alone = season.replace(entries=tuple(e for e in season.entries if e.car == "c1"))
    with pytest.raises(PlanFileError, match=r"car Car 2 \(c2\) in race Race 1 \(r1\), where it is not entered"):
        Pricer(alone, fixed_model(alone), alone.weekends, Settings()).price(plan("r1 c2: a1, a2"))


def test_a_position_without_a_service_is_refused() -> None:
    season = fixed_season()
    more: Season = season.replace(positions=season.positions | {"p3": Position("p3", "P3")})
    with pytest.raises(PlanFileError, match=r"fills P3 \(p3\) in race Race 1 \(r1\), where no service has"):
        Pricer(more, fixed_model(more), more.weekends, Settings()).price([Assignment("r1", "c1", "p3", "a1")])


def test_who_has_no_sampled_stops_cannot_be_priced() -> None:
    season = fixed_season()
    season = season.replace(clearances=tuple(c for c in season.clearances if c.athlete != "a1"))
    with pytest.raises(InputError, match="a1 has no clearance for p1"):
        Pricer(season, fixed_model(season), season.weekends, Settings()).price(plan("r1 c1: a1, a2"))
