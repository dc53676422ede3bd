"""What one cell may hold: each kind of value, read from text or from TOML, with the words for what is wrong.

Every reader raises a `Fault` that says what is wrong and what would be right; pydantic collects them.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from typing import Annotated, Final, Literal
from zoneinfo import available_timezones

from pydantic import BeforeValidator
from pydantic_core import PydanticCustomError

from lineup.read.notes import meant

SLUG: Final = re.compile(r"[a-z0-9][a-z0-9_-]{0,63}")
NUMBER: Final = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
DATE: Final = re.compile(r"(\d{4}-\d{2}-\d{2})(?:[T ]00:00(?::00)?)?", re.ASCII)
LOCAL_TIME: Final = re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(:\d{2}(\.0+)?)?", re.ASCII)
OFFSET: Final = re.compile(r"\d{2}:\d{2}.*(Z|z|[+-]\d{2}:?\d{0,2})$", re.ASCII)
EMAIL: Final = re.compile(r"[^\s@,;<>\"']+@[^\s@,;<>\"']+\.[^\s@,;<>\"']+")
TURNING: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f")
FORMULA_STARTS: Final = ("=", "+", "-", "@")
FIRST_YEAR, LAST_YEAR = 1950, 2199
LONGEST_TEXT: Final = 500
LONGEST_S: Final = 3600.0


@dataclass(frozen=True, slots=True)
class Ref:
    """Marks a column that names things of another table; `soft`: an unknown name is odd, not wrong."""

    table: str
    soft: bool = False


def fault(message: str, mend: str) -> PydanticCustomError:
    """Build what a reader raises: what is wrong, and what would be right."""
    return PydanticCustomError("fault", "{message}", {"message": message, "mend": mend})


def read_slug(value: object) -> str:
    """Read an id."""
    if not isinstance(value, str):
        raise fault("is not an id", 'Write it as text, such as "rear-changer".')
    if SLUG.fullmatch(value):
        return value
    better = slug_for(value)
    mend = f"Write {better}." if better else "Use lower-case letters, digits, - and _ only."
    raise fault("is not an id: lower-case letters, digits, - and _, at most 64 of them", mend)


def slug_for(text: str) -> str:
    """Return the id that was probably meant; empty where no letter or digit is left."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9_]+", "-", plain).strip("-_")[:64]


def read_text(value: object) -> str:
    """Read a name or a reason: any text on one line."""
    if not isinstance(value, str):
        raise fault("is not text", "Write it between quotation marks.")
    text = unguarded(" ".join(value.split()))
    if any(unicodedata.category(c) == "Cc" or c in TURNING for c in text):
        raise fault("holds a character that cannot be seen", "Type the text anew.")
    if not text:
        raise fault("is empty", "Fill it in.")
    if len(text) > LONGEST_TEXT:
        raise fault(f"is longer than {LONGEST_TEXT} characters", "Shorten it.")
    return text


def guarded(text: str) -> str:
    """Return a text that a spreadsheet takes for text, not for a formula; read back by `read_text`, it is itself."""
    return f"'{text}" if text.lstrip().startswith(FORMULA_STARTS) else text


def unguarded(text: str) -> str:
    """Return a text without the quote that `guarded` put before it."""
    return text[1:] if text.startswith("'") and guarded(text[1:]) == text else text


def read_email(value: object) -> str:
    """Read an address: something@somewhere."""
    text = read_text(value)
    if not EMAIL.fullmatch(text):
        raise fault("is not an e-mail address", "Write it as name@example.org.")
    return text


def read_yes_no(value: object) -> bool:
    """Read yes or no."""
    if value in ("yes", "no"):
        return value == "yes"
    raise fault("is neither yes nor no", "Write yes or no.")


def read_date(value: object) -> date:
    """Read a day; a time of midnight behind it, as spreadsheets add, is let pass."""
    found = DATE.fullmatch(str(value))
    if not found:
        raise fault("is not a date", "Write year-month-day, such as 2027-03-14.")
    try:
        day = date.fromisoformat(found[1])
    except ValueError:
        raise fault("is not a day of the calendar", "Write year-month-day, such as 2027-03-14.") from None
    return _in_years(day)


def read_local_time(value: object) -> datetime:
    """Read a local clock time without offset."""
    text = str(value)
    if not LOCAL_TIME.fullmatch(text):
        if OFFSET.search(text):
            raise fault("has an offset; times are on the site's own clock", "Leave the offset out.")
        if DATE.fullmatch(text):
            raise fault("has no time of day", f"Write it as {text[:10]}T08:30.")
        raise fault("is not a local time", "Write it as 2027-03-14T08:30.")
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise fault("is not a time of the calendar", "Write it as 2027-03-14T08:30.") from None
    _in_years(moment.date())
    return moment


