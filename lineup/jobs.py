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

    def begin(self, work: Work) -> None:
        """Run the call in a thread of its own."""
        self._thread = threading.Thread(target=self._run, args=(work,), name=f"job-{self.id}", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Ask the call to stop; it keeps the best it has."""
        self._stop.set()

    def wait(self, seconds: float | None = None) -> State:
        """Block until the call has ended or the time has passed."""
        if self._thread is not None:
            self._thread.join(seconds)
        return self.state

    def _run(self, work: Work) -> None:
        try:
            self.result = work(self.progress.append, self._stop.is_set)
            self.state = "stopped" if self._stop.is_set() else "done"
        except LineupError as error:
            self.error = str(error)
            self.state = "failed"
        except Exception as error:
            # a page shows one line; the traceback belongs to whoever runs the server
            logging.getLogger(__name__).exception("job %s (%s) failed", self.id, self.title)
            self.error = f"an internal fault: {type(error).__name__}: {error}"
            self.state = "failed"


class Jobs:
    """The running and ended jobs of one process, by id."""

    def __init__(self, keep: int = 20) -> None:
        self._jobs: dict[str, Job] = {}
        self._lock = threading.Lock()
        self._keep = keep

    def start(self, title: str, work: Work) -> Job:
        """Start `work(report, stopped)` in a thread; `report` takes progress, `stopped` tells whether to end."""
        job = Job(uuid.uuid4().hex[:12], title)
        with self._lock:
            self._jobs[job.id] = job
            ended = [key for key, other in self._jobs.items() if other.state != "running"]
            for key in ended[: max(0, len(self._jobs) - self._keep)]:
                del self._jobs[key]
        job.begin(work)
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
