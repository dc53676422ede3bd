"""Published rules on rest and driving, each named by its text and paragraph, in the words of limits.toml."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

Entry = Mapping[str, float]


def _driving(at_most: float, off: float, window: float, on_duty: float, days: int, **more: float) -> Entry:
    forms = {"at_most": at_most, "off_hours": off, "window_hours": window, "on_duty_hours": on_duty, "days": days}
    return {**forms, **more}


# preset -> limit -> (its figures, where they come from)
PRESETS: Final[Mapping[str, Mapping[str, tuple[Entry, str]]]] = {
    # Directive 2003/88/EC of 4 November 2003: art. 3, 11 consecutive hours of rest per 24 h; art. 5, 24 h of
    # uninterrupted rest plus those 11 h in each seven-day period, anywhere in it (case C-306/16).
    "2003/88/EC": {
        "rest_hours": ({"at_least": 11}, "Directive 2003/88/EC art. 3"),
        "weekly_rest_hours": ({"at_least": 35}, "Directive 2003/88/EC art. 5 (24 h + 11 h)"),
    },
    # 49 CFR 395.3 (property): 11 h at the wheel after 10 h off, within 14 h of coming on duty; (b)(1) 60 h on duty in
    # 7 days where vehicles do not run every day of the week, (b)(2) 70 h in 8 days where they do; (c) 34 h off start
    # that count anew. The half hour of break after 8 h at the wheel is left to the driver: nothing checks it here.
    "49 CFR 395.3": {"driving_hours": (_driving(11, 10, 14, 60, 7, restart_hours=34), "49 CFR 395.3(a), (b)(1)")},
    "49 CFR 395.3(b)(2)": {"driving_hours": (_driving(11, 10, 14, 70, 8, restart_hours=34), "49 CFR 395.3(a), (b)(2)")},
    # 49 CFR 395.5 (passengers): 10 h at the wheel after 8 h off, not after 15 h on duty; (b)(1) and (2) as above.
    "49 CFR 395.5": {"driving_hours": (_driving(10, 8, 15, 60, 7), "49 CFR 395.5(a), (b)(1)")},
    "49 CFR 395.5(b)(2)": {"driving_hours": (_driving(10, 8, 15, 70, 8), "49 CFR 395.5(a), (b)(2)")},
}
