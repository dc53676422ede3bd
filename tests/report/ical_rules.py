"""The MUSTs of RFC 5545 that a published roster meets, each as one check over the raw bytes.

Written from the standard's text alone, without a calendar library. The grammar of 3.6.5 was read; the other
sections are cited from memory.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

ONCE_IN_EVENT = (
    "UID",
    "DTSTAMP",
    "DTSTART",
    "DTEND",
    "SEQUENCE",
    "SUMMARY",
    "DESCRIPTION",
    "LOCATION",
    "STATUS",
    "TRANSP",
)


@dataclass
class Line:
    name: str
    parameters: dict[str, str]
    value: str


@dataclass
class Component:
    name: str
    lines: list[Line] = field(default_factory=list)
    parts: list[Component] = field(default_factory=list)

    def all(self, name: str) -> list[Line]:
        return [line for line in self.lines if line.name == name]

    def one(self, name: str) -> Line:
        found = self.all(name)
        assert len(found) == 1, f"{self.name} has {len(found)} {name}"
        return found[0]


def check_lines(raw: bytes) -> list[str]:
    """3.1: lines end with CRLF, have at most 75 octets, and hold no control characters; returns them unfolded."""
    assert raw.endswith(b"\r\n")
    lines = raw.split(b"\r\n")[:-1]
    for line in lines:
        assert b"\r" not in line
        assert b"\n" not in line
        assert len(line) <= 75
        assert line.strip()
        assert not re.search(rb"[\x00-\x08\x0a-\x1f\x7f]", line)
        line.decode("utf-8")  # 3.1.4; and folding never splits a letter
    return re.sub(rb"\r\n[ \t]", b"", raw).decode("utf-8").split("\r\n")[:-1]


def parse(raw: bytes) -> Component:
    """3.4: one calendar object, every BEGIN with its END."""
    root = Component("")
    stack = [root]
    for text in check_lines(raw):
        head, value = re.fullmatch(r'((?:[^":;]|"[^"]*"|;)*):(.*)', text).groups()  # type: ignore[union-attr]
        name, *parameters = head.split(";")
        assert re.fullmatch(r"[A-Z0-9-]+", name)
        if name == "BEGIN":
            stack.append(Component(value))
            stack[-2].parts.append(stack[-1])
        elif name == "END":
            assert stack.pop().name == value
        else:
            pairs = dict(parameter.split("=", 1) for parameter in parameters)
            stack[-1].lines.append(Line(name, pairs, value))
    assert len(stack) == 1
    assert [part.name for part in root.parts] == ["VCALENDAR"]
    return root.parts[0]


def check_calendar(calendar: Component) -> None:
    """3.6, 3.7: PRODID and VERSION exactly once, VERSION 2.0, METHOD at most once, at least one component."""
    assert calendar.one("PRODID").value
    assert calendar.one("VERSION").value == "2.0"
    assert len(calendar.all("METHOD")) <= 1
    assert len(calendar.all("CALSCALE")) <= 1
    assert any(part.name == "VEVENT" for part in calendar.parts)
    known = ("PRODID", "VERSION", "METHOD", "CALSCALE")
    assert all(line.name in known or line.name.startswith("X-") for line in calendar.lines)


def check_event(event: Component) -> None:
    """3.6.1, 3.8: what an event has once, in which form, and that it ends after it begins."""
    counts = Counter(line.name for line in event.lines)
    assert all(counts[name] <= 1 for name in ONCE_IN_EVENT)
    assert event.one("UID").value  # 3.8.4.7
    assert re.fullmatch(r"\d{8}T\d{6}Z", event.one("DTSTAMP").value)  # 3.8.7.2: in UTC
    assert "DURATION" not in counts  # 3.6.1: DTEND or DURATION, not both
    assert moment(event.one("DTEND")) > moment(event.one("DTSTART"))  # 3.8.2.2: later than DTSTART
    assert re.fullmatch(r"\d+", event.one("SEQUENCE").value)  # 3.8.7.4
    assert event.one("STATUS").value in ("TENTATIVE", "CONFIRMED", "CANCELLED")  # 3.8.1.11
    assert event.one("TRANSP").value in ("OPAQUE", "TRANSPARENT")  # 3.8.2.7
    for name in ("SUMMARY", "DESCRIPTION", "LOCATION"):  # 3.3.11: text escapes \ ; ,
        assert re.fullmatch(r"(?:[^\\;,]|\\[\\;,nN])*", event.one(name).value)


def check_zones(calendar: Component) -> None:
    """3.2.19, 3.6.5: every TZID that is used is defined once, with offsets and begin of each observance."""
    zones = {part.one("TZID").value: part for part in calendar.parts if part.name == "VTIMEZONE"}
    assert len(zones) == sum(part.name == "VTIMEZONE" for part in calendar.parts)
    for event in calendar.parts:
        for line in event.lines:
            if "TZID" in line.parameters:
                assert line.parameters["TZID"] in zones
                assert not line.value.endswith("Z")
    for zone in zones.values():
        assert zone.parts
        for observance in zone.parts:
            assert observance.name in ("STANDARD", "DAYLIGHT")
            assert re.fullmatch(r"\d{8}T\d{6}", observance.one("DTSTART").value)  # local, no TZID
            assert not observance.one("DTSTART").parameters
            for name in ("TZOFFSETFROM", "TZOFFSETTO"):
                assert re.fullmatch(r"[+-]\d{4}(\d{2})?", observance.one(name).value)  # 3.3.14
                assert observance.one(name).value not in ("-0000", "-000000")


def check_all(raw: bytes) -> Component:
    """Check every rule and return the calendar."""
    calendar = parse(raw)
    check_calendar(calendar)
    check_zones(calendar)
    events = [part for part in calendar.parts if part.name == "VEVENT"]
    for event in events:
        check_event(event)
    uids = [event.one("UID").value for event in events]
    assert len(set(uids)) == len(uids)  # 3.8.4.7
    return calendar


def moment(line: Line) -> datetime:
    """3.3.5: a date-time in UTC or on a zone's clock (IANA names only)."""
    if line.value.endswith("Z"):
        return datetime.strptime(line.value, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
    local = datetime.strptime(line.value, "%Y%m%dT%H%M%S").replace(tzinfo=ZoneInfo(line.parameters["TZID"]))
    return local.astimezone(UTC)
