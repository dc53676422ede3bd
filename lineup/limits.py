"""Travel and rest limits as data: one record each, with its number, where it comes from, hard or priced."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields
from difflib import get_close_matches
from typing import Any, Final, TypeGuard

from lineup.presets import PRESETS

# name -> (what is limited, unit, takes a window of days)
KNOWN_LIMITS: Final[Mapping[str, tuple[str, str, bool]]] = {
    "rest_hours": ("hours between released and the next report, the journey left out", "h", False),
    "duty_hours": ("longest span of duties in one day at one site", "h", False),
    "weekly_rest_hours": ("longest rest in each ISO week", "h", False),
    "rolling_rest_hours": ("longest rest in every window of days", "h", True),
    "races_per_weekend": ("races worked in one weekend", "races", False),
    "weekends_in_a_row": ("consecutive weekends with a duty", "weekends", False),
    "races_in_days": ("races worked in a window of days", "races", True),
    "nights_away_in_days": ("nights away from home in a window of days", "nights", True),
    "travel_hours_in_days": ("hours of travel in a window of days", "h", True),
    "travel_places": ("people who can travel to a race", "places", False),
    "cover": ("ways to cover each seat on site", "ways", False),
    "starts": ("starts in the block", "starts", False),
    "recent_grades": ("graded stops lately, to start in a position", "stops", True),
    "height": ("starts below the position's height", "starts", False),
    "driving_hours": ("hours at the wheel between two rests, for athletes who drive", "h", False),
}


def counted(figure: float, things: str) -> str:
    """Return a figure with what it counts, given in the plural: "1 night away", "3 nights away", "7.5 h"."""
    shown = re.sub(r"s\b", "", things, count=1) if figure == 1 else things
    return f"{figure:.4g} {shown}"


@dataclass(frozen=True, slots=True)
class DrivingRules:
    """What goes with hours at the wheel, in the form of 49 CFR 395; None does not bind.

    Hours at the wheel count from the last `off_hours` in one piece. Since then nobody drives later than
    `window_hours` after coming on duty, nor after `worked_hours` of duty and driving; nor with more than
    `on_duty_hours` of both in the limit's days, where a rest of `restart_hours` starts that count anew. Nobody drives
    more than `break_after_hours` without a break of `break_hours` from driving; a duty is one. Journeys are hours at
    the wheel, so a break that falls into one makes it that much longer here: it takes of the time between two duties,
    of the window and of the time left to rest. Where that time is there, when to stop is the driver's to plan.
    Elsewhere (rest_hours, travel_hours_in_days, …) a journey lasts what it lasts.
    """

    off_hours: float = 8.0
    window_hours: float | None = None
    worked_hours: float | None = None
    on_duty_hours: float | None = None
    restart_hours: float | None = None
    break_after_hours: float | None = None
    break_hours: float = 0.5


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit. `price_s` None: hard; otherwise each unit beyond costs that many seconds.

    `at_most`, `at_least` and `days` are None where the limit does not have them; `driving` belongs to
    driving_hours alone.
    """

    name: str
    at_most: float | None = None
    at_least: float | None = None
    days: int | None = None
    price_s: float | None = None
    source: str = "limits.toml"
    preset: str | None = None
    driving: DrivingRules | None = None

    @property
    def hard(self) -> bool:
        """Whether breaking it is forbidden rather than priced."""
        return self.price_s is None

    @property
    def most(self) -> float:
        """`at_most`, of a limit that always has it."""
        assert self.at_most is not None
        return self.at_most

    @property
    def least(self) -> float:
        """`at_least`, of a limit that always has it."""
        assert self.at_least is not None
        return self.at_least

    @property
    def window_days(self) -> int:
        """`days`, of a limit that always has them."""
        assert self.days is not None
        return self.days


