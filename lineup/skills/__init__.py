"""Graded stops to skill estimates: level, consistency, misses and pace of every athlete, with their uncertainty."""

from lineup.skills.records import LeftOut, MissEstimate, PoolEstimate, Scale, SkillEstimates, SplitEstimate

__all__ = ["LeftOut", "MissEstimate", "PoolEstimate", "Scale", "SkillEstimates", "SplitEstimate"]
