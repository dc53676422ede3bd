"""Long calls in the background: each reports progress, can be stopped, and keeps what it found."""

from __future__ import annotations

import logging
import threading
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal

from lineup.errors import LineupError

State = Literal["running", "done", "stopped", "failed"]
Work = Callable[[Callable[[Any], None], Callable[[], bool]], Any]


@dataclass
class Job:
    """One long call. `progress` holds what the call last reported, `result` what it returned.

    The only mutable record of the package: a thread writes it, pages read it.
    """

    id: str
    title: str
    state: State = "running"
    progress: list[Any] = field(default_factory=list)
    result: Any = None
    error: str | None = None
    _stop: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None

    def stop(self) -> None:
        """Ask the call to stop; it keeps the best it has."""
        self._stop.set()

    def wait(self, seconds: float | None = None) -> State:
        """Block until the call has ended or the time has passed."""
        if self._thread is not None:
            self._thread.join(seconds)
        return self.state


class Jobs:
    """The running and ended jobs of one process, by id."""

    def __init__(self, keep: int = 20) -> None:
        self._jobs: dict[str, Job] = {}
        self._lock = threading.Lock()
        self._keep = keep

    def start(self, title: str, work: Work) -> Job:
        """Start `work(report, stopped)` in a thread; `report` takes progress, `stopped` tells whether to end."""
        job = Job(uuid.uuid4().hex[:12], title)
        job._thread = threading.Thread(target=_run, args=(job, work), name=f"job-{job.id}", daemon=True)  # noqa: SLF001
        with self._lock:
            self._jobs[job.id] = job
            ended = [key for key, other in self._jobs.items() if other.state != "running"]
            for key in ended[: max(0, len(self._jobs) - self._keep)]:
                del self._jobs[key]
        job._thread.start()  # noqa: SLF001
        return job

    def get(self, key: str) -> Job | None:
        """Return a job by id, or None when it is unknown or forgotten."""
        return self._jobs.get(key)

    def ended(self) -> tuple[Job, ...]:
        """Jobs that have ended and are still known, oldest first."""
        return tuple(job for job in list(self._jobs.values()) if job.state != "running")

    def running(self) -> tuple[Job, ...]:
        """Jobs that have not ended, oldest first."""
        return tuple(job for job in list(self._jobs.values()) if job.state == "running")


def _run(job: Job, work: Work) -> None:
    try:
        job.result = work(job.progress.append, job._stop.is_set)  # noqa: SLF001
        job.state = "stopped" if job._stop.is_set() else "done"  # noqa: SLF001
    except LineupError as error:
        job.error = str(error)
        job.state = "failed"
    except Exception as error:
        # a page shows one line; the traceback belongs to whoever runs the server
        logging.getLogger(__name__).exception("job %s (%s) failed", job.id, job.title)
        job.error = f"an internal fault: {type(error).__name__}: {error}"
        job.state = "failed"
