"""The demo season: made again byte for byte, as large as promised, true to the trade, and true to its hidden skills."""

from __future__ import annotations

import csv
import subprocess
import sys
import tomllib
from collections import Counter
from datetime import timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from lineup.choreography import Mark, own_times
from lineup.read import read_season
from lineup.season import Season
from lineup.stop_model.network import Network

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "data_demo"
FOLDER = DEMO / "season"
NO_STAGER = frozenset({"tire-stager"})
UNITS = {"misses": str, "spoilers": str, "athlete": str, "position": str}


@pytest.fixture(scope="module")
def season() -> Season:
    """The demo season as the package reads it."""
    return read_season(FOLDER)[0]


@pytest.fixture(scope="module")
def grades() -> pd.DataFrame:
    """graded_stops.csv as it stands in the folder, the spoilers of its stop beside each row."""
    stops = pd.read_csv(FOLDER / "stops.csv", keep_default_na=False)
    rows = pd.read_csv(FOLDER / "graded_stops.csv", dtype=UNITS).fillna({**dict.fromkeys(UNITS, ""), "stop": ""})
    return rows.assign(spoilers=rows["stop"].map(dict(zip(stops["stop"], stops["spoilers"], strict=True))).fillna(""))


def rows_of(name: str) -> list[dict[str, str]]:
    with (FOLDER / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def true_skills() -> pd.DataFrame:
    """truth.csv by athlete, position and split."""
    return pd.read_csv(DEMO / "truth.csv", keep_default_na=False).set_index(["athlete", "position", "split"])


def nominal(season: Season, service: str, empty: frozenset[str] = frozenset()) -> dict[str, float]:
    """Finish of every task when everybody takes the nominal time, seconds from the car's stop."""
    choreography = season.choreographies[service]
    finish = Network(choreography, empty).finish(np.array([task.seconds for task in choreography.tasks]))
    return dict(zip((task.id for task in choreography.tasks), finish.tolist(), strict=True))


def seconds_of(season: Season, position: str, split: str) -> float:
    return next(
        t.seconds for t in season.choreographies["four-tires"].tasks if (t.position, t.split) == (position, split)
    )


# --- the folder and the script that makes it


def test_the_script_writes_the_committed_folder_byte_for_byte(tmp_path: Path) -> None:
    subprocess.run([sys.executable, "-m", "data_demo.make", str(tmp_path / "season")], cwd=ROOT, check=True)
    made = {p.relative_to(tmp_path): p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    kept = {path: (DEMO / path).read_bytes() for path in made if (DEMO / path).is_file()}
    assert sorted(made) == sorted(kept)
    assert [path for path in made if made[path] != kept[path]] == []
    committed = {p.relative_to(DEMO) for p in FOLDER.rglob("*") if p.is_file()}
    assert committed <= set(made), "the folder holds a file that the script does not write"


def test_the_folder_reads_without_errors_and_with_the_intended_warnings_only() -> None:
    _, report = read_season(FOLDER)
    assert report.problems == ()
    past = {row["race"] for row in rows_of("stops.csv")} - {row["race"] for row in rows_of("races.csv")} - {""}
    named_in_past = {(file, "race", race) for file in ("stops.csv", "graded_stops.csv") for race in past}
    told = {(warning.file, warning.column, warning.value) for warning in report.warnings}
    assert told - named_in_past == {("clearances.csv", "athlete", "aleksy-tuimavave")}  # cleared, below the height


def test_the_folder_is_small_enough_to_keep() -> None:
    assert sum(p.stat().st_size for p in FOLDER.rglob("*") if p.is_file()) < 3_000_000


# --- as large, and as varied, as promised


def test_organisation(season: Season) -> None:
    assert (len(season.cars), len({car.series for car in season.cars.values()})) == (4, 2)
    assert 40 <= len(season.athletes) <= 44
    assert Counter(p.place for p in season.positions.values()) == {"over_wall": 5, "support": 2}
    assert {a.group for a in season.athletes.values()} == {"lead", "regular", "developing", "candidate"}
    cleared = Counter(c.athlete for c in season.clearances if c.level == "cleared")
    assert sum(count >= 2 for count in cleared.values()) >= 12, "athletes cross-trained in two positions"
    assert any(c.level == "training" for c in season.clearances)
    assert any(c.series for c in season.clearances)
    assert any(c.since for c in season.clearances)
    assert len(season.standing) == len(season.cars) * len(season.positions)
    assert {pin.kind for pin in season.pins} == {"must", "never", "pair", "apart"}
    assert all(pin.reason for pin in season.pins)
    assert {a.status for a in season.absences} == {"out", "only"}


def test_calendar(season: Season) -> None:
    assert len(season.weekends) == 8
    assert len({season.races[r].site for r in season.races}) >= 7
    assert len({season.sites[race.site].time_zone for race in season.races.values()}) >= 5
    first = season.races_of(season.weekends[:1])
    assert len({race.site for race in first}) == 1
    assert len({race.series for race in first}) == 2
    assert season.duty_days(first[1].id)[0] - season.duty_days(first[0].id)[0] == timedelta(days=1)
    far = season.races_of(("2026-w11",))
    assert season.sites[far[0].site].time_zone != season.sites[far[1].site].time_zone
    assert len(set(season.iso_weeks.values())) == 8
    assert max(w.released for w in season.worked) < min(r.report for r in season.races.values())


def test_the_rest_over_the_clock_change_is_an_hour_shorter_than_the_clocks_say(season: Season) -> None:
    # IANA time zone database: US daylight time begins on 2026-03-08 at 02:00 local.
    saturday, sunday = season.races["bramble-linnet"], season.races["bramble-cairn"]
    zone = season.zone("bramble-gulch")
    clocks = sunday.report.astimezone(zone).replace(tzinfo=None) - saturday.released.astimezone(zone).replace(
        tzinfo=None
    )
    assert clocks == timedelta(hours=11.5)
    assert sunday.report - saturday.released == timedelta(hours=10.5)


def test_grades(season: Season, grades: pd.DataFrame) -> None:
    assert len(grades) >= 6000
    assert set(grades["setting"]) == {"race", "practice", "tryout"}
    assert set(grades["tire"]) == {"lined", "unlined"} == {race.tire for race in season.races.values()}
    assert set(grades["service"]) == {"four-tires", "two-tires", "fuel-only"} == set(season.choreographies)
    by_finish = grades["finish_s"].notna()
    assert (by_finish ^ grades["seconds"].notna()).all()
    assert 0.05 <= by_finish.mean() <= 0.3
    assert (grades["stop"] == "").any(), "half-stops graded in drills"
    assert (grades["athlete"] == "").any(), "car and driver are graded too"
    spoiled = pd.Series([row["spoilers"] != "" for row in rows_of("stops.csv")])
    assert 0.03 <= spoiled.mean() <= 0.07
    kinds = {row["spoilers"] for row in rows_of("stops.csv")} - {""}
    assert kinds == {"off-marks", "wheels-not-straight", "damage", "box-blocked"}
    seen = {miss for misses in grades["misses"] for miss in misses.split(";") if miss}
    assert seen == set(season.misses), "every miss, penalties too, was seen at least once"


def test_each_way_of_holding_a_limit_is_shown(season: Season) -> None:
    limits = season.limits.by_name
    assert limits["rest_hours"].at_least == 11  # Directive 2003/88/EC art. 3
    assert limits["weekly_rest_hours"].at_least == 35  # the same, art. 5: 24 h plus those 11 h
    assert {name for name, limit in limits.items() if not limit.hard} >= {"duty_hours", "height", "nights_away_in_days"}
    assert limits["cover"].at_least == 1
    assert season.positions["fueler"].min_height_m == pytest.approx(72 * 0.0254)
    assert season.weights.keep_chance == 0.8
    assert season.weights.crew_change_s > 0.01, "nobody is benched for a hundredth of a second"


# --- facts of the trade (common practice, no source)


def test_typical_first_nut(season: Season) -> None:
    # Typical: front changer at the first nut about 0.2 s after the car stops, rear changer about 0.7 s.
    done = nominal(season, "four-tires")
    assert done["fc-reach-rf"] == pytest.approx(0.2, abs=0.06)
    assert done["rc-reach-rr"] == pytest.approx(0.7, abs=0.06)


@pytest.mark.parametrize("changer", ["front-changer", "rear-changer"])
def test_typical_nuts_and_wheel_exchange(season: Season, changer: str) -> None:
    # Typical: five nuts off, or on, in 1.0 to 1.2 s; from the last nut off to the first nut on of the new wheel
    # about 2 s, shared by the changer and whoever sets the tire.
    assert 1.0 <= seconds_of(season, changer, "nuts-off") <= 1.2
    assert 1.0 <= seconds_of(season, changer, "nuts-on") <= 1.2
    setter = "tire-carrier" if changer == "front-changer" else "jack"
    exchange = seconds_of(season, changer, "pull") + seconds_of(season, setter, "set")
    assert exchange + seconds_of(season, changer, "index") == pytest.approx(2.0, abs=0.1)


def test_typical_jack(season: Season) -> None:
    # Typical: a one-stroke jack has the car up within 1 s.
    assert nominal(season, "four-tires")["jk-lift-r"] <= 1.0
    assert seconds_of(season, "jack", "lift") <= 1.0


def test_typical_crossing_of_the_front_changer(season: Season) -> None:
    # Typical: from the right side to the left, working again, in 2.0 to 2.2 s.
    done = nominal(season, "four-tires")
    assert 2.0 <= done["fc-cross-lf"] - done["fc-on-rf"] <= 2.2


def test_typical_losses(season: Season, grades: pd.DataFrame) -> None:
    # Typical: a second strike costs about 0.3 s, a missed trigger switch about 0.8 s a side. The grades show it too:
    # "nuts on" with one restrike against those with none, medians of unspoiled race stops.
    assert season.misses["restrike"].loss_s == pytest.approx(0.3)
    assert season.misses["switch-missed"].loss_s == pytest.approx(0.8)
    on = grades[grades["task"].str.contains("-on-") & (grades["spoilers"] == "") & (grades["setting"] == "race")]
    medians = on.groupby("misses")["seconds"].median()
    assert medians["restrike"] - medians[""] == pytest.approx(0.3, abs=0.1)


def test_typical_tire_work(season: Season) -> None:
    # Typical: chaining the splits gives roughly 10 to 12 s of tire work; fuel may hold the car longer, or not.
    done = nominal(season, "four-tires")
    assert 10 <= done["jk-drop-l"] <= 12
    assert abs(done["fu-unplug"] - done["jk-drop-l"]) < 1.5
    wheels = Counter(t.split for t in season.choreographies["four-tires"].tasks if t.split.startswith("nuts"))
    assert wheels == {"nuts-off": 4, "nuts-on": 4}  # five nuts a wheel: twenty off and twenty on


def test_good_day_of_the_jack(grades: pd.DataFrame) -> None:
    # Good day: from dropping the right side to under the left lift point in under 3 s, the car up well below 4 s.
    # A good day is taken as the quickest tenth of the graded race stops.
    jack = grades[(grades["setting"] == "race") & (grades["position"] == "jack") & (grades["spoilers"] == "")]
    stops = jack.pivot_table(index="stop", columns="task", values="seconds")
    under = stops["jk-drop-r"] + stops["jk-cross-l"]
    assert under.quantile(0.1) < 3.0
    assert (under + stops["jk-lift-l"]).quantile(0.1) < 3.75


def test_good_day_of_setting_a_tire(grades: pd.DataFrame) -> None:
    # Good day (quickest tenth): setting a tire flush on the studs in about half a second.
    sets = grades[grades["task"].str.contains("-set-") & (grades["setting"] == "race") & (grades["spoilers"] == "")]
    assert sets["seconds"].quantile(0.1) == pytest.approx(0.5, abs=0.1)


def test_limit_of_the_left_rear_tire(season: Season) -> None:
    # Limit: the left rear tire is on at 5.0 to 5.25 s after the drop.
    done = nominal(season, "four-tires")
    drop_began = done["jk-drop-r"] - seconds_of(season, "jack", "drop")
    assert done["jk-set-lr"] - drop_began <= 5.25


def test_without_a_stager_the_jack_fetches_the_left_rear_tire(season: Season) -> None:
    # Common practice: without someone behind the wall to stage the left rear tire the jack must fetch it.
    staged, fetched = nominal(season, "four-tires"), nominal(season, "four-tires", NO_STAGER)
    assert staged["jk-fetch-lr"] == staged["jk-lift-l"]
    assert fetched["jk-fetch-lr"] > fetched["jk-lift-l"]
    assert 0.3 < fetched["launch"] - staged["launch"] < 1.5


def test_penalties_outweigh_any_slow_stop(season: Season) -> None:
    # Common practice: a tire not back to the wall and going over too soon are penalised; a loose wheel is worse.
    loose = season.misses["loose-wheel"].penalty_s
    others = [miss.penalty_s for miss in season.misses.values() if miss.id != "loose-wheel" and miss.penalty_s]
    assert len(others) == 2
    assert loose > max(others) > 10
    assert loose > max(float(row["total_s"]) for row in rows_of("stops.csv"))


# --- true to its own truth


def test_finish_marks_give_back_own_times_and_the_whole_stop(season: Season, grades: pd.DataFrame) -> None:
    totals = {row["stop"]: float(row["total_s"]) for row in rows_of("stops.csv")}
    marked = grades[grades["finish_s"].notna()]
    assert marked["stop"].nunique() >= 20
    for stop, rows in marked.groupby("stop"):
        choreography = season.choreographies[rows["service"].iloc[0]]
        finished = dict(zip(rows["task"], rows["finish_s"], strict=True))
        marks: dict[str, Mark] = {task: ("finish_s", at) for task, at in finished.items()}
        own = {task: seconds for task, seconds in own_times(choreography, marks).items() if seconds is not None}
        assert set(own) == set(marks)
        assert max(finished[task.id] for task in choreography.tasks if task.release) == totals[str(stop)]
        assert all(own[task.id] > 0 for task in choreography.tasks if task.id in own and not task.early)


def test_grades_come_from_the_hidden_skills(season: Season, grades: pd.DataFrame) -> None:
    # Clean grades of unspoiled race stops on lined tires against truth.csv, in standard errors of their mean log.
    split_of = {task.id: task.split for c in season.choreographies.values() for task in c.tasks if not task.early}
    trend = tomllib.loads((DEMO / "truth.toml").read_text(encoding="utf-8"))["trend"]
    slipped = grades[["stop", "athlete"]][grades["misses"] != ""].drop_duplicates().assign(slipped=True)
    fit = grades.merge(slipped, how="left", on=["stop", "athlete"]).assign(split=grades["task"].map(split_of))
    fit = fit[(fit["setting"] == "race") & (fit["tire"] == "lined") & (fit["spoilers"] == "") & fit["slipped"].isna()]
    fit = fit[fit["seconds"].notna() & fit["split"].notna() & ~fit["athlete"].isin(list(trend))]
    fit = fit.join(true_skills(), on=["athlete", "position", "split"])
    fit["off"] = (np.log(fit["seconds"]) - np.log(fit["median_s"])) / fit["spread"]
    by_skill = fit.groupby(["athlete", "position", "split"])["off"]
    errors = (by_skill.mean() * np.sqrt(by_skill.count())).to_numpy()
    assert len(errors) > 80
    assert np.mean(np.abs(errors) < 2) > 0.9  # 0.954 for a normal law
    assert abs(np.mean(errors)) < 0.3
    assert 0.8 < np.std(errors) < 1.25


def test_standing_crews_are_good_but_not_perfect(season: Season) -> None:
    # By true medians on the network, what the best replacement from outside the standing crews brings to each seat.
    truth = true_skills()["median_s"].to_dict()
    choreography = season.choreographies["four-tires"]
    network = Network(choreography)
    standing = set(season.standing.values())

    def stop_s(crew: dict[str, str]) -> float:
        own = [truth[crew.get(t.position or "", ""), t.position or "", t.split] for t in choreography.tasks]
        return float(network.stop_time(network.finish(np.array(own))))

    gains: list[float] = []
    for car in season.cars:
        crew = {position: athlete for (of, position), athlete in season.standing.items() if of == car}
        for position in crew:
            bench = {c.athlete for c in season.clearances if (c.position, c.level) == (position, "cleared")} - standing
            others = [stop_s({**crew, position: athlete}) for athlete in bench]
            gains.append(stop_s(crew) - min(others, default=stop_s(crew)))
    assert sum(gain < 0.1 for gain in gains) >= 24, "most deserve to stay"
    assert 0.02 < max(gains) < 0.5, "somebody waits behind a slower one"
