"""What the pages look at: the season, its store, and the study behind every figure, each opened once."""

from __future__ import annotations

import os
import threading
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from lineup.errors import InputError, Report, SeasonError
from lineup.explain.words import count
from lineup.season import Pin, Season
from lineup.ui.door import login_set_up, may, people, roles_mark
from lineup.ui.show import plain
from lineup.ui.variables import number

if TYPE_CHECKING:  # these bring the solvers' libraries: only pages that compute wait for them
    from lineup.settings import Settings
    from lineup.store import People, Routine, Store
    from lineup.study import Study

DEMO = Path(__file__).parents[2] / "data_demo" / "season"
MOST_STUDIES = 4  # sampled stops of a season take some 100 MB
WARM_AFTER_S = 0.5
Mark = tuple[tuple[str, int, int], ...]
Key = tuple[str, Mark, tuple[str, ...], tuple[Pin, ...]]

_lock = threading.RLock()
_studies: dict[Key, Study] = {}
_warmed: set[tuple[str, Mark, tuple[str, ...]]] = set()


@dataclass(frozen=True, eq=False)
class Opened:
    """A season folder as it is now; `season` is None where the report says what is wrong.

    `pins`: those kept in the store, which `season` holds beside its own.
    """

    path: Path
    mark: Mark
    season: Season | None
    report: Report
    pins: tuple[Pin, ...] = ()


def season_path() -> Path:
    """Return the folder or workbook to show: from the link, else what was chosen before, else LINEUP_SEASON.

    Ends the page where this server does not show that season.
    """
    default = str(_first_season())
    asked = st.query_params.get("season") or st.session_state.get("season_path") or default
    allowed = seasons_shown()
    if allowed is not None and Path(asked).resolve() not in {path.resolve() for path in allowed}:
        st.error("This server does not show the season that the link names.", icon=":material/lock:")
        for path in allowed:
            st.button(f"Open {plain(short(path))}", on_click=choose_season, args=(str(path),), key=f"open_{path}")
        st.stop()
    st.session_state["season_path"] = asked
    if asked != default and st.query_params.get("season") != asked:
        st.query_params["season"] = asked
    return Path(asked)


def _first_season() -> Path:
    return Path(os.environ.get("LINEUP_SEASON") or DEMO)


def seasons_shown() -> tuple[Path, ...] | None:
    """Return the seasons that may be looked at: LINEUP_SEASON and those of LINEUP_SEASONS; None: any on this computer.

    LINEUP_SEASONS names folders or workbooks, parted as in PATH. Where there is a log-in, no other is ever shown.
    """
    named = [Path(name) for name in os.environ.get("LINEUP_SEASONS", "").split(os.pathsep) if name.strip()]
    if not named and not login_set_up():
        return None
    return tuple(dict.fromkeys((_first_season(), *named)))


def choose_among_seasons() -> None:
    """Let another season of this server be chosen, where there are several."""
    allowed = seasons_shown() or ()
    if len(allowed) < 2:
        return
    names = {str(path): short(path) for path in allowed}
    now_open = str(season_path())
    chosen = st.selectbox(
        "Season", list(names), list(names).index(now_open) if now_open in names else 0, format_func=names.__getitem__
    )
    if chosen != now_open:
        choose_season(chosen)
        st.rerun()


def short(path: Path) -> str:
    """Return how a season is called in a list: its folder and the one it lies in."""
    return "/".join(path.parts[-2:])


def choose_season(path: str) -> None:
    """Look at another season from the next run on."""
    st.session_state["season_path"] = path
    st.query_params["season"] = path


def mark_of(path: Path) -> Mark:
    """Name, size and time of every file of a season: another mark, another state."""
    files = sorted(path.rglob("*")) if path.is_dir() else [path]
    stats = ((file, file.stat()) for file in files if file.is_file() and file.suffix in (".csv", ".toml", ".xlsx"))
    return tuple((str(file.relative_to(path)), stat.st_size, stat.st_mtime_ns) for file, stat in stats)


def opened() -> Opened:
    """Return the season that is looked at, read anew when a file has changed, with the pins kept in its store."""
    path = season_path()
    found = _read(str(path), mark_of(path))
    pins = () if found.season is None else kept_pins(path)
    if found.season is None or not pins:
        return found
    return _pinned(found, pins)


@lru_cache(maxsize=8)
def _pinned(found: Opened, pins: tuple[Pin, ...]) -> Opened:
    """Return the season with pins added; the same object each time, so that what is computed from it is found again."""
    season = None if found.season is None else found.season.with_pin(*pins)
    return replace(found, season=season, pins=pins)


