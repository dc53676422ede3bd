"""Keeps answers that took a second or more, so that a second look is answered at once."""

from __future__ import annotations

import hashlib
import json
import threading
from collections.abc import Callable
from typing import Any, TypeVar

from lineup.plan import Plan
from lineup.plan_file import plan_to_dict

T = TypeVar("T")
MOST = 256
_lock = threading.Lock()
_kept: dict[tuple[Any, ...], Any] = {}
_making: dict[tuple[Any, ...], threading.RLock] = {}


def once(key: tuple[Any, ...], make: Callable[[], T]) -> T:
    """Return what was kept under `key`, else make and keep it; the oldest answers are let go.

    Whoever asks for the same key meanwhile waits for it; other keys do not.
    """
    with _lock:
        turn = _making.setdefault(key, threading.RLock())
    with turn:
        if key not in _kept:
            made = make()
            with _lock:
                while len(_kept) >= MOST:
                    oldest = next(iter(_kept))
                    del _kept[oldest]
                    _making.pop(oldest, None)
                _kept[key] = made
        answer: T = _kept[key]
        return answer


def plan_name(plan: Plan) -> str:
    """Return a name that two plans share only when they say the same."""
    return hashlib.sha256(json.dumps(plan_to_dict(plan), sort_keys=True, default=str).encode()).hexdigest()