@dataclass(frozen=True, slots=True)
class JourneyRules:
    """How a journey is computed from coordinates where journeys.csv has none.

    Road up to `road_at_most_km` of road distance (geodesic distance times `road_detour`), air beyond:
    `air_overhead_h` covers both airports and the drive to and from them. Between two duties an athlete can go home
    when that leaves `home_rest_h` there; a night away weighs as much as `night_away_h` hours of travel.
    """

    road_km_h: float = 85.0
    road_detour: float = 1.2
    road_at_most_km: float = 450.0
    air_km_h: float = 700.0
    air_overhead_h: float = 3.0
    home_rest_h: float = 12.0
    night_away_h: float = 3.0


@dataclass(frozen=True, slots=True)
class Limits:
    """The limits that bind, by name; a limit that is not named does not bind."""

    by_name: Mapping[str, Limit] = field(default_factory=dict)
    reserves_count: bool = False
    journeys: JourneyRules = field(default_factory=JourneyRules)

    def get(self, name: str) -> Limit | None:
        """Return the limit of this name, or None where it does not bind."""
        return self.by_name.get(name)


# (key, value, what is wrong, what would be right)
LimitProblem = tuple[str, object, str, str]

_AT_LEAST: Final = frozenset({"rest_hours", "weekly_rest_hours", "rolling_rest_hours", "cover", "recent_grades"})
_DRIVING_KEYS: Final = tuple(f.name for f in fields(DrivingRules))
_NEVER_ZERO: Final = ("off_hours", "window_hours", "worked_hours", "break_after_hours", "break_hours")
_WHOLE_UNITS: Final = frozenset({"races", "weekends", "nights", "places", "ways", "starts", "stops"})
_OTHER_KEYS: Final = ("preset", "reserves_count", "journeys")


def limits_from_toml(data: Mapping[str, Any]) -> tuple[Limits, list[LimitProblem]]:
    """Turn the parsed limits.toml into limits, with every problem found: (key, value, what is wrong, the mend).

    Keys override the preset figure by figure. A limit with a problem is left out of the result.
    """
    problems: list[LimitProblem] = []
    drafts = _presets(data.get("preset", ()), problems)
    for name, value in data.items():
        if name in KNOWN_LIMITS:
            drafts[name] = _draft(name, value, drafts.get(name), problems)
        elif name not in _OTHER_KEYS:
            problems.append((name, value, *_unknown("limit", name, (*KNOWN_LIMITS, *_OTHER_KEYS))))
    by_name = {}
    broken = {key.split(".")[0] for key, *_ in problems}
    for name, draft in drafts.items():
        found = [] if name in broken else list(_faults(name, draft))
        problems += found
        if name not in broken and not found:
            by_name[name] = _limit(name, draft)
    reserves = data.get("reserves_count", False)
    if not isinstance(reserves, bool):
        problems.append(("reserves_count", reserves, "is neither true nor false", "Write true or false"))
    return Limits(by_name, reserves is True, _journeys(data.get("journeys", {}), problems)), problems


def _unknown(kind: str, name: str, known: Sequence[str]) -> tuple[str, str]:
    near = get_close_matches(name, known, 1, 0.5)
    return f"is not a known {kind}", f"Did you mean {near[0]}?" if near else f"Known: {', '.join(known)}"


def _presets(value: object, problems: list[LimitProblem]) -> dict[str, dict[str, Any]]:
    """Figures of one preset or a list of them; a later one overrides an earlier one."""
    drafts: dict[str, dict[str, Any]] = {}
    for name in [value] if not isinstance(value, list | tuple) else value:
        if not isinstance(name, str) or name not in PRESETS:
            problems.append(("preset", name, *_unknown("preset", str(name), tuple(PRESETS))))
            continue
        for limit, (figures, source) in PRESETS[name].items():
            drafts[limit] = {**figures, "source": source, "preset": name}
    return drafts


