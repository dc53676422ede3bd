"""Charts as Altair specifications, each with the same facts in words for those who cannot see it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import altair as alt
import pandas as pd

from lineup.explain.words import count
from lineup.report.party import car_name, position_name
from lineup.report.race_words import race_name
from lineup.season import Season
from lineup.stop_model.crew_report import CrewReport

# blue, vermilion and grey of one lightness keep apart for every kind of colour vision (after Okabe and Ito 2008, from
# memory), stand out from both grounds by 3 : 1, and are never the only sign: shape, stroke or a label says the same
BLUE: Final = "#2b7bba"
VERMILION: Final = "#d1590f"
GREY: Final = "#858c93"
DECISIVE, OFTEN = 0.5, 0.15  # share of stops from which a task counts as decisive, or as often so
BIN_S: Final = 0.25
LABEL_ROOM_S: Final = 0.4  # left of the quickest stop, for the name of a row


@dataclass(frozen=True, slots=True)
class Picture:
    """A chart and what it says in words."""

    chart: alt.Chart | alt.LayerChart
    words: str


def _picture(chart: alt.Chart | alt.LayerChart, words: str) -> Picture:
    """Leave single marks out of what a screen reader is told: the words say it better."""
    return Picture(chart.configure_mark(aria=False), words)


def stop_timeline(report: CrewReport, season: Season) -> Picture:
    """Return the stop of one crew as bars in time, one lane per position; decisive tasks are solid and marked."""
    lanes = {p: position_name(season, p) if p else "Car and driver" for p in ("", *report.crew)}
    rows = [
        {
            "lane": lanes[task.position],
            "task": task.name,
            "start": task.start_s,
            "end": task.finish_s,
            "middle": (task.start_s + task.finish_s) / 2,
            "weight": _weight(task.critical_share),
            "share": f"{task.critical_share:.0%}",
            "seconds": f"{task.mean_s:.2f} s",
            "who": season.athletes[task.athlete].name if task.athlete in season.athletes else "",
        }
        for task in report.tasks
    ]
    data = pd.DataFrame(rows)
    order = [lanes[p] for p in (*report.crew, "")]
    base = alt.Chart(data).encode(
        y=alt.Y(
            "lane:N",
            sort=order,
            title=None,
            axis=alt.Axis(labelLimit=130, labelOverlap=False, ticks=False, domain=False),
        ),
        tooltip=[
            alt.Tooltip("task", title="Task"),
            alt.Tooltip("who", title="Who"),
            alt.Tooltip("seconds", title="Own time, mean"),
            alt.Tooltip("share", title="Decisive in"),
        ],
    )
    weights = ["decisive", "sometimes", "seldom"]
    bars = base.mark_bar(height=18, stroke=GREY, strokeWidth=1).encode(
        x=alt.X("start:Q", title="seconds from the car's stop (means of the forecast)"),
        x2="end:Q",
        color=_colour("weight", weights, [VERMILION, BLUE, GREY]),
        fillOpacity=alt.FillOpacity(
            "weight:O", sort=weights, scale=alt.Scale(domain=weights, range=[0.95, 0.5, 0.18]), legend=None
        ),
    )
    marks = base.transform_filter("datum.weight == 'decisive'").mark_point(
        shape="diamond", filled=True, size=36, color="white", opacity=1
    ).encode(x="middle:Q")  # fmt: skip
    end = alt.Chart(pd.DataFrame({"x": [report.mean_s]})).mark_rule(strokeDash=[4, 3], color=GREY).encode(x="x:Q")
    chart = (bars + marks + end).properties(height=30 * len(order) + 90)
    shares = sorted(report.positions, key=lambda p: -p.critical_share)
    named = ", ".join(
        f"{lanes[p.position].lower()} {p.critical_share:.0%}" for p in shares if p.critical_share >= OFTEN
    )
    words = (
        f"{report.holds_up} Share of stops in which somebody's work is decisive: {named}. A diamond marks tasks that "
        "are decisive in at least half of the stops."
    )
    return _picture(chart, words)


def _weight(share: float) -> str:
    return "decisive" if share >= DECISIVE else "sometimes" if share >= OFTEN else "seldom"


def stop_dots(report: CrewReport, under_s: float) -> Picture:
    """Return fifty equally likely stops as dots; full circles are under `under_s`, open triangles are not."""
    data = stacked(report.dots, under_s)
    chart = _dots(data, under_s).properties(height=26 * 6)
    return _picture(chart, under_words(report.dots, under_s))


def swap_dots(before: Sequence[float], after: Sequence[float], under_s: float) -> Picture:
    """Return fifty stops before a swap above fifty after it, on one scale."""
    below = stacked(after, under_s)
    lift = int(below["height"].max()) + 2
    above = stacked(before, under_s)
    above["height"] += lift
    labels = pd.DataFrame({"height": [lift + 1, 1], "label": ["now", "after"]})
    names = alt.Chart(labels).mark_text(align="left", dx=4, color=GREY, fontWeight="bold").encode(
        x=alt.value(0), y="height:Q", text="label:N"
    )  # fmt: skip
    start = min(before[0], after[0]) - LABEL_ROOM_S
    layers = alt.LayerChart(layer=[_dots(pd.concat([above, below]), under_s, start), names])
    chart = layers.properties(height=260)
    words = f"Now {under_words(before, under_s)} After the swap {under_words(after, under_s)}"
    return _picture(chart, words)


def stacked(dots: Sequence[float], under_s: float) -> pd.DataFrame:
    """Columns x (bin centre, seconds), height (1, 2, … within the bin), side ("under" or "over")."""
    frame = pd.DataFrame({"seconds": list(dots)})
    frame["x"] = (frame["seconds"] // BIN_S) * BIN_S + BIN_S / 2
    frame["height"] = frame.groupby("x").cumcount() + 1
    frame["side"] = ["under" if dot < under_s else "over" for dot in dots]
    return frame


def under_words(dots: Sequence[float], under_s: float) -> str:
    """Say the distribution as counts of stops."""
    under = sum(dot < under_s for dot in dots)
    return (
        f"{under} of {len(dots)} forecast stops take less than {under_s:.1f} s; the quickest about {dots[0]:.1f} s, "
        f"the middle {dots[len(dots) // 2]:.1f} s, the slowest {dots[-1]:.1f} s."
    )


def _dots(data: pd.DataFrame, under_s: float, start: float | None = None) -> alt.LayerChart:
    sides = ["under", "over"]
    scale = alt.Scale(zero=False) if start is None else alt.Scale(zero=False, domainMin=start)
    points = alt.Chart(data).mark_point(size=70, strokeWidth=1.5).encode(
        x=alt.X("x:Q", title="stop time, seconds", scale=scale),
        y=alt.Y("height:Q", title=None, axis=None, scale=alt.Scale(zero=True)),
        color=alt.Color("side:N", scale=alt.Scale(domain=sides, range=[BLUE, VERMILION]), legend=None),
        fill=alt.Fill("side:N", scale=alt.Scale(domain=sides, range=[BLUE, "transparent"]), legend=None),
        shape=alt.Shape("side:N", scale=alt.Scale(domain=sides, range=["circle", "triangle-up"]), legend=None),
        tooltip=[alt.Tooltip("seconds:Q", format=".2f", title="seconds")],
    )  # fmt: skip
    rule = alt.Chart(data).mark_rule(strokeDash=[4, 3], color=GREY).encode(x=alt.datum(under_s))
    return alt.LayerChart(layer=[points, rule], data=data)


def before_after(rows: Sequence[tuple[str, float, float]]) -> Picture:
    """Return a dumbbell per (label, before, after), seconds: an open circle before, a filled triangle after."""
    data = pd.DataFrame(rows, columns=["label", "before", "after"])
    base = alt.Chart(data).encode(y=alt.Y("label:N", sort=None, title=None, axis=alt.Axis(labelLimit=180)))
    line = base.mark_rule(color=GREY).encode(
        x=alt.X("before:Q", scale=alt.Scale(zero=False), title="mean stop, seconds"), x2="after:Q"
    )
    start = base.mark_point(shape="circle", size=80, color=GREY, strokeWidth=2).encode(x="before:Q")
    end = base.mark_point(shape="triangle", size=90, filled=True, color=VERMILION, opacity=1).encode(x="after:Q")
    words = "; ".join(f"{label}: {b:.2f} s before, {a:.2f} s after" for label, b, a in rows)
    return _picture((line + start + end).properties(height=max(90, 34 * len(rows))), words + ".")


def against_pool(rows: Sequence[Mapping[str, Any]]) -> Picture:
    """Return splits against the pool.

    Parameters
    ----------
    rows : split (label), against_pool_s, low_s, high_s (90 % interval of the same), below zero being faster.
    """
    data = pd.DataFrame(list(rows), columns=["split", "against_pool_s", "low_s", "high_s"])
    data["side"] = ["faster" if value < 0 else "slower" for value in data["against_pool_s"]]
    base = alt.Chart(data).encode(y=alt.Y("split:N", sort=None, title=None, axis=alt.Axis(labelLimit=200)))
    title = "seconds against the pool's level (left of zero: faster)"
    spans = base.mark_rule(strokeWidth=3, color=GREY).encode(x=alt.X("low_s:Q", title=title), x2="high_s:Q")
    sides = ["faster", "slower"]
    points = base.mark_point(size=90, filled=True, opacity=1).encode(
        x="against_pool_s:Q",
        color=alt.Color("side:N", scale=alt.Scale(domain=sides, range=[BLUE, VERMILION]), legend=None),
        shape=alt.Shape("side:N", scale=alt.Scale(domain=sides, range=["circle", "triangle-right"]), legend=None),
        tooltip=[alt.Tooltip("split"), alt.Tooltip("against_pool_s:Q", format="+.3f", title="against the pool, s")],
    )
    zero = alt.Chart(pd.DataFrame({"x": [0.0]})).mark_rule(strokeDash=[2, 2], color=GREY).encode(x="x:Q")
    words = "; ".join(f"{row['split']}: {_against(row['against_pool_s'])}" for row in rows)
    return _picture((zero + spans + points).properties(height=30 * len(data) + 40), f"{words}.")


def _against(seconds: float) -> str:
    return f"{abs(seconds):.2f} s {'faster' if seconds < 0 else 'slower'} than the pool"


def grade_history(grades: pd.DataFrame, pool_s: float) -> Picture:
    """Return the graded times of one split over the days.

    Parameters
    ----------
    grades : columns date, seconds, setting; times with their misses.
    pool_s : the pool's median clean time in a race, seconds.
    """
    data = grades.assign(misses=["with a miss" if count else "clean" for count in grades["misses"].map(len)])
    kinds = ["clean", "with a miss"]
    points = alt.Chart(data[["date", "seconds", "setting", "misses"]]).mark_point(size=45, opacity=0.9).encode(
        x=alt.X("date:T", title=None),
        y=alt.Y("seconds:Q", title="graded, seconds", scale=alt.Scale(zero=False)),
        color=_colour("misses", kinds, [BLUE, VERMILION]),
        shape=alt.Shape("misses:N", scale=alt.Scale(domain=kinds, range=["circle", "cross"])),
        tooltip=["date:T", alt.Tooltip("seconds:Q", format=".2f"), "setting", "misses"],
    )  # fmt: skip
    rule = alt.Chart(pd.DataFrame({"y": [pool_s]})).mark_rule(strokeDash=[4, 3], color=GREY).encode(y="y:Q")
    times = data["seconds"]
    slips = int((data["misses"] == "with a miss").sum())
    words = (
        f"{count(len(data), 'grade')}, {slips} of them with a miss; half of them between {times.quantile(0.25):.2f} s "
        f"and {times.quantile(0.75):.2f} s. The dashed line is the pool's level in a race, {pool_s:.2f} s."
    )
    return _picture((points + rule).properties(height=220), words)


def search_progress(points: Sequence[tuple[float, float | None, float | None]]) -> Picture:
    """Return how a search went: (seconds, best value, bound); the two lines close in on each other."""
    rows = [{"seconds": t, "line": "best plan", "cost": v} for t, v, _ in points if v is not None]
    rows += [{"seconds": t, "line": "no plan costs less", "cost": b} for t, _, b in points if b is not None]
    lines = ["best plan", "no plan costs less"]
    data = pd.DataFrame(rows, columns=["seconds", "line", "cost"])
    chart = alt.Chart(data).mark_line(interpolate="step-after", point=True).encode(
        x=alt.X("seconds:Q", title="seconds of searching"),
        y=alt.Y("cost:Q", title="weighted seconds", scale=alt.Scale(zero=False)),
        color=_colour("line", lines, [VERMILION, BLUE]),
        strokeDash=alt.StrokeDash("line:N", scale=alt.Scale(domain=lines, range=[[1, 0], [5, 3]])),
    ).properties(height=180)  # fmt: skip
    last = points[-1] if points else (0.0, None, None)
    best = "none yet" if last[1] is None else f"{last[1]:,.1f} s"
    bound = "not known yet" if last[2] is None else f"{last[2]:,.1f} s"
    return _picture(chart, f"After {last[0]:.0f} s: best plan {best}; no plan costs less than {bound}.")


def car_stops(rows: Sequence[tuple[str, str, float, float]], season: Season) -> Picture:
    """Return forecast stops along the block: (car, race, median_s, p90_s), a line per car with its own symbol."""
    data = pd.DataFrame(
        [
            {"car": car_name(season, car), "race": race_name(season, race), "median": m, "p90": p}
            for car, race, m, p in rows
        ]
    )
    cars = list(dict.fromkeys(data["car"]))
    races = list(dict.fromkeys(data["race"]))
    shapes = ["circle", "square", "triangle-up", "diamond", "cross", "triangle-down"]
    colours = [BLUE, VERMILION, "#3a8f6a", "#a65c93", GREY, "#8f7a1f"]
    names = alt.Axis(labelAngle=-50, labelLimit=120, labelOverlap=False, labelFontSize=10)
    chart = alt.Chart(data).mark_line(point=alt.OverlayMarkDef(size=70, filled=True, opacity=1)).encode(
        x=alt.X("race:N", sort=races, title=None, axis=names),
        y=alt.Y("median:Q", title="median stop, seconds", scale=alt.Scale(zero=False)),
        color=_colour("car", cars, _cycle(colours, len(cars))),
        shape=alt.Shape("car:N", scale=alt.Scale(domain=cars, range=_cycle(shapes, len(cars)))),
        tooltip=[
            "car", "race", alt.Tooltip("median:Q", format=".2f"),
            alt.Tooltip("p90:Q", format=".2f", title="9 in 10 under"),
        ],
    ).properties(height=330)  # fmt: skip
    words = "; ".join(
        f"{car}: median {part['median'].min():.1f} to {part['median'].max():.1f} s over {count(len(part), 'race')}"
        for car, part in data.groupby("car", sort=False)
    )
    return _picture(chart, words + ".")


def _cycle(values: Sequence[str], count: int) -> list[str]:
    return [values[i % len(values)] for i in range(count)]


def _colour(field: str, domain: Sequence[str], colours: Sequence[str]) -> alt.Color:
    """Return the colours of a field, explained on top of the chart."""
    scale = alt.Scale(domain=list(domain), range=list(colours))
    return alt.Color(f"{field}:N", scale=scale, legend=alt.Legend(title=None, orient="top"))
