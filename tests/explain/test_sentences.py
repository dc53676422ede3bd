"""Every sentence pattern of the explanations, rendered on one small season and read once as text.

`python -m tests.explain.test_sentences` writes sentences.txt again after a change of words.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

from lineup.explain import words
from lineup.explain.absences import return_of
from lineup.explain.alternatives import alternatives
from lineup.explain.better import nothing_better
from lineup.explain.by_hand import pin_prices
from lineup.explain.cross_training import cross_training
from lineup.explain.depth import depth_chart
from lineup.explain.drill_records import Drill, Loss, Saver, drill_lines
from lineup.explain.injury import option_text, replan
from lineup.explain.loss import loss_of
from lineup.explain.on_site import step_ins
from lineup.explain.smallest import smallest_changes
from lineup.explain.swaps import Swap, find_swaps
from lineup.explain.training import practice_priorities
from lineup.explain.tryout import tryout
from lineup.explain.why import why
from lineup.explain.why_not import why_not
from lineup.limits import Limit, Limits
from lineup.optimize.solve import solve
from lineup.plan import Assignment, Move, Plan, Reserve
from lineup.season import Absence, Car, Clearance, Entry, Pin, Position, Season, Seat, Weights, WorkedDuty
from lineup.settings import Settings
from lineup.study import Study
from tests.builders import FIRST_SUNDAY, tiny_season

FILE = Path(__file__).with_name("sentences.txt")
NAMES = {
    "a1": "Ana Lind", "a2": "Ben Ode", "a3": "Cleo Marsh", "a4": "Dov Reyes", "a5": "Eli Stone", "a6": "Fay Nord",
    "a7": "Gus Tamm", "a8": "Hal Wren",
}  # fmt: skip
GROUPS = {"a8": "candidate"}
RACES = {"r1": "Pine Hollow 300", "r2": "Larch 200", "r3": "Copper 400"}
TASKS = {"p1": "Right side up", "p2": "First can in"}
WEEK = timedelta(weeks=1)
CREW = [("c1", "p1", "a1"), ("c1", "p2", "a2"), ("c2", "p1", "a3"), ("c2", "p2", "a4")]
EFFORT = Settings(work=200, workers=1, scenarios=128, tolerance=0.0)


def small_season() -> Season:
    own = {("a1", "p1"): 3.6, ("a2", "p2"): 3.7, ("a3", "p1"): 3.9, ("a4", "p2"): 4.0, ("a5", "p1"): 3.85}
    own |= {("a6", "p1"): 3.5, ("a7", "p2"): 3.4, ("a8", "p1"): 3.0, ("a5", "p2"): 4.2}
    weights = Weights(crew_change_s=0.8, not_standing_s=0.5, absence_chance=0.1)
    season = tiny_season(
        athletes=8, positions=2, cars=2, races=3, shape="chained", own=own, noise=0.03, grades=10, weights=weights
    )
    first, stop = season.races["r1"], season.choreographies["four"]
    tasks = tuple(replace(task, name=TASKS[task.position or ""]) for task in stop.tasks)
    return season.replace(
        athletes={a: replace(f, name=NAMES[a], group=GROUPS.get(a, "regular")) for a, f in season.athletes.items()},
        choreographies={"four": replace(stop, tasks=tasks)},
        positions={"p1": Position("p1", "Jack"), "p2": Position("p2", "Fueler")},
        cars={"c1": Car("c1", "cup", 2.0, "shop", "Ember"), "c2": Car("c2", "cup", 1.0, "shop", "Slate")},
        races={r: replace(facts, name=RACES[r]) for r, facts in season.races.items()},
        clearances=tuple(
            Clearance(c.athlete, c.position, "training" if c.athlete == "a8" else "cleared")
            for c in season.clearances
            if (c.athlete, c.position) not in {("a6", "p2"), ("a3", "p2"), ("a8", "p2"), ("a2", "p1"), ("a4", "p1")}
        ),
        standing={(car, position): athlete for car, position, athlete in CREW},
        absences=(Absence("a7", FIRST_SUNDAY, date(2026, 4, 14), "out"),),
        pins=(
            Pin("never", "a6", "not on this car yet", car="c1"),
            Pin("must", "a2", "a promise", race="r1", position="p2"),
        ),
        limits=Limits({"weekends_in_a_row": Limit("weekends_in_a_row", at_most=4)}),
        worked=(WorkedDuty("a5", "r0", "shop", first.report - WEEK, first.released - WEEK),),
    )  # fmt: skip


def world() -> tuple[Study, Plan]:
    season = small_season()
    study = Study(season, season.weekends, EFFORT)
    assignments = tuple(sorted(Assignment(r, c, p, a) for r in season.races for c, p, a in CREW))
    return study, Plan("best_so_far", assignments, (Reserve("r1", "a5"),), weekends=study.weekends)


def rendered() -> Iterator[tuple[str, list[str]]]:
    """Headings and the sentences below them."""
    study, plan = world()
    season = study.season
    jack, fueler = Seat("r1", "c1", "p1"), Seat("r1", "c2", "p2")
    for title, answer in (("Why", why(study, plan, jack)), ("Why, another car", why(study, plan, fueler))):
        yield title, [answer.text, *(f"{words.name(season, r.athlete)}: {r.text}" for r in answer.reasons)]
    yield "Why, all kinds", _all_kinds(study, plan)
    for athlete in ("a5", "a3", "a6", "a8"):
        found = why_not(study, plan, jack, athlete, EFFORT)
        yield f"Why not {NAMES[athlete]}", [found.text, *found.limits, *found.smallest]
    yield "What would make somebody right", _right(study, plan)
    yield "Swaps", [_swap(season, swap) for swap in find_swaps(study, plan, fueler)]
    yield "Why nothing better", _better(study, plan)
    yield "Other good plans", [one.text for one in alternatives(study, plan, count=2, settings=EFFORT)]
    yield "Pins", [price.text for price in pin_prices(study, plan, EFFORT)]
    yield "Depth chart", _depth(study, plan)
    yield "Injury", _injury(study, plan)
    yield "At the track", [way.text for way in step_ins(study, plan, jack)]
    yield "Drill", _drill(study, plan)
    yield "Who should learn what", [advice.text for advice in cross_training(study, plan, most=3)]
    yield "Practice", _practice(study, plan)
    yield "Tryout", [candidate.text for candidate in tryout(study, plan)]
    yield "Chances and amounts", _amounts(season)


def _all_kinds(study: Study, plan: Plan) -> list[str]:
    found: dict[str, str] = {}
    worse = plan.replace(
        assignments=tuple(
            replace(a, athlete={"a1": "a3", "a3": "a1"}.get(a.athlete, a.athlete)) for a in plan.assignments
        )
    )
    plain = study.with_season(study.season.replace(weights=Weights(), standing={}))
    for where, which in ((study, plan), (study, worse), (plain, plan), (plain, worse)):
        for assignment in which.assignments:
            answer = why(where, which, assignment.seat)
            found.setdefault("headline " + re.sub(r"[A-Z0-9].*?(:|;|,|$)", r"\1", answer.text)[:30], answer.text)
            for reason in answer.reasons:
                found.setdefault(reason.kind, f"{words.name(study.season, reason.athlete)}: {reason.text}")
    return list(found.values())


def _swap(season: Season, swap: Swap) -> str:
    told = f"{words.moves(season, swap.moves)}: {words.costs(-swap.gain_s)}"
    return told if swap.allowed else f"{told}; {' / '.join(swap.reasons)}"


def _right(study: Study, plan: Plan) -> list[str]:
    """From the best plan, so that seating somebody else costs something; with gains too unsure to count, too."""
    best = plan.replace(assignments=tuple(sorted(solve(study.problem, EFFORT).assignments)))
    found = why_not(study, best, Seat("r2", "c1", "p1"), "a5", EFFORT)
    full = why_not(study, best, Seat("r3", "c2", "p1"), "a1", EFFORT)
    weights = Weights(keep_chance=0.97, not_standing_s=0.01)
    careful = study.with_season(study.season.replace(weights=weights, pins=()))
    seat = Seat("r1", "c2", "p1")
    unsure = plan.replace(
        assignments=tuple(replace(a, athlete="a5") if a.seat == seat else a for a in plan.assignments)
    )
    cost = careful.pricer.value(unsure.assignments) - careful.pricer.value(plan.assignments)
    right = smallest_changes(careful, plan, unsure, seat, "a5", cost)
    first = plan.replace(assignments=tuple(a for a in plan.assignments if a.race == "r1"), weekends=("w1",))
    late = why_not(Study(_tired(study.season), ("w1",), EFFORT), first, Seat("r1", "c1", "p1"), "a5", EFFORT)
    return [found.text, *found.limits, *found.smallest, *full.limits, *right, late.text, *late.smallest]


def _tired(season: Season) -> Season:
    """The season in which Eli Stone has worked every weekend he may."""
    return season.replace(limits=Limits({"weekends_in_a_row": Limit("weekends_in_a_row", at_most=1)}))


def _better(study: Study, plan: Plan) -> list[str]:
    lines = []
    for asked, car in ((0.1, "c1"), (0.3, "c2"), (3.5, "c1")):
        answer = nothing_better(study, plan, Entry("r1", car), asked)
        lines += [answer.text, *(give.text for give in answer.gives)]
    return lines


def _depth(study: Study, plan: Plan) -> list[str]:
    """The chart as it is, and one in which nobody, nobody free and nobody lawful stands behind a starter."""
    season = study.season
    alone = study.with_season(
        season.replace(clearances=tuple(c for c in season.clearances if c.athlete in ("a1", "a2")))
    )
    busy = study.with_season(season.replace(clearances=tuple(c for c in season.clearances if c.athlete < "a5")))
    charts = [depth_chart(where, plan) for where in (study, alone, busy)]
    return [line for chart in charts for line in (*chart.holes, *chart.hurts)]


def _practice(study: Study, plan: Plan) -> list[str]:
    found = practice_priorities(study.season, study.model, study.estimates, plan)
    first = [priorities[0] for priorities in found.athletes.values()]
    return [*(f"{words.name(study.season, p.athlete)}: {p.text}" for p in first), found.caution]


def _injury(study: Study, plan: Plan) -> list[str]:
    season = study.season
    paired = study.with_season(season.with_pin(Pin("pair", "a1", "learn together", other="a2")))
    back = return_of(season, study.weekends, "a1", date(2026, 4, 10), date(2026, 4, 17), date(2026, 4, 8))
    away = Absence("a5", FIRST_SUNDAY, None, "out")
    lines = []
    for where, absences, returns in (
        (study, [Absence("a1", FIRST_SUNDAY, None, "out")], []),
        (study, [], [back]),
        (study, [Absence("a2", FIRST_SUNDAY, None, "out"), away], []),
        (paired, [Absence("a1", FIRST_SUNDAY, None, "out")], []),
        (study, [away], []),
    ):
        found = replan(where, plan, absences, returns=returns, settings=EFFORT)
        lines += [*found.notes, *(option_text(season, option) for option in found.options)]
        lines += [words.plain(season, fact.text) for clash in found.clash for fact in clash.facts]
    return [*lines, found.caution]


def _drill(study: Study, plan: Plan) -> list[str]:
    losses = [loss_of(study, plan, (athlete,), None, EFFORT) for athlete in ("a1", "a2", "a5")]
    losses.append(Loss(("a1", "a2"), 6, "not_found"))
    losses.append(Loss(("a3",), 3, "best_so_far", 2.0, 1.5, 3))
    losses.append(Loss(("a4",), 3, "impossible", facts=("only Dov Reyes may work Fueler",), repairs=("find one more",)))
    return list(drill_lines(study.season, Drill(tuple(losses), (("a6",), ("a7", "a8")), (Saver("a5", 2.0, 2, 1),))))


def _amounts(season: Season) -> list[str]:
    chances = [words.sureness(chance) for chance in (0.999, 0.8, 0.6, 0.3, 0.05)]
    amounts = [words.costs(amount) for amount in (0.001, 1.234, -12.34)]
    pace = [words.pace(0.12, 0.95), words.pace(-0.12, 0.05), words.pace(0.0, 0.5)]
    races = [Seat(race, "c1", "p1") for race in season.races]
    moves = tuple(Move("a5", None, seat) for seat in races), (Move("a5", races[0], None), Move("a6", None, races[1]))
    return [*chances, *amounts, *pace, *(words.moves(season, steps) for steps in moves)]


def text() -> str:
    parts = [f"{title}\n" + "\n".join(f"- {line}" for line in dict.fromkeys(lines)) for title, lines in rendered()]
    return "\n\n".join(parts) + "\n"


def test_every_sentence_is_the_one_that_was_read():
    assert text() == FILE.read_text(encoding="utf-8")


def test_no_sentence_shows_an_id_or_a_word_of_the_workshop():
    season = small_season()
    said = FILE.read_text(encoding="utf-8")
    for key in (*season.athletes, *season.cars, *season.races, *season.positions):
        assert not re.search(rf"\b{key}\b", said), key
    for word in ("None", "nan", "objective", "solver", "constraint", "variance", "posterior", "0.00 s", "_"):
        assert word not in said, word


def test_every_sentence_ends_and_begins_like_one():
    for line in FILE.read_text(encoding="utf-8").splitlines():
        assert "  " not in line
        assert ".." not in line
        assert not line.endswith((" ", ",", ";"))


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8")
