"""Weekend crews: who works which car, how long its stops take, and what the next-best swaps of a seat would bring."""

from __future__ import annotations

import streamlit as st

from lineup import workflow
from lineup.explain.swaps import Swap
from lineup.explain.words import count
from lineup.plan import EntryForecast, Plan
from lineup.report.charts import stop_dots, stop_timeline, swap_dots
from lineup.report.cover_words import seat_words
from lineup.report.party import car_name, name_of, position_name
from lineup.report.race_words import race_name, race_title
from lineup.report.seat_marks import seat_marks
from lineup.season import Race, Season, Seat
from lineup.stop_model.crew_report import CrewReport
from lineup.study import Study
from lineup.ui import by_hand, plans, show
from lineup.ui.links import pick
from lineup.ui.opened import Opened, require_season, study_of
from lineup.ui.remember import once, plan_name

HOT = ("pinned", "new in the seat")
SHOWN_SWAPS = 8
STEP_S = 0.5


def page() -> None:
    """Show one weekend: the crews of its races, then one car's stop, then one seat."""
    show.head("Weekend crews", "Who goes over the wall on each car, and what another choice would bring.")
    found, season = require_season()
    chosen = plans.require_plan(found, season)
    plan = chosen.plan
    weekends = [w for w in season.weekends if w in plan.weekends]
    weekend = pick("weekend", "Weekend", weekends, lambda w: show.plain(show.weekend_title(season, w)))
    races = season.races_of((weekend,))
    for race, column in zip(races, st.columns(len(races), gap="large"), strict=True):
        with column:
            crew_table(season, plan, race)
    study = study_of(found, season, plan.weekends)
    st.header("One car’s stop", anchor=False)
    seat = choose_seat(season, races)
    stop(study, plan, seat)
    st.header(f"The {position_name(season, seat.position).lower()}’s seat", anchor=False)
    one_seat(found, study, plan, seat)
    by_hand.pins(found, season, plan, seat)
    plans.keep_draft(found, season, chosen)
    show.foot()


def crew_table(season: Season, plan: Plan, race: Race) -> None:
    """Show the crews of one race, a row per position and a column per car, forecasts below."""
    st.subheader(show.plain(race_title(season, race)), anchor=False)
    cars = season.cars_in[race.id]
    rows = [
        [
            show.safe(position_name(season, position)),
            *(_who(season, plan, Seat(race.id, car, position)) for car in cars),
        ]
        for position in season.positions_of(race.id)
    ]
    for service in season.service_counts[race.id]:
        told = {e.car: e for e in plan.entries if (e.race, e.service) == (race.id, service)}
        name = season.choreographies[service].name
        rows.append(
            [f"{show.safe(name)}<br><small>forecast stop</small>", *(_forecast(season, told.get(c)) for c in cars)]
        )
    reserves = [name_of(season, r.athlete) for r in plan.reserves if r.race == race.id]
    show.table(
        "Starting crews; forecast stops by their median", ["Position", *(car_name(season, car) for car in cars)], rows
    )
    st.html(f'<p class="note"><strong>Travels as reserve:</strong> {show.safe(", ".join(reserves) or "nobody")}</p>')


def _who(season: Season, plan: Plan, seat: Seat) -> str:
    athlete = plan.athlete_in(seat)
    if athlete is None:
        return "<em>empty</em>"
    marks = (
        f'<span class="tag{" hot" if mark in HOT else ""}">{show.safe(mark)}</span>'
        for mark in seat_marks(season, plan, seat)
    )
    return show.safe(name_of(season, athlete)) + "".join(marks)


def _forecast(season: Season, told: EntryForecast | None) -> str:
    if told is None:
        return "–"
    most = max(told.critical_share, key=lambda p: told.critical_share[p], default="")
    held = show.safe(position_name(season, most).lower())
    return (
        f"<strong>{told.median_s:.1f} s</strong>, 9 in 10 under {told.p90_s:.1f} s<br>"
        f"<small>clean {told.clean_share:.0%}, held up by {held}</small>"
    )


def choose_seat(season: Season, races: tuple[Race, ...]) -> Seat:
    """Let race, car and position be chosen; one choice where there is only one."""
    pairs = [(race.id, car) for race in races for car in season.cars_in[race.id]]
    pairs.sort(key=lambda pair: -season.cars[pair[1]].priority)
    entries = {f"{race}/{car}": (race, car) for race, car in pairs}
    double = len({car for _, car in entries.values()}) < len(entries)

    def words(key: str) -> str:
        race, car = entries[key]
        return show.plain(f"{car_name(season, car)}, {race_name(season, race)}" if double else car_name(season, car))

    race, car = entries[pick("entry", "Car", list(entries), words)]
    seats = [seat.position for seat in season.seats(race, car)]
    position = pick("position", "Position", seats, lambda p: show.plain(position_name(season, p)))
    return Seat(race, car, position)


def stop(study: Study, plan: Plan, seat: Seat) -> None:
    """Show the timeline of a car's stop and its spread as counts of stops."""
    season = study.season
    services = list(season.service_counts[seat.race])
    service = pick("service", "Service", services, lambda s: show.plain(season.choreographies[s].name))
    report = workflow.stop_report(study, plan, seat.entry, service)
    left, right = st.columns([3, 2], gap="large")
    with left:
        st.markdown("**What waits for what**")
        show.picture(stop_timeline(report, season), "timeline")
    with right:
        st.markdown("**Fifty forecast stops**")
        under = threshold(report)
        show.picture(stop_dots(report, under), "dots")
    with st.expander("The stop task by task, in words"):
        task_table(season, report)