def _in_years(day: date) -> date:
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise fault(f"lies outside the years {FIRST_YEAR} to {LAST_YEAR}", "Correct the year.")
    return day


def read_zone(value: object) -> str:
    """Read an IANA time zone."""
    if value not in _zones():
        mend = meant(str(value), sorted(_zones())) or "Write it as in America/New_York."
        raise fault("is not an IANA time zone", mend)
    return str(value)


@lru_cache(maxsize=1)
def _zones() -> frozenset[str]:
    return frozenset(available_timezones())


def read_list(value: object) -> tuple[object, ...]:
    """Read several things separated by `;`, or the list of a TOML file."""
    if isinstance(value, str):
        return tuple(part.strip() for part in value.split(";") if part.strip())
    if isinstance(value, list | tuple):
        return tuple(value)
    raise fault("is not a list", 'Write it as ["first", "second"].')


def read_number(value: object) -> float:
    """Read a finite number."""
    if isinstance(value, str):
        if not NUMBER.fullmatch(value):
            mend = f"Write {value.replace(',', '.')}." if NUMBER.fullmatch(value.replace(",", ".", 1)) else ""
            raise fault("is not a number", mend or "Write a number, such as 4.25.")
        value = float(value)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise fault("is not a number", "Write a number, such as 4.25, without quotation marks.")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise fault("is not a finite number", "Write a number, such as 4.25.")
    return number + 0.0  # no minus zero


def number(
    *, above: float = -math.inf, least: float = -math.inf, most: float = math.inf, whole: bool = False
) -> BeforeValidator:
    """Build the reader of a number between bounds."""

    def read(value: object) -> float:
        found = read_number(value)
        if whole and found % 1:
            raise fault("is not a whole number", "Write it without decimals.")
        if found <= above:
            raise fault(f"is not above {_plain(above)}", f"Write a number above {_plain(above)}.")
        if not least <= found <= most:
            low = least if least > -math.inf else above
            raise fault(f"lies outside {_plain(low)} to {_plain(most)}", "Check the number and its unit.")
        return int(found) if whole else found

    return BeforeValidator(read)


def _plain(bound: float) -> str:
    return f"{bound:,.0f}" if bound % 1 == 0 else f"{bound:g}"


Slug = Annotated[str, BeforeValidator(read_slug)]
Text = Annotated[str, BeforeValidator(read_text)]
Email = Annotated[str, BeforeValidator(read_email)]
YesNo = Annotated[bool, BeforeValidator(read_yes_no)]
Day = Annotated[date, BeforeValidator(read_date)]
LocalTime = Annotated[datetime, BeforeValidator(read_local_time)]
Zone = Annotated[str, BeforeValidator(read_zone)]
Slugs = Annotated[tuple[Slug, ...], BeforeValidator(read_list)]
Texts = Annotated[tuple[Text, ...], BeforeValidator(read_list)]

Setting = Literal["race", "practice", "tryout"]
Seconds = Annotated[float, number(least=-LONGEST_S, most=LONGEST_S)]
PositiveSeconds = Annotated[float, number(above=0, most=LONGEST_S)]
CostSeconds = Annotated[float, number(least=0, most=LONGEST_S)]
Hours = Annotated[float, number(above=0, most=240)]
JourneyHours = Annotated[float, number(least=0, most=240)]
Centimetres = Annotated[float, number(least=50, most=260)]
Inches = Annotated[float, number(least=20, most=102)]
Kilograms = Annotated[float, number(least=20, most=400)]
Pounds = Annotated[float, number(least=44, most=880)]
Degrees90 = Annotated[float, number(least=-90, most=90)]
Degrees180 = Annotated[float, number(least=-180, most=180)]
Priority = Annotated[float, number(above=0, most=1e6)]
Count = Annotated[float, number(least=0, most=1000)]
Places = Annotated[int, number(least=0, most=10000, whole=True)]
Share = Annotated[float, number(least=0, most=1)]
PositiveShare = Annotated[float, number(above=0, most=1)]

AthleteId = Annotated[Slug, Ref("athletes")]
PositionId = Annotated[Slug, Ref("positions")]
SiteId = Annotated[Slug, Ref("sites")]
CarId = Annotated[Slug, Ref("cars")]
RaceId = Annotated[Slug, Ref("races")]
ServiceId = Annotated[Slug, Ref("services")]
SeriesId = Annotated[Slug, Ref("series")]
MissId = Annotated[Slug, Ref("misses")]
PastRaceId = Annotated[Slug, Ref("races", soft=True)]
PastCarId = Annotated[Slug, Ref("cars", soft=True)]
