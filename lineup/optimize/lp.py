"""HiGHS as this package uses it: silent, on one thread, so that runs repeat."""

from __future__ import annotations

import highspy


def new_lp() -> highspy.Highs:
    """Return an empty linear program."""
    lp = highspy.Highs()  # type: ignore[no-untyped-call]
    lp.setOptionValue("output_flag", False)
    lp.setOptionValue("log_to_console", False)
    lp.setOptionValue("threads", 1)
    return lp
