"""The grading sheet: an .xlsx with one line per stop and position, to fill in while watching film.

Its columns are those of `layout`; a stop's date, setting, tire, race, car, spoilers and total are given on any one of
its lines. A tally of misses is a number, or `task: number` for each task, where the position has several such tasks.
"""

from __future__ import annotations

from lineup.grading_sheet.add import Added, add_grades
from lineup.grading_sheet.read import GradingSheet, read_grading_sheet
from lineup.grading_sheet.write import write_grading_sheet

__all__ = ["Added", "GradingSheet", "add_grades", "read_grading_sheet", "write_grading_sheet"]
