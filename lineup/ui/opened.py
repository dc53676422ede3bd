"""What the pages look at: the season, its store, the people, and the study behind every figure, each opened once."""

from __future__ import annotations

import os
import threading
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from lineup.errors import Report, SeasonError
from lineup.season import Pin, Season

if TYPE_CHECKING:  # these bring the solvers' libraries: only pages that compute wait for them
    from lineup.settings import Settings
    from lineup.store import People, Routine, Store, User
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
    """Return the folder or workbook to show: from the link, else what was chosen before, else LINEUP_SEASON."""
    default = os.environ.get("LINEUP_SEASON") or str(DEMO)
    asked = st.query_params.get("season") or st.session_state.get("season_path") or default
    st.session_state["season_path"] = asked
    if asked != default and st.query_params.get("season") != asked:
        st.query_params["season"] = asked
    return Path(asked)


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
        st.error(f"This season cannot be used yet: {len(found.report.problems)} problems.", icon=":material/error:")
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

    seconds = float(os.environ.get("LINEUP_SECONDS", "60"))
    return Settings(time_s=seconds, scenarios=int(os.environ.get("LINEUP_SCENARIOS", "1024")))


def store_place(path: Path) -> str:
    """Return where the season's store lies: LINEUP_STORE, else the file beside the season."""
    from lineup.store import default_store

    return os.environ.get("LINEUP_STORE") or str(default_store(path))


def store(path: Path, *, make: bool = False) -> Store | None:
    """Return the season's store; None where there is none yet, unless `make` is set."""
    place = store_place(path)
    if not make and "://" not in place and not Path(place).exists():
        return None
    return _store(place)


@st.cache_resource(show_spinner=False)
def _store(place: str) -> Store:
    from lineup.store import open_store

    return open_store(place, people(), _routine())


@st.cache_resource(show_spinner=False)
def people() -> People | None:
    """Return the roles of LINEUP_ROLES; None where one local user may do all."""
    from lineup.store import read_people

    file = os.environ.get("LINEUP_ROLES")
    return read_people(file) if file else None


@st.cache_resource(show_spinner=False)
def _routine() -> Routine | None:
    from lineup.store import read_routine

    file = os.environ.get("LINEUP_REMINDERS")
    return read_routine(file) if file else None


def me() -> User:
    """Return who acts: the checked log-in, else the name chosen on the sign-off page, else the local user."""
    from lineup.store import LOCAL, User

    if getattr(st.user, "is_logged_in", False):
        email = str(st.user.get("email") or st.user.get("sub") or "")
        return User(email, str(st.user.get("name") or email), authenticated=True)
    roles = people()
    chosen = str(st.session_state.get("acting_as") or "")
    if roles is not None and chosen in roles.by_id:
        return User(roles.by_id[chosen].id, roles.by_id[chosen].name)
    return LOCAL


def kept_pins(path: Path) -> tuple[Pin, ...]:
    """Return the pins in force in the season's store."""
    kept = store(path)
    return () if kept is None else tuple(row.pin for row in kept.pins())


def now() -> datetime:
    """Return the moment of an action, for the record of who did what when."""
    return datetime.now(UTC)
