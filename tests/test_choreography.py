"""Order of tasks, which of them exist, and own times from marks."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lineup.choreography import Mark, exists, order_tasks, own_times
from lineup.errors import InputError
from lineup.season import Choreography
from lineup.stop_model.network import Network
from tests.services import STAGER, four_tires, random_choreography, task

# ------------------------------------------------------------------------------------------------------- order


def test_order_keeps_the_given_order_where_it_can() -> None:
    tasks = [task("c", "p", "b"), task("a", "p"), task("d", "q"), task("b", "p", "a")]
    assert [t.id for t in order_tasks(tasks)] == ["a", "d", "b", "c"]


def test_a_circle_is_named_in_the_order_of_waiting() -> None:
    tasks = [task("start", "p"), task("a", "p", "start c"), task("b", "q", "a"), task("c", "r", "b")]
    with pytest.raises(InputError, match=r"circle: a → b → c → a"):
        order_tasks(tasks)


def test_waiting_for_a_task_that_is_not_there_is_refused() -> None:
    with pytest.raises(InputError, match="task a waits for gone"):
        order_tasks([task("a", "p", "gone")])


@given(st.integers(0, 10_000))
@settings(max_examples=40, deadline=None)
def test_any_shuffle_of_a_network_is_put_in_an_order_that_works(seed: int) -> None:
    rng = np.random.default_rng(seed)
    tasks = list(random_choreography(rng).tasks)
    rng.shuffle(tasks)
    done: set[str] = set()
    for t in order_tasks(tasks):
        assert set(t.after) <= done
        done.add(t.id)


# --------------------------------------------------------------------------------------------------- own times


def chain() -> Choreography:
    """a and b of two positions, then c waits for both; d only with a helper, e without, f after both."""
    tasks = [
        task("a", "p"),
        task("b", "q"),
        task("c", "p", "a b"),
        task("d", "helper", "b", only_with="helper"),
        task("e", "q", "b", only_without="helper"),
        task("f", "p", "c d e", release=True),
    ]
    return Choreography("s", "S", order_tasks(tasks))


def test_a_finish_mark_loses_the_latest_of_what_it_waited_for() -> None:
    own = own_times(chain(), {"a": ("finish_s", 1.0), "b": ("finish_s", 1.5), "c": ("finish_s", 2.25)})
    assert own == {"a": 1.0, "b": 1.5, "c": 0.75}


def test_seconds_and_finish_marks_mix_in_one_stop() -> None:
    own = own_times(chain(), {"a": ("seconds", 2.0), "b": ("seconds", 1.5), "c": ("finish_s", 2.5)})
    assert own["c"] == pytest.approx(0.5)
    later: dict[str, Mark] = {"d": ("seconds", 0.2), "c": ("seconds", 0.75), "f": ("finish_s", 3.0)}
    own = own_times(chain(), {"a": ("seconds", 2.0), "b": ("seconds", 1.5)} | later)
    assert (own["c"], own["d"]) == (0.75, 0.2)  # seconds are the task's own, whenever it began
    assert own["f"] == pytest.approx(3.0 - 2.75)  # c is done at 2.75, d at 1.7


def test_an_ungraded_predecessor_leaves_the_own_time_unknown() -> None:
    assert own_times(chain(), {"a": ("finish_s", 1.0), "c": ("finish_s", 2.0)}) == {"a": 1.0, "c": None}


def test_seconds_after_an_ungraded_task_do_not_tell_when_they_ended() -> None:
    own = own_times(chain(), {"c": ("seconds", 0.75), "d": ("seconds", 0.2), "f": ("finish_s", 3.0)})
    assert own == {"c": 0.75, "d": 0.2, "f": None}


def test_marks_show_whether_the_helper_was_there() -> None:
    without: dict[str, Mark] = {
        "c": ("finish_s", 2.0),
        "b": ("finish_s", 1.0),
        "e": ("finish_s", 2.5),
        "f": ("finish_s", 3.0),
    }
    assert own_times(chain(), without)["f"] == pytest.approx(0.5)
    with_helper: dict[str, Mark] = {
        "c": ("finish_s", 2.0),
        "b": ("finish_s", 1.0),
        "d": ("finish_s", 2.6),
        "f": ("finish_s", 3.0),
    }
    assert own_times(chain(), with_helper)["f"] == pytest.approx(0.4)
    unknown: dict[str, Mark] = {"c": ("finish_s", 2.0), "b": ("finish_s", 1.0), "f": ("finish_s", 3.0)}
    assert own_times(chain(), unknown)["f"] is None


@pytest.mark.parametrize("empty", [frozenset(), frozenset({STAGER})])
def test_own_times_come_back_from_the_finishes_of_a_whole_stop(empty: frozenset[str]) -> None:
    network = Network(four_tires(), empty)
    durations = np.random.default_rng(1).uniform(0.1, 2.0, len(network.choreography.tasks))
    finish = network.finish(durations)
    marks: dict[str, Mark] = {
        t.id: ("finish_s", float(f))
        for t, f, there in zip(network.choreography.tasks, finish, network.exists, strict=True)
        if there
    }
    own = own_times(network.choreography, marks)
    for t, seconds, there in zip(network.choreography.tasks, durations, network.exists, strict=True):
        assert not there or own[t.id] == pytest.approx(seconds)


# --------------------------------------------------------------------------------------- tasks that may not exist


def test_a_task_exists_by_its_seat_and_its_conditions() -> None:
    helper = task("t", "p", only_with="h", only_without="g")
    assert exists(helper, frozenset({"g"}))
    assert not exists(helper, frozenset())
    assert not exists(helper, frozenset({"g", "h"}))
    assert not exists(helper, frozenset({"g", "p"}))
