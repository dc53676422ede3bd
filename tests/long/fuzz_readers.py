"""Coverage-guided fuzzing of everything that is read: season folders, workbooks, plan files, grading sheets.

    pip install atheris            # not among the extras: it has wheels for some Pythons only, 3.11 among them
    python tests/long/fuzz_readers.py folder -max_total_time=300     # or: workbook, plan, sheet, toml

The fuzzer chooses bytes, tests/mutations.py turns them into damage, tests/readings.py says what must hold. Whatever
does not hold, takes longer than `SLOWEST_S`, or is an error nobody raised on purpose is kept once by its place in
`FOUND`, and fuzzing goes on. RESULTS.md has the last result.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["lineup.read", "lineup.plan_file", "lineup.limits", "lineup.grading_sheet"]):
    import lineup.grading_sheet
    import lineup.plan_file
    import lineup.read  # noqa: F401 imported here, so that the fuzzer sees which branches are taken

from tests.targets import TARGETS

FOUND = Path(os.environ.get("LINEUP_FUZZ_FOUND", "fuzz_found"))
SLOWEST_S = 10.0
SEEDS = 64


def main() -> None:
    """Fuzz one target; the rest of the command line goes to the fuzzer."""
    warnings.simplefilter("error")
    kind = sys.argv.pop(1)
    room = Path(tempfile.mkdtemp(prefix="fuzz-", dir="/dev/shm" if Path("/dev/shm").is_dir() else None))
    target = TARGETS[kind](room)
    counts: Counter[str] = Counter()
    slowest = 0.0

    def one(data: bytes) -> None:
        nonlocal slowest
        begin = time.process_time()  # not the clock: other programs may keep this one waiting
        try:
            counts[target(data, room)] += 1
        except Exception as error:
            counts["FOUND"] += keep(kind, error, data)
        took = time.process_time() - begin
        slowest = max(slowest, took)
        if took > SLOWEST_S:
            counts["SLOW"] += keep(kind, TimeoutError(f"{took:.0f} s"), data)
        if sum(counts.values()) % 500 == 0:
            print(f"{kind}: {dict(counts)}, slowest {slowest:.2f} s", flush=True)

    corpus = room / "corpus"
    corpus.mkdir()
    for number in range(SEEDS):
        (corpus / f"{number}").write_bytes(os.urandom(8 + number * 2))
    atheris.Setup([sys.argv[0], *sys.argv[1:], "-max_len=160", "-timeout=60", str(corpus)], one)
    atheris.Fuzz()


def keep(kind: str, error: Exception, data: bytes) -> int:
    """Keep an input once for each place it fails at; return 1 where the place is new."""
    frames = [frame for frame in traceback.extract_tb(error.__traceback__) if "site-packages" not in frame.filename]
    at = f"{Path(frames[-1].filename).stem}-{frames[-1].lineno}" if frames else "slow"
    place = FOUND / f"{kind}-{type(error).__name__}-{at}"
    if place.exists():
        return 0
    place.mkdir(parents=True)
    (place / "input").write_bytes(data)
    (place / "error.txt").write_text("".join(traceback.format_exception(error)), encoding="utf-8", errors="replace")
    return 1


if __name__ == "__main__":
    main()
