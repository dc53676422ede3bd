"""By hand: price and audit at once; what a pin costs equals brute force with and without it."""

from __future__ import annotations

import pytest

from lineup.explain.by_hand import by_hand, pin_price_to_dict, pin_prices
from lineup.plan import Assignment
from lineup.season import Pin
from tests.builders import tiny_season
from tests.explain.plans import plan_of, priced_lineups, solved_seasons, study_of
from tests.optimize.seasons import QUICK


def test_any_lineup_is_priced_and_audited_at_once():
    season = tiny_season(athletes=3, positions=2, grades=0)
    study = study_of(season)
    good = plan_of(study, (Assignment("r1", "c1", "p1", "a1"), Assignment("r1", "c1", "p2", "a2")))
    found = by_hand(study, good)
    assert found.audit.passed
    assert found.priced.value_s == study.pricer.value(good.assignments)
    twice = by_hand(study, plan_of(study, (Assignment("r1", "c1", "p1", "a1"), Assignment("r1", "c1", "p2", "a1"))))
    assert not twice.audit.passed
    part = by_hand(study, good.replace(assignments=good.assignments[:1]))
    assert part.priced.notes


def test_price_and_audit_agree_where_the_tail_weighs_more_than_the_season_says():
    study = study_of(tiny_season(athletes=3, positions=2, grades=0), settings=QUICK.replace(tail=1.0))
    plan = plan_of(study, (Assignment("r1", "c1", "p1", "a1"), Assignment("r1", "c1", "p2", "a2")))
    found = by_hand(study, plan)
    assert found.audit.value_s == pytest.approx(found.priced.value_s)


def test_the_price_of_each_pin_equals_brute_force():
    checked = 0
    for _, study, _, _ in solved_seasons(6, first=600):
        pins = (
            *study.season.pins,
            Pin("never", "a1", "not here", position="p1"),
            Pin("must", "a2", "a promise", race="r1"),
        )
        pinned = study.with_season(study.season.replace(pins=pins))
        values = priced_lineups(pinned)
        if not values:
            continue
        best = min(values, key=lambda lineup: values[lineup])
        prices = pin_prices(pinned, plan_of(pinned, best), QUICK)
        assert [p.costs_s for p in prices] == sorted((p.costs_s for p in prices), reverse=True)
        for price in prices:
            others = tuple(pin for pin in pins if pin is not price.pin)
            free = study.with_season(study.season.replace(pins=others))
            lineups = priced_lineups(free)
            truth = free.pricer.value(best) - min(lineups.values())
            checked += 1
            assert price.costs_s == pytest.approx(truth, abs=2e-3)
            assert price.at_most_s >= truth - 1e-6
            assert price.pin.reason in price.text
            assert pin_price_to_dict(price)["pin"]["kind"] == price.pin.kind
    assert checked >= 6


def test_stopping_leaves_the_rest_out():
    study = study_of(tiny_season(pins=(Pin("never", "a1", "a reason"),), grades=0))
    assert pin_prices(study, plan_of(study, ()), QUICK, stop=lambda: True) == ()
