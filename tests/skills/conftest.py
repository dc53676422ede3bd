"""One simulated season and its estimates, made once."""

import pytest

from lineup.skills import estimate_skills
from tests.skills.simulated import simulate


@pytest.fixture(scope="session")
def simulated():
    """(season, truth, estimates)."""
    season, truth = simulate()
    return season, truth, estimate_skills(season)
