"""A race in words: what it is called, and its times on the clock of its site."""

from __future__ import annotations

from datetime import date, datetime

from lineup.season import Race, Season


def race_name(season: Season, race: str) -> str:
    """Return a race's name, or its id where it has none or the season no longer has it."""
    return (season.races[race].name or race) if race in season.races else race


def race_title(season: Season, race: Race) -> str:
    """Return "Pine Hollow 300 · Pine Hollow · Sunday 14 March 2027 · report 09:00, race 13:00 · lined tire".

    Where the crew reports on another day than the race starts, that day is named too.
    """
    report, start = (season.local(moment, race.site) for moment in (race.report, race.start))
    day = f"{start:%A} {start.day} {start:%B %Y}"
    times = f"report {clock_or_day(report, start.date())}, race {start:%H:%M}"
    return f"{race_name(season, race.id)} · {season.sites[race.site].name} · {day} · {times} · {race.tire} tire"


def duty_times(season: Season, race: Race) -> tuple[tuple[str, str], ...]:
    """Return report, start and release as (what, when); a day is named where it is not that of the time before."""
    report, start, released = (season.local(t, race.site) for t in (race.report, race.start, race.released))
    return (
        ("Report", day_and_clock(report)),
        ("Race", clock_or_day(start, report.date())),
        ("Released", f"about {clock_or_day(released, start.date())}"),
    )


def day_and_clock(local: datetime) -> str:
    """Return a local time with its day: "Sunday 5 April, 08:00"."""
    return f"{local:%A} {local.day} {local:%B}, {local:%H:%M}"


def clock_or_day(local: datetime, day: date) -> str:
    """Return the time of day alone on this day, with its day on any other."""
    return f"{local:%H:%M}" if local.date() == day else day_and_clock(local)
