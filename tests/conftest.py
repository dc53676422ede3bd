"""What every test shares: the same examples every time, so that a green run stays green; tests/long looks further."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("same every time", derandomize=True)
settings.load_profile("same every time")
