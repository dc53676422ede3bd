"""Background jobs: progress, stopping, failure, forgetting."""

from __future__ import annotations

import time

from lineup.errors import InputError
from lineup.jobs import Jobs


def test_a_job_reports_progress_and_keeps_its_result():
    job = Jobs().start("count", lambda report, stopped: [report(n) for n in range(3)] and "ready")
    assert job.wait(5) == "done"
    assert (job.progress, job.result) == ([0, 1, 2], "ready")


def test_a_stopped_job_keeps_the_best_it_had():
    def work(report, stopped):
        best = 0
        while not stopped():
            best += 1
            report(best)
            time.sleep(0.001)
        return best

    jobs = Jobs()
    job = jobs.start("search", work)
    while not job.progress:
        time.sleep(0.001)
    assert jobs.running() == (job,)
    job.stop()
    assert job.wait(5) == "stopped"
    assert job.result == job.progress[-1]


def test_a_known_error_becomes_its_message_and_a_fault_is_named():
    def wrong(report, stopped):
        raise InputError("weekend 'w9' is not in races.csv")

    def broken(report, stopped):
        raise ZeroDivisionError("oops")

    jobs = Jobs()
    first, second = jobs.start("wrong", wrong), jobs.start("broken", broken)
    assert (first.wait(5), second.wait(5)) == ("failed", "failed")
    assert first.error == "weekend 'w9' is not in races.csv"
    assert second.error == "an internal fault: ZeroDivisionError: oops"


def test_only_ended_jobs_are_forgotten():
    jobs = Jobs(keep=2)
    slow = jobs.start("slow", lambda report, stopped: [time.sleep(0.01) for _ in iter(stopped, True)])
    ended = [jobs.start(str(n), lambda report, stopped: None) for n in range(4)]
    for job in ended:
        job.wait(5)
    last = jobs.start("last", lambda report, stopped: None)
    last.wait(5)
    assert jobs.get(slow.id) is slow
    assert jobs.get(last.id) is last
    assert jobs.get(ended[0].id) is None
    slow.stop()
    slow.wait(5)
