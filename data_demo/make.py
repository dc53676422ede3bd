"""Makes the demo season folder: `python -m data_demo.make [FOLDER [SEED]]` writes the same bytes every time."""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path

from data_demo import events, people
from data_demo.choreography import MISSES, POSITIONS, SERVICES, toml_text
from data_demo.film import past_crew, stops_and_grades
from data_demo.people import CARS, PEOPLE, STANDING
from data_demo.truth import effects_toml, make_truth, miss_rows, truth_rows

SEED = "demo-2026"
HERE = Path(__file__).parent


def main(arguments: Sequence[str]) -> None:
    """Write the season folder and, beside it, the truth behind it; another seed gives others' skills and past."""
    season = Path(arguments[0]) if arguments else HERE / "season"
    seed = arguments[1] if len(arguments) > 1 else SEED
    (season / "choreography").mkdir(parents=True, exist_ok=True)
    write_people(season)
    write_events(season, seed)
    for service in SERVICES:
        _write_text(season / "choreography" / f"{service}.toml", toml_text(service))
    truth = make_truth(seed)
    stops, grades = stops_and_grades(truth, seed)
    _write(season / "stops.csv", "stop,date,setting,service,tire,total_s,race,car,spoilers", stops)
    columns = "date,setting,service,tire,athlete,position,task,seconds,finish_s,stop,race,car,misses"
    _write(season / "graded_stops.csv", columns, grades)
    _write(season.parent / "truth.csv", "athlete,position,split,median_s,spread", truth_rows(truth))
    _write(season.parent / "truth_misses.csv", "athlete,position,miss,rate", miss_rows(truth))
    _write_text(season.parent / "truth.toml", effects_toml(truth))


def write_people(season: Path) -> None:
    """Write who there is, what each may do, who is missing, and what was decided by hand."""
    athletes = [
        (p.id, p.name, p.home, p.group, p.height_in, p.mass_lb, p.drives, f"{p.id}@wrenfield.example") for p in PEOPLE
    ]
    _write(season / "athletes.csv", "athlete,name,home,group,height_in,mass_lb,drives,email", athletes)
    cleared = [(p.id, c.position, c.level, c.since, c.series) for p in PEOPLE for c in p.clearances]
    _write(season / "clearances.csv", "athlete,position,level,since,series", cleared)
    _write(season / "positions.csv", "position,name,place,filled,min_height_in", POSITIONS)
    _write(season / "misses.csv", "miss,name,loss_s,penalty_s", MISSES)
    columns = "athlete,first_day,last_day,status,positions,kind,entered_by"
    _write(season / "availability.csv", columns, people.ABSENCES)
    _write(season / "pins.csv", "pin,athlete,other,race,car,position,reason", people.PINS)
    standing = [(car, position, crew[n]) for n, car in enumerate(CARS) for position, crew in STANDING.items()]
    _write(season / "standing_crews.csv", "car,position,athlete", standing)


def write_events(season: Path, seed: str) -> None:
    """Write where and when it is raced, what came before, how people get there, and the limits."""
    _write(season / "sites.csv", "site,name,time_zone,latitude,longitude", events.SITES)
    _write(season / "cars.csv", "car,series,priority,home,name,slowest_s", events.CARS)
    columns = "race,weekend,series,site,report,start,hours,tire,name,travel_places"
    _write(season / "races.csv", columns, events.RACES)
    races = [(row[0], row[2]) for row in events.RACES]
    _write(season / "entries.csv", "race,car", [(r, car) for r, s in races for car, of, *_ in events.CARS if of == s])
    counts = [(race, service, count) for race, s in races for service, count in events.COUNTS[s].items()]
    _write(season / "services.csv", "race,service,count", counts)
    _write(season / "journeys.csv", "from,to,hours,mode", events.JOURNEYS)
    _write(season / "worked.csv", "athlete,race,site,report,released,car,position", _worked(seed))
    _write_text(season / "limits.toml", events.LIMITS_TOML)
    _write_text(season / "weights.toml", events.WEIGHTS_TOML)


def _worked(seed: str) -> list[tuple[str, ...]]:
    """Duties of the last races before the block; older ones no longer count for any limit."""
    series_of = {car: series for car, series, *_ in events.CARS}
    rows: list[tuple[str, ...]] = []
    for race, series, site, _, _, report, released in events.PAST_RACES:
        if report is None or released is None:
            continue
        for car in (c for c in CARS if series in ("both", series_of[c])):
            crew = past_crew(seed, race, car)
            rows += [(athlete, race, site, report, released, car, position) for position, athlete in crew.items()]
    return rows


def _write(path: Path, header: str, rows: Iterable[Iterable[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)  # RFC 4180: lines end in CRLF
        writer.writerow(header.split(","))
        writer.writerows(rows)


def _write_text(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main(sys.argv[1:])
