"""HiGHS as this package uses it: silent, on one thread, so that runs repeat."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import highspy

from lineup.optimize.stopped import Over, Stopped


def new_lp(interior: bool = False) -> highspy.Highs:
    """Return an empty linear program, solved by interior point without crossover if asked for."""
    with _stdout_unheard():
        lp = highspy.Highs()  # type: ignore[no-untyped-call]
    lp.setOptionValue("output_flag", False)
    lp.setOptionValue("log_to_console", False)
    lp.setOptionValue("threads", 1)
    if interior:
        lp.setOptionValue("solver", "ipm")
        lp.setOptionValue("run_crossover", "off")
    return lp


def run(lp: highspy.Highs, over: Over) -> None:
    """Solve a linear program.

    Raises
    ------
    Stopped
        When `over`, asked at every step of the solver, ended it early.
    """

    def ask(event: highspy.highs.HighsCallbackEvent) -> None:
        if over():
            event.interrupt()

    for asked in (lp.cbSimplexInterrupt, lp.cbIpmInterrupt):
        asked.subscribe(ask)
    try:
        lp.run()
    finally:
        for asked in (lp.cbSimplexInterrupt, lp.cbIpmInterrupt):
            asked.unsubscribe(ask)
    if lp.getModelStatus() == highspy.HighsModelStatus.kInterrupt:
        raise Stopped


@contextmanager
def _stdout_unheard() -> Iterator[None]:
    """Let go of what the library itself writes: from 1.16 on it greets on stdout before it can be told not to.

    Stdout holds one JSON document where that was asked for.
    """
    sys.stdout.flush()
    kept, nowhere = os.dup(1), os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    try:
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)
