"""Order of tasks, own times from marks, and the network against textbooks and reference libraries."""

from __future__ import annotations

import itertools
from collections.abc import Generator, Mapping

import networkx as nx
import numpy as np
import pytest
import simpy
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from lineup.choreography import Mark, Network, exists, order_tasks, own_times
from lineup.errors import InputError
from lineup.season import Choreography, Task
from tests.services import CARRIER, FRONT, STAGER, four_tires, random_choreography, task

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


def test_a_task_that_does_not_exist_passes_its_predecessors_through() -> None:
    network = Network(chain(), frozenset({"helper"}))
    finish = network.finish(np.array([1.0, 2.0, 1.0, 9.0, 0.25, 1.0]))
    assert finish.tolist() == [1.0, 2.0, 3.0, 2.0, 2.25, 4.0]


def test_early_tasks_may_end_before_the_car_stops_and_are_never_clamped() -> None:
    choreography = Choreography("s", "S", (task("run", "p", early=True), task("off", "p", "run", release=True)))
    finish = Network(choreography).finish(np.array([[-0.5], [0.2]]))
    assert finish[:, 0].tolist() == [-0.5, pytest.approx(-0.3)]


# ---------------------------------------------------------------------------------------------- outside references


def network_of(durations: Mapping[str, float], before: Mapping[str, str]) -> tuple[Network, np.ndarray]:
    """Textbook network: each activity a task, every activity that nothing waits for releases."""
    awaited = set("".join(before.values()))
    tasks = order_tasks(
        task(a, "p", " ".join(before.get(a, "")), seconds, release=a not in awaited) for a, seconds in durations.items()
    )
    return Network(Choreography("s", "S", tasks)), np.array([t.seconds for t in tasks], dtype=float)


# Hillier & Lieberman, Introduction to Operations Research, Reliable Construction: optimistic, likely, pessimistic
# weeks (durations read in a copy that quotes them; predecessors and answers from memory, recomputed consistent).
THREE_POINTS = {
    "A": (1, 2, 3), "B": (2, 3.5, 8), "C": (6, 9, 18), "D": (4, 5.5, 10), "E": (1, 4.5, 5), "F": (4, 4, 10),
    "G": (5, 6.5, 11), "H": (5, 8, 17), "I": (3, 7.5, 9), "J": (3, 9, 9), "K": (4, 4, 4), "L": (1, 5.5, 7),
    "M": (1, 2, 3), "N": (5, 5.5, 9),
}  # fmt: skip
BEFORE = {"B": "A", "C": "B", "D": "C", "E": "C", "F": "E", "G": "D", "H": "EG", "I": "C", "J": "FI", "K": "J",
          "L": "J", "M": "H", "N": "KL"}  # fmt: skip


def test_reliable_construction() -> None:
    means = {a: (o + 4 * m + p) / 6 for a, (o, m, p) in THREE_POINTS.items()}
    network, durations = network_of(means, BEFORE)
    finish = network.finish(durations)
    path = [t.id for t, on in zip(network.choreography.tasks, network.longest_path(finish), strict=True) if on]
    assert network.stop_time(finish) == pytest.approx(44)
    assert path == list("ABCEFJLN")
    variance = sum(((p - o) / 6) ** 2 for a, (o, _, p) in THREE_POINTS.items() if a in path)
    assert variance == pytest.approx(9)
    assert norm.cdf((47 - 44) / variance**0.5) == pytest.approx(0.8413, abs=5e-5)


def test_reliable_construction_by_simulation_shows_that_one_path_alone_is_optimistic() -> None:
    # Triangular times: mean 46.23 and P(T <= 47) = .594, computed independently.
    network, _ = network_of({a: m for a, (_, m, _) in THREE_POINTS.items()}, BEFORE)
    rng = np.random.default_rng(5)
    draws = 200_000
    sampled = []
    for t in network.choreography.tasks:
        low, likely, high = THREE_POINTS[t.id]
        sampled.append(rng.triangular(low, likely, high, draws) if high > low else np.full(draws, float(low)))
    times = network.stop_time(network.finish(np.array(sampled)))
    assert times.mean() == pytest.approx(46.23, abs=0.03)
    assert (times <= 47).mean() == pytest.approx(0.594, abs=0.005)


