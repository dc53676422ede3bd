"""Every rule of the model, by name: what it says in plain words, and the function that adds it."""

from __future__ import annotations

from collections.abc import Mapping

from lineup.optimize import schedule_rules as work
from lineup.optimize import seat_rules as sit
from lineup.optimize.model import Rule

_ALL = (
    Rule("fill", "every seat that must be filled has one athlete", sit.fill_seats),
    Rule("height", "nobody works below the height a position asks for", sit.keep_eligibility),
    Rule("availability", "nobody works while out, or in a position not allowed meanwhile", sit.keep_eligibility),
    Rule("recent_grades", "nobody starts without enough recent graded stops", sit.keep_eligibility),
    Rule("pin", "an athlete pinned to or away from a seat stays so", sit.keep_eligibility),
    Rule("must", "a pinned athlete works a matching seat", sit.must_pins),
    Rule("pair", "a pair works the same car or not at all", sit.pair_pins),
    Rule("apart", "two athletes kept apart never share a car", sit.apart_pins),
    Rule("travel_places", "no more starters than places to travel", sit.travel_places),
    Rule("slowest", "the mean of a car's slowest service stays within its limit", sit.slowest),
    Rule("one_seat", "two duties of one athlete never overlap", work.forbid_small_sets),
    Rule("rest_hours", "enough rest between two duties, the journey left out", work.forbid_small_sets),
    Rule("duty_hours", "no duty longer than allowed", work.forbid_small_sets),
    Rule("weekly_rest_hours", "each week holds one long rest", work.forbid_patterns),
    Rule("rolling_rest_hours", "each window of days holds one long rest", work.forbid_patterns),
    Rule("driving_hours", "no driving beyond the hours allowed at the wheel", work.forbid_patterns),
    Rule("nights_away_in_days", "nights away from home stay within the limit", work.forbid_patterns),
    Rule("travel_hours_in_days", "hours of travel stay within the limit", work.forbid_patterns),
    Rule("races_per_weekend", "races worked in one weekend stay within the limit", work.races_per_weekend),
    Rule("weekends_in_a_row", "consecutive weekends with a duty stay within the limit", work.weekends_in_a_row),
    Rule("races_in_days", "races worked in a window of days stay within the limit", work.races_in_days),
    Rule("starts", "starts in the block stay within the limit", work.starts),
)
RULES: Mapping[str, Rule] = {rule.name: rule for rule in _ALL}
