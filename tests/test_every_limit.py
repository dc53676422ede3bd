"""What a limit needs wherever limits are spoken of: a new one fails here until every place knows it."""

from __future__ import annotations

from typing import Any

import pytest

from lineup import limits
from lineup.audit import audit
from lineup.explain import mends
from lineup.limits import KNOWN_LIMITS
from lineup.optimize.rulebook import RULES as MODEL_RULES
from lineup.plan import Assignment, Plan
from lineup.rules import RULES
from tests.fixed_stops import fixed_season
from tests.optimize.switched import LATER, SWITCHES
from tests.optimize.test_rules import CASES
from tests.timetables import limits_of

NOT_OF_A_SCHEDULE = {"travel_places", "cover", "recent_grades", "height"}  # of a race, a seat or a position
SECOND_STAGE = {"cover"}  # chosen after the lineup
# for these the general sentence is true: another duty close by, given up, makes it good
CLOSE_DUTIES = {"rest_hours", "duty_hours", "weekly_rest_hours", "rolling_rest_hours", "driving_hours", "cover"} | {
    "nights_away_in_days",
    "travel_hours_in_days",
}
# held in test_rules.py and test_audit.py by timetables worked out by hand; as no-goods they all go the same way
NO_CASE_OF_ITS_OWN = {"nights_away_in_days", "driving_hours", "recent_grades", "travel_places", "cover"}


@pytest.mark.parametrize("name", KNOWN_LIMITS)
def test_a_limit_is_known_everywhere(name: str) -> None:
    _, unit, _ = KNOWN_LIMITS[name]
    assert unit == "h" or unit in limits._WHOLE_UNITS, "limits.py: is half a unit possible? Else add it to _WHOLE_UNITS"
    assert name in RULES or name in NOT_OF_A_SCHEDULE, "rules/schedule.py: RULES"
    assert name in MODEL_RULES or name in SECOND_STAGE, "optimize/rulebook.py"
    assert _audited(name), "audit/"
    assert name in mends._BY_RULE or name in CLOSE_DUTIES or name == "recent_grades", "explain/mends.py: a clause"
    assert name in CASES or name in NO_CASE_OF_ITS_OWN, "tests/optimize/test_rules.py: a case"
    drawn = {switch.removesuffix("_most").removesuffix("_least") for switch in (*SWITCHES, *LATER)}
    assert name in drawn or name in ("cover", "driving_hours"), (
        "tests/optimize/switched.py: LATER, and its second model"
    )


def _audited(name: str) -> bool:
    side = "at_least" if name in limits._AT_LEAST else "at_most"
    figures: dict[str, Any] = {"price_s": 1.0} if name == "height" else {side: 1}
    figures |= {"days": 7} if KNOWN_LIMITS[name][2] else {}
    season = fixed_season(limits=limits_of(**{name: figures}))
    found = audit(season, Plan("best_so_far", (Assignment("r1", "c1", "p1", "a1"),), weekends=season.weekends))
    return any(check.rule == name and (name == "height" or "limits.toml" in check.source) for check in found.checks)
