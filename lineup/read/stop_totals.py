"""Reads stops.csv: what whole stops took."""

from __future__ import annotations

import pandas as pd

from lineup.read.big import check_frame_refs, flagged, read_frame, typed, warn_of_far_out
from lineup.read.notes import Notes
from lineup.read.rows import StopRow
from lineup.read.source import Source
from lineup.read.tables import Known
from lineup.season import STOP_COLUMNS


def read_stops(source: Source, known: Known, notes: Notes) -> pd.DataFrame:
    """Read stops.csv into the columns `STOP_COLUMNS`."""
    table = source.tables.get("stops")
    frame = None if table is None else read_frame(table, StopRow, notes)
    if frame is None:
        return typed(pd.DataFrame(columns=list(STOP_COLUMNS)), STOP_COLUMNS)
    check_frame_refs(frame, StopRow, known, notes)
    stops = frame.cells
    twice = (stops["stop"].notna() & stops["stop"].duplicated()).to_numpy(dtype=bool)
    flagged(frame, twice, "stop", "repeats an earlier row", "Keep one.", ("stop",), notes)
    good = stops[~frame.bad]
    warn_of_far_out(frame.file, good, "total_s", good["service"], "the median of its service", notes)
    return typed(good, STOP_COLUMNS)