def _draft(name: str, value: object, below: dict[str, Any] | None, problems: list[LimitProblem]) -> dict[str, Any]:
    """Figures of one key, laid over those of the preset; unknown or unusable ones are reported and dropped."""
    side = "at_least" if name in _AT_LEAST else "at_most"
    given = value if isinstance(value, Mapping) else {side: value}
    allowed = _allowed(name)
    draft = dict(below or {})
    for key, figure in given.items():
        place = f"{name}.{key}" if isinstance(value, Mapping) else name
        if key not in allowed:
            problems.append((place, figure, *_unknown(f"key of {name}", key, allowed)))
        elif not _is_number(figure):
            problems.append((place, figure, "is not a number of zero or more", f"Write a number, such as {key} = 3"))
        elif (key == "days" or (key.startswith("at_") and KNOWN_LIMITS[name][1] in _WHOLE_UNITS)) and figure % 1:
            problems.append((place, figure, "is not a whole number", "Write it without decimals"))
        else:
            draft[key] = figure
    if not below or any(draft.get(key) != below.get(key) for key in draft if key != "price_s"):
        draft["source"] = "limits.toml"
    return draft


def _allowed(name: str) -> tuple[str, ...]:
    sides = {"height": (), "starts": ("at_least", "at_most")}
    side = sides.get(name, ("at_least",) if name in _AT_LEAST else ("at_most",))
    window = ("days",) if KNOWN_LIMITS[name][2] or name == "driving_hours" else ()
    return (*side, *window, *(_DRIVING_KEYS if name == "driving_hours" else ()), "price_s")


def _is_number(value: object) -> TypeGuard[int | float]:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value) and value >= 0


def _faults(name: str, draft: Mapping[str, Any]) -> Iterator[LimitProblem]:
    """Yield what is wrong with the figures taken together."""
    side = "at_least" if name in _AT_LEAST else "at_most"
    has_number = "at_least" in draft or "at_most" in draft
    if name == "height":
        if "price_s" not in draft:
            yield name, None, "has no price", "Write height = { price_s = 0.5 }, or leave it out: below is forbidden"
    elif not has_number and not (name == "travel_places" and "price_s" in draft):
        yield name, None, "has no number", f"Write {name} = {{ {side} = … }}"
    if KNOWN_LIMITS[name][2] and "days" not in draft:
        yield name, None, "has no window of days", f"Write {name} = {{ {side} = …, days = 28 }}"
    if draft.get("days", 1) < 1:
        yield f"{name}.days", draft["days"], "is below one day", "Write 1 or more"
    if draft.get("at_least", 0) > draft.get("at_most", math.inf):
        yield f"{name}.at_least", draft["at_least"], "is above at_most", f"Write at most {draft['at_most']}"
    for key in ("at_most", *_NEVER_ZERO) if name == "driving_hours" else ():
        if draft.get(key) == 0:
            yield f"{name}.{key}", 0, "is zero", "Write hours above zero, or leave the limit out"
    if "on_duty_hours" in draft and "days" not in draft:
        yield f"{name}.on_duty_hours", draft["on_duty_hours"], "has no window of days", "Add days = 7"


def _limit(name: str, draft: Mapping[str, Any]) -> Limit:
    figures = {key: float(draft[key]) for key in ("at_most", "at_least", "price_s") if key in draft}
    driving = {key: float(draft[key]) for key in _DRIVING_KEYS if key in draft}
    return Limit(
        name,
        **figures,
        days=int(draft["days"]) if "days" in draft else None,
        source=draft["source"],
        preset=draft.get("preset"),
        driving=DrivingRules(**driving) if name == "driving_hours" else None,
    )


def _journeys(table: object, problems: list[LimitProblem]) -> JourneyRules:
    known = tuple(f.name for f in fields(JourneyRules))
    if not isinstance(table, Mapping):
        problems.append(("journeys", table, "is not a table", "Write [journeys] on a line of its own, keys below it"))
        return JourneyRules()
    good = {}
    for key, value in table.items():
        if key not in known:
            problems.append((f"journeys.{key}", value, *_unknown("key of journeys", key, known)))
        elif not _is_number(value) or (value == 0 and key in ("road_km_h", "air_km_h")):
            problems.append((f"journeys.{key}", value, "is not a usable number", "Write a number above zero"))
        elif key == "road_detour" and value < 1:
            problems.append((f"journeys.{key}", value, "makes roads shorter than a straight line", "Write 1 or more"))
        else:
            good[key] = float(value)
    return JourneyRules(**good)
