"""limits.toml becomes limits; everything wrong with it is told at once."""

from __future__ import annotations

import tomllib

import pytest

from lineup.limits import KNOWN_LIMITS, DrivingRules, JourneyRules, Limits, counted, limits_from_toml
from lineup.presets import PRESETS


def read(text: str) -> Limits:
    limits, problems = limits_from_toml(tomllib.loads(text))
    assert problems == []
    return limits


def faults(text: str) -> list[tuple[str, object, str, str]]:
    return limits_from_toml(tomllib.loads(text))[1]


def test_nothing_named_binds_nothing() -> None:
    assert read("") == Limits()


def test_a_bare_number_is_a_hard_limit_in_the_natural_direction() -> None:
    limits = read("rest_hours = 11\nweekends_in_a_row = 3\ncover = 1\ntravel_places = 18")
    rest, row = limits.by_name["rest_hours"], limits.by_name["weekends_in_a_row"]
    assert (rest.at_least, rest.at_most, rest.hard) == (11.0, None, True)
    assert (row.at_least, row.at_most, row.hard) == (None, 3.0, True)
    assert limits.by_name["cover"].at_least == 1.0
    assert limits.by_name["travel_places"].at_most == 18.0


def test_tables_carry_window_and_price() -> None:
    limits = read(
        "reserves_count = true\n"
        "weekends_in_a_row = { at_most = 3, price_s = 4.0 }\n"
        "races_in_days = { at_most = 6, days = 28 }\n"
        "height = { price_s = 0.5 }\n"
        "starts = { at_least = 1, at_most = 5 }\n"
        "travel_places = { price_s = 2 }\n"
    )
    assert limits.reserves_count
    assert limits.by_name["weekends_in_a_row"].price_s == 4.0
    assert limits.by_name["races_in_days"].days == 28
    assert not limits.by_name["height"].hard
    assert (limits.by_name["starts"].at_least, limits.by_name["starts"].at_most) == (1.0, 5.0)
    assert limits.by_name["travel_places"].at_most is None


def test_directive_preset_names_its_articles() -> None:
    # Directive 2003/88/EC art. 3: 11 consecutive hours per 24-hour period. Art. 5: 24 hours plus the 11 of art. 3.
    limits = read('preset = "2003/88/EC"')
    rest, week = limits.by_name["rest_hours"], limits.by_name["weekly_rest_hours"]
    assert (rest.at_least, rest.source) == (11.0, "Directive 2003/88/EC art. 3")
    assert (week.at_least, week.source) == (24.0 + 11.0, "Directive 2003/88/EC art. 5 (24 h + 11 h)")
    assert rest.preset == week.preset == "2003/88/EC"


@pytest.mark.parametrize(
    ("preset", "wheel", "off", "window", "on_duty", "days"),
    [  # 49 CFR 395.3(a)(1)-(3), (b); 395.5(a), (b)
        ("49 CFR 395.3", 11, 10, 14, 60, 7),
        ("49 CFR 395.3(b)(2)", 11, 10, 14, 70, 8),
        ("49 CFR 395.5", 10, 8, 15, 60, 7),
        ("49 CFR 395.5(b)(2)", 10, 8, 15, 70, 8),
    ],
)
def test_driving_presets(preset: str, wheel: float, off: float, window: float, on_duty: float, days: int) -> None:
    limit = read(f'preset = "{preset}"').by_name["driving_hours"]
    assert limit.driving is not None
    assert (limit.at_most, limit.days) == (wheel, days)
    assert (limit.driving.off_hours, limit.driving.on_duty_hours) == (off, on_duty)
    # 395.3 counts 14 hours from coming on duty, 395.5 the 15 hours on duty
    spell = limit.driving.window_hours if "395.3" in preset else limit.driving.worked_hours
    assert spell == window
    assert limit.driving.restart_hours == (34 if "395.3" in preset else None)  # 395.3(c) has no twin in 395.5
    assert limit.driving.break_after_hours == (8 if "395.3" in preset else None)  # nor has 395.3(a)(3)(ii)
    assert limit.driving.break_hours == 0.5


def test_several_presets_and_own_keys_over_them() -> None:
    limits = read('preset = ["2003/88/EC", "49 CFR 395.5"]\nrest_hours = 12\nweekly_rest_hours = { price_s = 1.5 }')
    assert (limits.by_name["rest_hours"].at_least, limits.by_name["rest_hours"].source) == (12.0, "limits.toml")
    week = limits.by_name["weekly_rest_hours"]
    assert (week.at_least, week.price_s, week.source) == (35.0, 1.5, "Directive 2003/88/EC art. 5 (24 h + 11 h)")
    assert "driving_hours" in limits.by_name


