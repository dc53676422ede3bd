"""Warns of what is possible but odd in a season that can be read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

from lineup.read.notes import Notes, meant
from lineup.season import Season

Rows = Mapping[str, tuple[str, Sequence[Any]]]  # file and rows by table


def warn_of_odd_facts(season: Season, rows: Rows, notes: Notes) -> None:
    """Look at every table of a sound season."""
    _athletes(season, *rows["athletes"], notes)
    _positions(season, *rows["positions"], notes)
    _clearances(season, *rows["clearances"], notes)
    _races(season, *rows["races"], notes)
    _overlapping_entries(season, *rows["entries"], notes)
    _standing(season, *rows["standing_crews"], notes)
    _worked(season, *rows["worked"], notes)
    _misses(*rows["misses"], notes)
    _services(season, rows["services"][0], notes)


def _athletes(season: Season, file: str, rows: Sequence[Any], notes: Notes) -> None:
    cleared = {c.athlete for c in season.clearances}
    named: dict[str, str] = {}
    for r in rows:
        if r.athlete not in cleared:
            notes.warning(file, r.row, "athlete", r.athlete, "is cleared for nothing", "Add a row to clearances.csv.")
        other = named.setdefault(r.name.casefold(), r.athlete)
        if other != r.athlete:
            notes.warning(file, r.row, "name", r.name, f"is also the name of {other}", "Tell the two apart.")


def _positions(season: Season, file: str, rows: Sequence[Any], notes: Notes) -> None:
    named = {p for c in season.choreographies.values() for p in c.positions}
    cleared = {c.position for c in season.clearances if c.level == "cleared"}
    for r in rows:
        if r.position not in named:
            odd = "is in no choreography, so no entry has a seat for it"
            notes.warning(file, r.row, "position", r.position, odd, "Give it a task in choreography/.")
        elif r.position not in cleared:
            mend = "Add rows to clearances.csv."
            notes.warning(file, r.row, "position", r.position, "has nobody cleared for it", mend)


def _clearances(season: Season, file: str, rows: Sequence[Any], notes: Notes) -> None:
    for r in rows:
        athlete, position = season.athletes[r.athlete], season.positions[r.position]
        least, height = position.min_height_m, athlete.height_m
        if least is None:
            continue
        who, where = season.label("athletes", r.athlete), season.label("positions", r.position)
        if height is None:
            odd = f"{who} has no height, and {where} asks for {least * 100:.1f} cm"
            notes.warning(file, r.row, "athlete", r.athlete, odd, "Give the height in athletes.csv.")
        elif height < least:
            odd = f"{who} is {height * 100:.1f} cm tall, below the {least * 100:.1f} cm of {where}"
            notes.warning(file, r.row, "athlete", r.athlete, odd, "Check both heights, or give `height` a price.")


def _races(season: Season, file: str, rows: Sequence[Any], notes: Notes) -> None:
    graded = set(season.grades["tire"].unique())
    for r in rows:
        if not season.cars_in[r.race]:
            notes.warning(file, r.row, "race", r.race, "has no entries", "Add rows to entries.csv.")
        if graded and r.tire not in graded:
            mend = meant(r.tire, sorted(graded)) or "Grade some stops."
            notes.warning(file, r.row, "tire", r.tire, "is a tire kind without any graded stop", mend)


def _overlapping_entries(season: Season, file: str, rows: Sequence[Any], notes: Notes) -> None:
    by_car: dict[str, list[Any]] = {}
    for r in rows:
        by_car.setdefault(r.car, []).append(r)
    for entries in by_car.values():
        ordered = sorted(entries, key=lambda r: season.races[r.race].report)
        for before, after in pairwise(ordered):
            if season.races[after.race].report < season.races[before.race].released:
                odd = f"is entered in {before.race} and {after.race}, and the two overlap"
                notes.warning(file, after.row, "car", after.car, odd, "Check report, start and hours in races.csv.")


def _standing(season: Season, file: str, rows: Sequence[Any], notes: Notes) -> None:
    cleared = {(c.athlete, c.position) for c in season.clearances}
    seen: dict[tuple[str, str], str] = {}
    for r in rows:
        if (r.athlete, r.position) not in cleared:
            mend = "Correct the row, or add a clearance."
            notes.warning(file, r.row, "athlete", r.athlete, f"is not cleared for {r.position}", mend)
        other = seen.setdefault((r.car, r.athlete), r.position)
        if other != r.position:
            odd = f"already stands as {other} of car {r.car}"
            notes.warning(file, r.row, "athlete", r.athlete, odd, "Keep one of the two.")


def _worked(season: Season, file: str, rows: Sequence[Any], notes: Notes) -> None:
    for r in rows:
        race = season.races.get(r.race)
        if race is not None and race.site != r.site:
            odd = f"is not where race {r.race} is: {race.site}"
            notes.warning(file, r.row, "site", r.site, odd, "Correct the race or the site.")


def _misses(file: str, rows: Sequence[Any], notes: Notes) -> None:
    for r in rows:
        if not r.loss_s and not r.penalty_s:
            odd = "costs neither the stop nor the race anything"
            notes.warning(file, r.row, "miss", r.miss, odd, "Give loss_s or penalty_s.")


def _services(season: Season, file: str, notes: Notes) -> None:
    used = {service for counts in season.service_counts.values() for service in counts}
    used |= {*season.grades["service"].unique(), *season.stops["service"].unique()}
    for service in season.choreographies:
        if service not in used:
            odd = "has a choreography, but no race counts on it and no stop of it was graded"
            notes.warning(file, None, "service", service, odd, "Give it rows with a race and a count.")
