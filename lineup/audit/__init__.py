"""Checks a plan from the season and the plan alone, in a formulation of its own.

Nothing here knows how plans are found or priced elsewhere: eligibility, timelines, counts, chains of cover and costs
are worked out again from the season's facts; only journeys, skill draws and sampled stops are shared.
"""

from lineup.audit.check import audit
from lineup.audit.records import Audit, Check, Measure

__all__ = ["Audit", "Check", "Measure", "audit"]
