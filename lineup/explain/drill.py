"""Who can't be lost: every athlete (and pair, if asked) taken out of the plan in turn, and the block planned again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import combinations
from time import monotonic
from typing import Any

from joblib import Parallel, delayed, parallel_config

from lineup.errors import InputError
from lineup.explain.absences import absence_of
from lineup.explain.cross_training import cross_training
from lineup.explain.drill_records import Drill, Loss, Saver
from lineup.explain.loss import loss_of
from lineup.optimize.run import Stop
from lineup.plan import Plan
from lineup.settings import Settings
from lineup.study import Study
from lineup.suggest import did_you_mean

WITHIN_S = 240.0  # all losses; clearances that would help take a little longer
EACH_S = 20.0  # one loss at most
LEAST_EACH_S = 2.0
SEARCH_SHARE = 0.5  # of the time for one loss; mending by hand and clashes take the rest
MOST_CLEARANCES = 5
OnLoss = Callable[[Loss, int, int], None]
Group = tuple[str, ...]


def drill(
    study: Study,
    plan: Plan,
    athletes: Sequence[str] | None = None,
    pairs: bool = False,
    first: date | None = None,
    settings: Settings | None = None,
    scheduler: str | None = None,
    on_progress: OnLoss | None = None,
    stop: Stop | None = None,
    within_s: float = WITHIN_S,
) -> Drill:
    """Lose each athlete in turn and find the best plan without him.

    Parameters
    ----------
    athletes : whom to lose; `None`: everyone who is not out already.
    pairs : lose every two of them together as well.
    first : first day of the absence, which lasts to the end of the block; `None`: all of the block.
    settings : `workers` losses are worked on at once, each with one worker and at most `time_s` or `work`.
    scheduler : address of a Dask cluster to work on instead of this machine (needs the extra `cluster`).
    on_progress : told each loss as it is known, how many are, and of how many.
    stop : polled between losses; what is left then is listed as undone.
    within_s : no loss is begun after so many seconds, and those begun share what is left of them.

    Raises
    ------
    InputError
        When an athlete is unknown or out already, the day lies outside the block, or Dask is not installed.
    """
    effort = settings or study.settings.replace(time_s=EACH_S, work=None)
    groups = groups_to_lose(study, athletes, pairs, first)
    lean = study.with_season(study.season)  # estimates and samples, and nothing that each worker can make for itself
    queue = _Queue(lean, plan, effort, groups, first, stop, monotonic() + within_s)
    found: list[Loss] = []
    for loss in queue.run(scheduler):
        found.append(loss)
        if on_progress is not None:
            on_progress(loss, len(found), len(groups))
    done = {loss.athletes for loss in found}
    losses = tuple(sorted(found, key=lambda loss: (loss.cost_s is not None, -(loss.cost_s or 0.0), loss.athletes)))
    undone = tuple(group for group in groups if group not in done)
    advice = () if undone else cross_training(study, plan, most=MOST_CLEARANCES, stop=stop)
    return Drill(losses, undone, tuple(_savers(losses)), advice)


def groups_to_lose(study: Study, athletes: Sequence[str] | None, pairs: bool, first: date | None) -> tuple[Group, ...]:
    """Return who is lost together: each athlete, then every two of them if asked."""
    season = study.season
    for athlete in athletes or ():
        if athlete not in season.athletes:
            raise InputError(f"athlete {athlete!r} is not in athletes.csv{did_you_mean(athlete, season.athletes)}")
        absence_of(season, study.weekends, athlete, first)
    chosen = tuple(dict.fromkeys(athletes)) if athletes is not None else tuple(_not_out(study, first))
    singles: list[Group] = [(athlete,) for athlete in chosen]
    return tuple(singles + (list(combinations(chosen, 2)) if pairs else []))


def _not_out(study: Study, first: date | None) -> Iterator[str]:
    day = first or min(study.season.duty_days(race.id)[0] for race in study.season.races_of(study.weekends))
    out = {a.athlete for a in study.season.absences if a.status == "out" and a.touches(day, day)}
    for athlete in study.season.athletes:
        if athlete not in out:
            absence_of(study.season, study.weekends, athlete, first)
            yield athlete


@dataclass
class _Queue:
    study: Study
    plan: Plan
    effort: Settings
    groups: tuple[Group, ...]
    first: date | None
    stop: Stop | None
    deadline: float

    def run(self, scheduler: str | None) -> Iterator[Loss]:
        """Yield losses as they are known: those without a seat at once, the others from the workers."""
        seated = {a.athlete for a in self.plan.assignments}
        idle = [group for group in self.groups if not seated.intersection(group)]
        yield from (loss_of(self.study, self.plan, group, self.first, self.effort) for group in idle if not self._over)
        seats = Counter(a.athlete for a in self.plan.assignments)
        queue = [group for group in self.groups if group not in set(idle)]
        queue.sort(key=lambda group: (len(group), -sum(seats[athlete] for athlete in group)))  # the gravest first
        if not queue or self._over:
            return
        if scheduler is None:
            with parallel_config(backend="loky", n_jobs=self.effort.workers):
                yield from self._parallel(queue, self.effort.workers)
            return
        client = connect(scheduler)
        try:
            workers = max(1, len(client.scheduler_info()["workers"]))
            with parallel_config(backend="dask", client=client, scatter=[self.study, self.plan]):
                yield from self._parallel(queue, workers)
        finally:
            client.close()

    @property
    def _over(self) -> bool:
        return monotonic() >= self.deadline or (self.stop is not None and self.stop())

    def _parallel(self, queue: list[Group], workers: int) -> Iterator[Loss]:
        parallel = Parallel(return_as="generator_unordered", pre_dispatch=workers, batch_size=1)
        yield from parallel(self._tasks(queue, workers))

    def _tasks(self, queue: list[Group], workers: int) -> Iterator[object]:
        """Hand out one loss at a time, with its share of what is left of the time; none once it is over."""
        for number, group in enumerate(queue):
            if self._over:
                return
            rounds = -(-(len(queue) - number) // workers)
            share = max(LEAST_EACH_S, SEARCH_SHARE * (self.deadline - monotonic()) / rounds)
            effort = self.effort.replace(workers=1, time_s=min(self.effort.time_s, share))
            yield delayed(loss_of)(self.study, self.plan, group, self.first, effort)


def connect(scheduler: str, timeout_s: float = 10.0) -> Any:
    """Return a client of a Dask cluster.

    Raises
    ------
    InputError
        When Dask is not installed, or nothing answers at the address.
    """
    try:
        from distributed import Client
    except ImportError:
        raise InputError("a scheduler needs Dask: install the extra with  pip install 'lineup[cluster]'") from None
    try:
        return Client(scheduler, timeout=timeout_s, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise InputError(f"no Dask scheduler answers at {scheduler!r}: {error}") from None


def _savers(losses: Sequence[Loss]) -> Iterator[Saver]:
    """Add up, over all losses of one athlete, what each who steps in saves; the most needed first."""
    savers: dict[str, Saver] = {}
    for loss in (loss for loss in losses if len(loss.athletes) == 1):
        for athlete in (*loss.only_with, *loss.saved_by):
            known = savers.get(athlete, Saver(athlete, 0.0, 0))
            needed = athlete in loss.only_with
            seconds = known.saves_s + loss.saved_by.get(athlete, 0.0)
            savers[athlete] = Saver(athlete, seconds, known.losses + 1, known.needed + needed)
    yield from sorted(savers.values(), key=lambda s: (-s.needed, -s.saves_s, s.athlete))