@st.cache_resource(max_entries=6, show_spinner="Reading the season")
def _read(path: str, mark: Mark) -> Opened:
    from lineup.read import read_season

    try:
        season, report = read_season(path)
    except SeasonError as error:
        return Opened(Path(path), mark, None, error.report)
    return Opened(Path(path), mark, season, report)


def require_season() -> tuple[Opened, Season]:
    """Return the season, or end the page with what is wrong and where to mend it."""
    found = opened()
    if found.season is None:
        st.error(
            f"This season cannot be used yet: {count(len(found.report.problems), 'problem')}.", icon=":material/error:"
        )
        if may("coach"):
            st.page_link("lineup/ui/season_data.py", label="See every problem next to its row", icon=":material/table:")
        st.stop()
    return found, found.season


def study_of(found: Opened, season: Season, weekends: tuple[str, ...]) -> Study:
    """Return the study behind the figures of a block; what-ifs share its estimates and samples."""
    with _lock:
        base = _base_study(found, weekends)
        return base if season is base.season else base.with_season(season)


def _base_study(found: Opened, weekends: tuple[str, ...]) -> Study:
    """Return the study of the season as it stands, with estimates, samples and prices computed once."""
    from lineup.study import Study

    key = (str(found.path), found.mark, weekends, found.pins)
    if key not in _studies:
        if found.season is None:
            raise SeasonError(found.report)
        others = [known for k, known in _studies.items() if k[:2] == key[:2]]
        fresh = others[0].with_season(found.season) if others else Study(found.season, weekends, settings())
        while len(_studies) >= MOST_STUDIES:
            del _studies[next(iter(_studies))]
        _studies[key] = replace(fresh, weekends=weekends, report=found.report)
    study = _studies[key]
    _ = (study.estimates, study.model, study.pricer)
    return study


def warm(found: Opened, weekends: tuple[str, ...]) -> None:
    """Begin to compute in the background what the next page will want; the page that is open is drawn first."""
    key = (str(found.path), found.mark, weekends)
    if found.season is not None and key not in _warmed:
        _warmed.add(key)
        thread = threading.Timer(WARM_AFTER_S, study_of, (found, found.season, weekends))
        thread.daemon = True
        thread.start()


def settings() -> Settings:
    """Effort of a search begun on a page; LINEUP_SECONDS and LINEUP_SCENARIOS say otherwise."""
    from lineup.settings import Settings

    return Settings(time_s=number("LINEUP_SECONDS", 60.0), scenarios=int(number("LINEUP_SCENARIOS", 1024)))


def store_place(path: Path) -> str:
    """Return where the season's store lies: LINEUP_STORE, {season} in it replaced; else the file beside the season.

    Raises
    ------
    InputError
        When LINEUP_STORE would mix two seasons in one store.
    """
    from lineup.store import default_store

    given = os.environ.get("LINEUP_STORE")
    if not given:
        return str(default_store(path))
    first = _first_season().absolute()
    others = {first, *(other.absolute() for other in seasons_shown() or ())} - {path.absolute()}
    if "{season}" not in given and path.absolute() != first:
        raise InputError("LINEUP_STORE names the store of another season. Put {season} in it, so that each has its own")
    if any(other.stem == path.stem for other in others):
        raise InputError(f"LINEUP_STORE would hold two seasons named {path.stem}. Rename one of the two folders")
    return given.replace("{season}", path.stem)


def store(path: Path) -> Store | None:
    """Return the season's store; None where there is none yet: looking at a season makes none."""
    place = store_place(path)
    return made_store(path) if "://" in place or Path(place).exists() else None


def made_store(path: Path) -> Store:
    """Return the season's store, made where there is none yet."""
    return _store((store_place(path), roles_mark()), people())


@st.cache_resource(max_entries=16, show_spinner=False)
def _store(state: tuple[str, int], _people: People | None) -> Store:
    """Open the store at a place under the roles file of a mark, so that a changed file counts at once."""
    from lineup.store import open_store

    return open_store(state[0], _people, _routine())


@st.cache_resource(show_spinner=False)
def _routine() -> Routine | None:
    from lineup.store import read_routine

    file = os.environ.get("LINEUP_REMINDERS")
    return read_routine(file) if file else None


def kept_pins(path: Path) -> tuple[Pin, ...]:
    """Return the pins in force in the season's store."""
    kept = store(path)
    return () if kept is None else tuple(row.pin for row in kept.pins())


def now() -> datetime:
    """Return the moment of an action, for the record of who did what when."""
    return datetime.now(UTC)