def threshold(report: CrewReport) -> float:
    """Let the seconds be set that stops are counted under."""
    key = f"under_{report.service}"
    if key not in st.session_state:
        st.session_state[key] = round(report.median_s / STEP_S) * STEP_S
    return float(st.number_input("Count stops under (seconds)", 1.0, 120.0, step=STEP_S, format="%.1f", key=key))


def task_table(season: Season, report: CrewReport) -> None:
    """Show every task as a row of text."""
    rows = [
        [
            show.safe(task.name),
            show.safe(position_name(season, task.position) if task.position else "Car and driver"),
            show.safe(name_of(season, task.athlete)) if task.athlete else "",
            f"{task.start_s:.1f} – {task.finish_s:.1f} s",
            f"{task.mean_s:.2f} s",
            f"{task.critical_share:.0%}",
            "nothing waits for it" if task.slack_s is None else f"{task.slack_s:.1f} s",
        ]
        for task in report.tasks
    ]
    show.table(
        "Means of the forecast; decisive: the share of stops that this task holds up; to spare: how much later it "
        "could be done without the car leaving later",
        ["Task", "Position", "Who", "From – to", "Own time", "Decisive", "To spare"], rows,
    )  # fmt: skip


@st.fragment
def one_seat(found: Opened, study: Study, plan: Plan, seat: Seat) -> None:
    """Show why a seat is filled as it is, its next-best swaps, and what one of them does to the stop."""
    key = (found.mark, found.pins, plan_name(plan), seat)
    answer = once(("why", *key), lambda: workflow.explain_seat(study, plan, seat))
    st.html(f"<p><strong>{show.safe(answer.text)}</strong></p>")
    with st.spinner("Trying swaps"):
        swaps = once(("swaps", *key), lambda: workflow.best_swaps(study, plan, seat))
    allowed = [swap for swap in swaps if swap.allowed][:SHOWN_SWAPS]
    left, right = st.columns([3, 2], gap="large")
    with left:
        swap_table(study.season, allowed)
    with right:
        if allowed:
            before_and_after(study, plan, seat, allowed)
    with st.expander(f"Why not somebody else? {count(len(answer.reasons), 'answer')}"):
        rows = [[show.safe(name_of(study.season, r.athlete)), show.safe(r.text)] for r in answer.reasons]
        show.table("Everybody else with a clearance for this position", ["Athlete", "Why not"], rows)
        if answer.reasons:
            by_hand.why_not(found, study, plan, seat, [r.athlete for r in answer.reasons])
    forbidden = [swap for swap in swaps if not swap.allowed]
    if forbidden:
        with st.expander(f"Not allowed: {count(len(forbidden), 'swap')}, and the rule that forbids each"):
            rows = [[_moves(study.season, swap), show.safe("; ".join(swap.reasons))] for swap in forbidden]
            show.table("Swaps that break a rule", ["Swap", "What forbids it"], rows)


def swap_table(season: Season, swaps: list[Swap]) -> None:
    """Show the allowed swaps of a seat, best first."""
    if not swaps:
        st.markdown("No swap of this seat keeps every rule.")
        return
    rows = [
        [_moves(season, swap), _per_stop(swap), f"{round(10 * swap.chance)} in 10", show.signed(swap.gain_s)]
        for swap in swaps
    ]
    show.table(
        "Next-best swaps. The last column counts everything the plan weighs: stops of all cars, crew changes, travel",
        ["Who moves", "This car’s stop, forecast", "The gain is real", "The whole plan gains"], rows,
    )  # fmt: skip


def _per_stop(swap: Swap) -> str:
    if abs(swap.per_stop_s) < 0.005:
        return "no difference"
    return f"{abs(swap.per_stop_s):.2f} s {'▼ shorter' if swap.per_stop_s > 0 else '▲ longer'}"


def _moves(season: Season, swap: Swap) -> str:
    parts = []
    for move in swap.moves:
        end = "stands down" if move.end is None else f"→ {_seat(season, move.end)}"
        start = "" if move.start is None or move.end is None else f" <small>from {_seat(season, move.start)}</small>"
        parts.append(f"{show.safe(name_of(season, move.athlete))} {end}{start}")
    return "<br>".join(parts)


def _seat(season: Season, seat: Seat) -> str:
    return show.safe(seat_words(season, seat))


def before_and_after(study: Study, plan: Plan, seat: Seat, swaps: list[Swap]) -> None:
    """Show one swap as fifty stops now and fifty after it."""
    season = study.season

    def words(index: int) -> str:
        comes = next((move for move in swaps[index].moves if move.end == seat), None)
        more = len(swaps[index].moves)
        who = "nobody" if comes is None else name_of(season, comes.athlete)
        return f"{index + 1}. {who}" + (f", {more} people move" if more > 2 else "")

    index = st.selectbox("Look at a swap before and after", range(len(swaps)), format_func=words)
    services = season.service_counts[seat.race]
    service = max(services, key=lambda s: services[s])
    now = workflow.stop_report(study, plan, seat.entry, service)
    then = workflow.swap_report(study, plan, swaps[index].moves, seat.entry, service)
    under = float(st.session_state.get(f"under_{service}", round(now.median_s)))
    show.note(f"{car_name(season, seat.car)}, {season.choreographies[service].name}")
    show.picture(swap_dots(now.dots, then.dots, under), "swap")


page()
