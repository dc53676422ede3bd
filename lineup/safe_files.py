"""Writes files so that a crash, a kill or a full disk leaves either what was there before or what is new.

One file: it is written beside its place, then renamed into it. Several files that belong together (`replace_together`):
all are written beside their places, then a journal says that they count, then they are renamed. Whoever finds the
journal finishes the renaming (`finish_step`); until then `step_waits` says that the files do not fit together.
"""

from __future__ import annotations

import json
import os
import secrets
import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from lineup.errors import InputError

JOURNAL: Final = ".lineup-step.json"


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Give a path beside a file to write to; it takes the file's place when the block ends, and goes when it fails.

    Raises
    ------
    OSError
        When the disk refuses; the file is then as it was before.
    """
    path = Path(os.path.realpath(path))  # a link stays a link
    draft = path.with_name(f".{secrets.token_hex(6)}.draft")
    try:
        yield draft
        if path.exists():
            shutil.copymode(path, draft)
        _to_disk(draft)
        draft.replace(path)
    except BaseException:
        draft.unlink(missing_ok=True)
        raise


def write_whole(path: Path, data: bytes) -> None:
    """Write a file whole or not at all; raises as `whole_file` does."""
    with whole_file(path) as draft:
        draft.write_bytes(data)


@contextmanager
def one_writer(folder: Path) -> Iterator[None]:
    """Wait until no other program writes into this folder, then keep them waiting until the block ends."""
    try:
        import fcntl
    except ImportError:  # not every system has locks that a killed program lets go of
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def replace_together(folder: Path, files: Mapping[str, bytes], told: Any = None) -> None:
    """Replace several files of a folder, in the order given: all of them or none.

    Parameters
    ----------
    files : what each file shall hold, by its name in the folder.
    told : kept for `finish_step`; anything that JSON can say.

    Raises
    ------
    OSError
        When the disk refuses: either nothing was replaced, or `step_waits` holds.
    """
    drafts = {name: _draft_of(folder, name) for name in files}
    try:
        for name, draft in drafts.items():
            draft.parent.mkdir(exist_ok=True)
            draft.write_bytes(files[name])
            if (folder / name).exists():
                shutil.copymode(folder / name, draft)
            _to_disk(draft)
        write_whole(folder / JOURNAL, json.dumps({"files": list(files), "told": told}).encode())
    except BaseException:
        if not step_waits(folder):
            for draft in drafts.values():
                draft.unlink(missing_ok=True)
        raise
    finish_step(folder, files.__contains__)


def step_waits(folder: Path) -> bool:
    """Whether a step that replaces several files was interrupted after it counted and before it was done."""
    return (folder / JOURNAL).exists()


def finish_step(folder: Path, may_replace: Callable[[str], bool]) -> Any:
    """Finish an interrupted step and return what it told; None where there is none.

    Parameters
    ----------
    may_replace : whether a step may replace the file of this name; a journal with another name is refused.

    Raises
    ------
    InputError
        When the journal is not one this package wrote.
    """
    journal = folder / JOURNAL
    if not step_waits(folder):
        return None
    try:
        data = json.loads(journal.read_bytes())
        names, told = data["files"], data["told"]
        if not all(may_replace(name) for name in names):
            raise ValueError
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        raise InputError(f"{journal}: is damaged. Delete it, then look whether the season's files are whole") from None
    for name in names:
        draft = _draft_of(folder, name)
        if draft.exists():  # else it took its place before the interruption
            draft.replace(folder / name)
    journal.unlink()
    return told


def _draft_of(folder: Path, name: str) -> Path:
    return (folder / name).with_name(f".{Path(name).name}.step")


def _to_disk(path: Path) -> None:
    handle = os.open(path, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
