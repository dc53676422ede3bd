"""The network of a service against textbooks and reference libraries."""

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

from lineup.choreography import exists, order_tasks
from lineup.season import Choreography, Task
from lineup.stop_model.network import Network
from tests.services import CARRIER, FRONT, STAGER, four_tires, random_choreography, task
from tests.test_choreography import chain


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