def test_glpk_critical_path_example() -> None:
    # cpp.mod of the GLPK distribution: durations, length 46 and slacks as published there.
    durations = dict(zip("ABCDEFGHIJKLM", (3, 4, 3, 10, 8, 4, 6, 8, 5, 5, 4, 2, 4), strict=True))
    before = {"B": "A", "C": "B", "D": "B", "E": "D", "F": "D", "G": "D", "H": "CEFG", "I": "H", "J": "H", "K": "I",
              "L": "J", "M": "KL"}  # fmt: skip
    network, times = network_of(durations, before)
    assert network.stop_time(network.finish(times)) == 46
    slack = {t.id: s for t, s in zip(network.choreography.tasks, network.slack(times), strict=True)}
    assert {a: s for a, s in slack.items() if s} == {"C": 15, "F": 4, "G": 2, "J": 2, "L": 2}


@given(st.integers(0, 10_000))
@settings(max_examples=60, deadline=None)
def test_longest_path_agrees_with_networkx(seed: int) -> None:
    rng = np.random.default_rng(seed)
    choreography = random_choreography(rng)
    empty = frozenset(p for p in choreography.positions if rng.random() < 0.3)
    network = Network(choreography, empty)
    durations = rng.uniform(0.1, 3.0, len(choreography.tasks))
    graph = nx.DiGraph([("start", t.id, {"weight": 0.0}) for t in choreography.tasks])
    spent = {t.id: d if exists(t, empty) else 0.0 for t, d in zip(choreography.tasks, durations, strict=True)}
    for t in choreography.tasks:
        graph.add_edges_from((a, t.id, {"weight": spent[a]}) for a in t.after)
        if t.release:
            graph.add_edge(t.id, "end", weight=spent[t.id])
    expected = nx.dag_longest_path_length(graph.subgraph(nx.ancestors(graph, "end") | {"end"}))
    finish = network.finish(durations)
    assert network.stop_time(finish) == pytest.approx(expected)
    on_path = network.longest_path(finish)
    assert sum(spent[t.id] for t, on in zip(choreography.tasks, on_path, strict=True) if on) == pytest.approx(expected)
    slack = network.slack(durations)
    assert np.all(slack[on_path] < 1e-9)
    assert np.all(slack > -1e-9)


def simulate(choreography: Choreography, empty: frozenset[str], durations: Mapping[str, int]) -> int:
    """Play one stop in simpy, in whole milliseconds; tasks that wait for nobody may be over before the car stops."""
    start = -10_000
    env = simpy.Environment(initial_time=start)
    done = {t.id: env.event() for t in choreography.tasks}

    def work(t: Task) -> Generator[simpy.Event, None, None]:
        lasts = durations[t.id] if exists(t, empty) else 0
        if t.after:
            yield env.all_of([done[a] for a in t.after])
            yield env.timeout(lasts)
        else:
            yield env.timeout(lasts - start)
        done[t.id].succeed()

    for t in choreography.tasks:
        env.process(work(t))
    env.run(until=env.all_of([done[t.id] for t in choreography.tasks if t.release]))
    return int(env.now)


@pytest.mark.parametrize("empty", [frozenset(), frozenset({STAGER}), frozenset({STAGER, CARRIER}), frozenset({FRONT})])
def test_playing_the_choreography_in_simpy_gives_the_same_stop_to_the_millisecond(empty: frozenset[str]) -> None:
    choreography = four_tires()
    network = Network(choreography, empty)
    rng = np.random.default_rng(11)
    nominal = np.array([t.seconds * 1000 for t in choreography.tasks])
    for _ in range(25):
        durations = np.rint(nominal * rng.lognormal(0, 0.2, len(nominal)))
        early = [i for i, t in enumerate(choreography.tasks) if t.early]
        durations[early] -= 400
        played = simulate(
            choreography, empty, {t.id: int(d) for t, d in zip(choreography.tasks, durations, strict=True)}
        )
        assert network.stop_time(network.finish(durations)) == played


def test_every_path_is_a_bound_and_the_longest_is_the_stop() -> None:
    network, durations = network_of({a: m for a, (_, m, _) in THREE_POINTS.items()}, BEFORE)
    graph = nx.DiGraph([(a, b) for b, many in BEFORE.items() for a in many])
    own = {t.id: d for t, d in zip(network.choreography.tasks, durations, strict=True)}
    ends = [t.id for t in network.choreography.tasks if t.release]
    paths = itertools.chain.from_iterable(nx.all_simple_paths(graph, "A", end) for end in ends)
    lengths = [sum(own[a] for a in path) for path in paths]
    assert max(lengths) == network.stop_time(network.finish(durations))
