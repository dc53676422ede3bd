"""Published rules on rest and driving, each named by its text and paragraph, in the words of limits.toml."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

Figures = Mapping[str, float]

_BREAK: Final[Figures] = {"break_after_hours": 8, "break_hours": 0.5}
_PROPERTY: Final[Figures] = {"at_most": 11, "off_hours": 10, "window_hours": 14, "restart_hours": 34, **_BREAK}
_PASSENGERS: Final[Figures] = {"at_most": 10, "off_hours": 8, "worked_hours": 15}
_SEVEN_DAYS: Final[Figures] = {"on_duty_hours": 60, "days": 7}
_EIGHT_DAYS: Final[Figures] = {"on_duty_hours": 70, "days": 8}

# preset -> limit -> (its figures, where they come from)
PRESETS: Final[Mapping[str, Mapping[str, tuple[Figures, str]]]] = {
    # Directive 2003/88/EC of 4 November 2003: art. 3, 11 consecutive hours of rest per 24 h; art. 5, 24 h of
    # uninterrupted rest plus those 11 h in each seven-day period, anywhere in it (case C-306/16).
    "2003/88/EC": {
        "rest_hours": ({"at_least": 11}, "Directive 2003/88/EC art. 3"),
        "weekly_rest_hours": ({"at_least": 35}, "Directive 2003/88/EC art. 5 (24 h + 11 h)"),
    },
    # 49 CFR 395.3 (property): (a)(1), (2) and (3)(i) 11 h at the wheel after 10 h off, within 14 h of coming on duty;
    # (a)(3)(ii) no driving after 8 h at the wheel without 30 minutes in a row of anything else; (b)(1) 60 h on duty in
    # 7 days where vehicles do not run every day of the week, (b)(2) 70 h in 8 days where they do; (c) 34 h off start
    # that count anew.
    "49 CFR 395.3": {"driving_hours": ({**_PROPERTY, **_SEVEN_DAYS}, "49 CFR 395.3(a), (b)(1)")},
    "49 CFR 395.3(b)(2)": {"driving_hours": ({**_PROPERTY, **_EIGHT_DAYS}, "49 CFR 395.3(a), (b)(2)")},
    # 49 CFR 395.5 (passengers): 10 h at the wheel after 8 h off, not after 15 h on duty; (b)(1) and (2) as above. No
    # paragraph asks for a break.
    "49 CFR 395.5": {"driving_hours": ({**_PASSENGERS, **_SEVEN_DAYS}, "49 CFR 395.5(a), (b)(1)")},
    "49 CFR 395.5(b)(2)": {"driving_hours": ({**_PASSENGERS, **_EIGHT_DAYS}, "49 CFR 395.5(a), (b)(2)")},
}
