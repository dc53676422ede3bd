"""Reads a season folder, or a workbook with the same tables, and reports everything that is wrong with it at once."""

from __future__ import annotations

from lineup.read.season_file import read_season

__all__ = ["read_season"]
