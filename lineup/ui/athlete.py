"""Athletes: one profile against the pool, with consistency, trend, misses, and what to practise first."""

from __future__ import annotations

import streamlit as st

from lineup import workflow
from lineup.plan import Plan
from lineup.report.charts import against_pool, grade_history
from lineup.report.party import car_name, name_of, position_name
from lineup.season import Season
from lineup.skills import AthleteProfile, MissProfile, PositionProfile, SplitProfile, profile
from lineup.skills.profile import RECENT_DAYS
from lineup.study import Study
from lineup.ui import live, plans, show
from lineup.ui.links import pick
from lineup.ui.opened import Opened, require_season, study_of
from lineup.ui.remember import once, plan_name

LEVELS = {"cleared": "cleared", "training": "in training", "none": "no clearance"}


def page() -> None:
    """Show one athlete's profile in one position."""
    show.head(
        "Athletes",
        "Splits against everybody graded in the position (the pool), how steady, which way it goes, what to practise.",
    )
    found, season = require_season()
    chosen = plans.require_plan(found, season)
    athlete = pick("athlete", "Athlete", list(season.athletes), lambda a: name_of(season, a), many=True)
    study = study_of(found, season, chosen.plan.weekends)
    told = once(("profile", found.mark, athlete), lambda: profile(season, study.estimates, athlete))
    facts = season.athletes[athlete]
    st.html(
        f"<p>{show.safe(facts.group)} · home {show.safe(season.sites[facts.home].name)} · after a miss, the rest of a "
        f"stop takes {told.pace:.2f} times as long as usual (all athletes: {told.pace_of_all:.2f})</p>"
    )
    if not told.positions:
        st.markdown("No clearance and no grade in any position yet.")
        return
    names = {p.position: f"{position_name(season, p.position)} ({LEVELS[p.level]})" for p in told.positions}
    position = pick("position", "Position", list(names), lambda p: show.plain(names[p]))
    mine = next(p for p in told.positions if p.position == position)
    skills(season, mine)
    grades(season, athlete, mine)
    practice(found, study, chosen.plan, told)
    link(season, athlete)
    show.foot()


def skills(season: Season, mine: PositionProfile) -> None:
    """Show every split against the pool, in a chart and in words, and the misses."""
    show.figures(
        (
            ("All splits together", f"{mine.own_s:.2f} s", f"the pool: {mine.pool_s:.2f} s"),
            ("Against the pool", show.signed(mine.own_s - mine.pool_s), "below zero is faster"),
            ("Grades", f"{mine.grades:.0f}", "recent ones count more"),
        )
    )
    show.lines(mine.unknown)
    left, right = st.columns([2, 3], gap="large")
    with left:
        rows = [
            {
                "split": show.spoken(split.estimate.split),
                "against_pool_s": split.against_pool_s,
                "low_s": split.against_low_s,
                "high_s": split.against_high_s,
            }
            for split in mine.splits
        ]
        show.picture(against_pool(rows), "against_pool")
    with right:
        show.table(
            "Median clean time in a race; steadiness: spread against the pool’s, below 1 is steadier",
            ["Split", "Median", "Place", "Faster than the pool", "Steadiness", f"Last {RECENT_DAYS} days"],
            [_split(split) for split in mine.splits],
        )
    if mine.misses:
        show.table(
            "Misses: how often, against the others, and what each costs",
            ["Miss", "In 100 tasks", "Others in 100", "Costs the stop", "Penalty"],
            [_miss(season, miss) for miss in mine.misses],
        )


def _split(split: SplitProfile) -> list[str]:
    low, high = split.estimate.interval90_s
    trend = "too few grades"
    if split.trend is not None:
        way = "▼ faster" if split.trend.change_s < 0 else "▲ slower"
        likely = split.trend.chance_faster if split.trend.change_s < 0 else 1 - split.trend.chance_faster
        trend = f"{abs(split.trend.change_s):.2f} s {way}, {likely:.0%} likely"
    return [
        show.safe(show.spoken(split.estimate.split)),
        f"{split.estimate.median_s:.2f} s <small>{low:.2f} to {high:.2f}</small>",
        f"{split.place} of {split.of}",
        f"{split.chance_faster_than_pool:.0%} likely",
        f"{split.consistency:.2f}",
        trend,
    ]


def _miss(season: Season, miss: MissProfile) -> list[str]:
    return [
        show.safe(season.misses[miss.estimate.miss].name),
        f"{100 * miss.estimate.rate:.1f} <small>{100 * miss.low90:.1f} to {100 * miss.high90:.1f}</small>",
        f"{100 * miss.others:.1f}",
        f"{miss.loss_s:.2f} s",
        f"{miss.penalty_s:g} s" if miss.penalty_s else "none",
    ]


def grades(season: Season, athlete: str, mine: PositionProfile) -> None:
    """Show the graded times of one split over the days."""
    table = season.grades
    own = table[(table["athlete"] == athlete) & (table["position"] == mine.position)]
    splits = {s.estimate.split: s for s in mine.splits}
    tasks = {t.id: t.split for c in season.choreographies.values() for t in c.tasks}
    own = own.assign(split=own["task"].map(tasks)).dropna(subset=["seconds"])
    graded = [split for split in splits if (own["split"] == split).any()]
    if not graded:
        return
    st.subheader("Graded on film", anchor=False)
    split = pick("split", "Split", graded, lambda s: show.plain(show.spoken(s)))
    chosen = splits[split]
    show.picture(grade_history(own[own["split"] == split], chosen.estimate.seconds(chosen.pool.mean)), "history")


def practice(found: Opened, study: Study, plan: Plan, told: AthleteProfile) -> None:
    """Show what to practise first, and what each would bring to the stops planned."""
    st.subheader("Practise first", anchor=False)
    key = ("practice", found.mark, found.pins, plan_name(plan))
    all_of_it = live.later(key, "Trying what practice would bring", lambda: workflow.practice(study, plan))
    if all_of_it is None:
        return
    priorities = all_of_it.athletes.get(told.athlete, ())
    if not priorities:
        st.markdown("No seat in this plan, or nothing that practice would bring to its stops.")
    else:
        show.lines((p.text for p in priorities[:6]), "ranked")
    cars = sorted({a.car for a in plan.assignments if a.athlete == told.athlete})
    for car in cars:
        crew = all_of_it.crews.get(car, ())
        if crew:
            with st.expander(show.plain(f"What the whole crew of {car_name(study.season, car)} would gain most from")):
                show.lines(p.text for p in crew[:6])
    show.note(all_of_it.caution)


def link(season: Season, athlete: str) -> None:
    """Give the link that shows the athlete's own duties and nothing else."""
    st.subheader("For the athlete’s phone", anchor=False)
    st.page_link(
        "lineup/ui/mine.py",
        label=show.plain(f"Page for {name_of(season, athlete)}"),
        icon=":material/smartphone:",
        query_params={"athlete": athlete},
    )
    show.note(
        "Where, when, which car and position, who with, for rosters that were signed; nothing about skills or absences."
    )


page()
