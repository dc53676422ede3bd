"""Graded stops to skill estimates: level, consistency, misses and pace of every athlete, with their uncertainty."""

from lineup.skills.assumptions import Assumptions
from lineup.skills.compare import chance_faster, draws, own_seconds, shared_doubt
from lineup.skills.estimate import estimate_skills
from lineup.skills.holdout import HoldoutReport, holdout_report
from lineup.skills.profile import (
    AthleteProfile,
    MissProfile,
    PositionProfile,
    SplitProfile,
    Trend,
    profile,
    skills_table,
)
from lineup.skills.records import LeftOut, MissEstimate, PoolEstimate, Scale, SkillEstimates, SplitEstimate

__all__ = [
    "Assumptions",
    "AthleteProfile",
    "HoldoutReport",
    "LeftOut",
    "MissEstimate",
    "MissProfile",
    "PoolEstimate",
    "PositionProfile",
    "Scale",
    "SkillEstimates",
    "SplitEstimate",
    "SplitProfile",
    "Trend",
    "chance_faster",
    "draws",
    "estimate_skills",
    "holdout_report",
    "own_seconds",
    "profile",
    "shared_doubt",
    "skills_table",
]
