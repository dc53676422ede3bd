"""What would allow a change that a rule forbids: one clause per rule, true to the rule's own test."""

from __future__ import annotations

from collections.abc import Iterable

from lineup.eligibility import shown_day
from lineup.explain import words
from lineup.rules import Breach
from lineup.season import Season

_BY_RULE = {
    "availability": "allowed once back, which is not for this tool to say",
    "height": "allowed if the height limit had a price",
    "pin": "allowed if the pin were taken back",
    "one_seat": "allowed if the other duty were given up",
    "weekends_in_a_row": "allowed after a weekend off",
    "starts": "allowed with a start given up or gained elsewhere",
    "travel_places": "allowed with more travel places",
    "filled": "allowed with somebody else in that seat",
    "races_per_weekend": "allowed with another race of that weekend given up",
    "races_in_days": "allowed with another race of those days given up",
}


def reasons(season: Season, breaches: Iterable[Breach]) -> tuple[str, ...]:
    """Return why a change is forbidden, each reason with what would allow it."""
    told = ((words.plain(season, breach.text), mend(season, breach)) for breach in breaches)
    return tuple(dict.fromkeys("; ".join(part for part in parts if part) for parts in told))


def mend(season: Season, breach: Breach) -> str:
    """Return what would lift one broken rule."""
    if breach.rule == "clearance":
        return _clearance(season, breach)
    if breach.rule == "recent_grades":
        more = int(breach.limit - breach.figure)
        return f"allowed after {words.count(more, 'more graded stop')}"
    if breach.rule == "slowest":
        return f"allowed if the car's limit were {breach.figure:.2f} s or more"
    return _BY_RULE.get(breach.rule, "allowed if another duty close to it were given up")


def _clearance(season: Season, breach: Breach) -> str:
    """Return what clearance is missing: a pin for somebody in training, a day, or the coach's word."""
    athlete, position, race = breach.athlete or "", breach.position or "", breach.race or ""
    if season.clearance_level(athlete, position, race) == "training":
        return ""  # the reason itself says that a must pin would do
    day = season.duty_days(race)[0]
    series = season.races[race].series
    rows = [c for c in season.clearances_of.get((athlete, position), ()) if c.level == "cleared"]
    later = [c.since for c in rows if c.since is not None and c.since > day and c.series in (None, series)]
    if later:
        return f"allowed from {shown_day(min(later))}"
    return f"allowed with a clearance for {words.position(season, position)} in this series"