def test_own_driving_rules_keep_the_rest_of_the_preset() -> None:
    limit = read('preset = "49 CFR 395.3"\ndriving_hours = 9').by_name["driving_hours"]
    assert (limit.at_most, limit.source) == (9.0, "limits.toml")
    assert limit.driving == DrivingRules(10.0, 14.0, None, 60.0, 34.0, 8.0, 0.5)
    alone = read("driving_hours = { at_most = 9, off_hours = 11 }").by_name["driving_hours"]
    assert alone.driving == DrivingRules(off_hours=11.0)


def test_journey_rules_have_defaults() -> None:
    assert read("[journeys]\nroad_km_h = 70").journeys == JourneyRules(road_km_h=70.0)


@pytest.mark.parametrize(
    ("text", "key", "message", "mend"),
    [
        ("rest_hour = 11", "rest_hour", "not a known limit", "Did you mean rest_hours?"),
        ('preset = "2003/88"', "preset", "not a known preset", "Did you mean 2003/88/EC?"),
        ('rest_hours = "11"', "rest_hours", "not a number", "Write a number"),
        ("rest_hours = -1", "rest_hours", "not a number of zero or more", "at_least = 3"),
        ("rest_hours = true", "rest_hours", "not a number", "Write a number"),
        ("rest_hours = nan", "rest_hours", "not a number", "Write a number"),
        ("rest_hours = { at_most = 3 }", "rest_hours.at_most", "not a known key of rest_hours", "at_least"),
        ("rest_hours = { at_least = 9, days = 7 }", "rest_hours.days", "not a known key", "Known: at_least, price_s"),
        ("races_in_days = 6", "races_in_days", "has no window of days", "days = 28"),
        ("races_in_days = { at_most = 6, days = 0 }", "races_in_days.days", "below one day", "1 or more"),
        ("races_in_days = { at_most = 6, days = 1.5 }", "races_in_days.days", "not a whole number", "decimals"),
        ("weekends_in_a_row = 2.5", "weekends_in_a_row", "not a whole number", "decimals"),
        ("weekends_in_a_row = { price_s = 2 }", "weekends_in_a_row", "has no number", "at_most"),
        ("starts = { at_least = 3, at_most = 2 }", "starts.at_least", "above at_most", "at most 2"),
        ("height = 1.8", "height", "not a known key of height", "price_s"),
        ("height = {}", "height", "has no price", "price_s = 0.5"),
        ("reserves_count = 1", "reserves_count", "neither true nor false", "true or false"),
        ("journeys = 3", "journeys", "not a table", "[journeys]"),
        ("[journeys]\nroad_kmh = 3", "journeys.road_kmh", "not a known key of journeys", "road_km_h"),
        ("[journeys]\nroad_km_h = 0", "journeys.road_km_h", "not a usable number", "above zero"),
        ("[journeys]\nroad_detour = 0.9", "journeys.road_detour", "shorter than a straight line", "1 or more"),
        ("driving_hours = { at_most = 9, break_hours = 0 }", "driving_hours.break_hours", "is zero", "above zero"),
        ("driving_hours = { at_most = 9, on_duty_hours = 60 }", "driving_hours.on_duty_hours", "no window", "days = 7"),
    ],
)
def test_each_fault_is_named_with_its_mend(text: str, key: str, message: str, mend: str) -> None:
    assert [fault[0] for fault in faults(text)] == [key]
    _, _, what, right = faults(text)[0]
    assert message in what
    assert mend in right


def test_all_faults_come_at_once_and_good_limits_stay() -> None:
    limits, problems = limits_from_toml({"rest_hours": 11, "duty_hour": 9, "cover": -1, "races_in_days": 3})
    assert {key for key, *_ in problems} == {"duty_hour", "cover", "races_in_days"}
    assert set(limits.by_name) == {"rest_hours"}


def test_every_preset_names_known_limits() -> None:
    for name, limits in PRESETS.items():
        read(f'preset = "{name}"')
        assert set(limits) <= set(KNOWN_LIMITS)


@pytest.mark.parametrize(
    ("figure", "things", "words"),
    [(1, "weekends", "1 weekend"), (1, "nights away", "1 night away"), (0, "starts", "0 starts"), (1, "h", "1 h"),
     (3, "weekends in a row", "3 weekends in a row"), (7.5, "h of travel", "7.5 h of travel")],
)  # fmt: skip
def test_one_thing_is_not_told_as_several(figure: float, things: str, words: str) -> None:
    assert counted(figure, things) == words
