"""How fast crews are evaluated, and what Sobol points are worth: run `python -m tests.benchmarks.bench_stops`.

Everything is measured in one run on the same choreography and the same sampled stops; only ratios matter.
Last result, two cores busy with other work too: 4.1 million stops/s in bulk, 5,900 times simpy, 1,600 times a loop
over scenarios, 17 times one crew at a time (19 million stops/s in bulk on idle cores). Standard error of the mean
stop with Sobol points, over plain random ones: 0.21 without misses, 0.29 with them.
"""

from __future__ import annotations

from collections.abc import Callable
from time import perf_counter

import numpy as np

from lineup.choreography import places
from lineup.season import Choreography
from lineup.skills import SkillEstimates
from lineup.stop_model.bank import ServiceBank
from lineup.stop_model.network import Network
from lineup.stop_model.sampling import Points, Sampler, random_points, sobol_points
from lineup.stop_model.stops import sample_service
from tests.services import log_level, made_estimates, stop_season
from tests.stop_model.test_network import simulate

SCENARIOS = 1024
CREWS = 4000
REPEATS = 48


def main() -> None:
    """Time bulk evaluation against simpy and plain loops, then compare standard errors."""
    season = stop_season()
    known = made_estimates(season, log_level(1.0, 0.03, 0.08), rate=0.05)
    bank = sample_service(season, known, "four", "plain", 1, SCENARIOS)
    crews = np.random.default_rng(1).integers(0, 4, (CREWS, len(bank.positions)))
    bulk = rate("in bulk", lambda: bank.stop_times(crews), CREWS * SCENARIOS)
    for name, play, count in (
        ("one crew at a time", one_crew_at_a_time, 200 * SCENARIOS),
        ("loop over scenarios", loop_over_scenarios, 4 * SCENARIOS),
        ("simpy", in_simpy, SCENARIOS),
    ):
        few = crews[: count // SCENARIOS]
        found: list[np.ndarray] = []
        slow = rate(name, lambda play=play, few=few, found=found: found.append(play(bank, few)), count)
        assert np.abs(found[0] - bank.stop_times(few)).max() < 0.02  # simpy plays whole milliseconds
        print(f"  in bulk is {bulk / slow:,.0f} times as fast")

    for words, misses in (("without misses", 0.0), ("with misses, 5 in 100 tries", 0.05)):
        known = made_estimates(season, log_level(1.0, 0.03, 0.08), rate=misses)
        errors = [standard_error(bank, known, make) for make in (sobol_points, random_points)]
        print(f"standard error of the mean stop {words}, Sobol over plain random: {errors[0] / errors[1]:.2f}")


def standard_error(bank: ServiceBank, known: SkillEstimates, make: Callable[[Choreography, int, int], Points]) -> float:
    """Standard deviation of one crew's mean stop over independent sets of points, seconds."""
    network = Network(bank.choreography)
    means = []
    for seed in range(REPEATS):
        sampler = Sampler(bank.choreography, known, "plain", make(bank.choreography, seed, SCENARIOS))
        rows = {p: sampler.draw(p, ["a1" if p else ""]).seconds[0] for p in ("", *bank.positions)}
        taken = np.array([rows[p or ""][rank] for p, rank in places(bank.choreography)])
        means.append(network.stop_time(network.finish(taken)).mean())
    return float(np.std(means, ddof=1))


def rate(name: str, work: Callable[[], object], stops: int) -> float:
    """Stops per second, printed."""
    start = perf_counter()
    work()
    found = stops / (perf_counter() - start)
    print(f"{name}: {found:,.0f} stops/s")
    return found


def one_crew_at_a_time(bank: ServiceBank, crews: np.ndarray) -> np.ndarray:
    """Vectorised over scenarios only."""
    network = Network(bank.choreography)
    return np.array([network.stop_time(network.finish(bank.crew_durations(crew))) for crew in crews])


def loop_over_scenarios(bank: ServiceBank, crews: np.ndarray) -> np.ndarray:
    """The straightforward way: stop by stop, task by task."""
    network = Network(bank.choreography)
    times = np.empty((len(crews), bank.scenarios))
    for c, crew in enumerate(crews):
        durations = bank.crew_durations(crew)
        for s in range(bank.scenarios):
            finish = np.zeros(len(network.before))
            for task, before in enumerate(network.before):
                start = finish[list(before)].max() if before else 0.0
                finish[task] = start + durations[task, s]
            times[c, s] = finish[list(network.release)].max()
    return times


def in_simpy(bank: ServiceBank, crews: np.ndarray) -> np.ndarray:
    """Play every stop as events, in whole milliseconds."""
    times = np.empty((len(crews), bank.scenarios))
    for c, crew in enumerate(crews):
        whole = np.rint(1000 * bank.crew_durations(crew)).astype(int)
        for s in range(bank.scenarios):
            lasts = {t.id: int(d) for t, d in zip(bank.choreography.tasks, whole[:, s], strict=True)}
            times[c, s] = simulate(bank.choreography, frozenset(), lasts) / 1000
    return times


if __name__ == "__main__":
    main()
