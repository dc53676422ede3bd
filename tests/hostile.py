"""A season whose every name is hostile: formulas, markup, scripts, tricks with paths and with the reading direction."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from lineup.season import Absence, Miss, Pin, Season
from tests.builders import FIRST_SUNDAY, stop_row, stop_table, tiny_season

NAMES = (
    "<script>alert(1)</script><img src=x onerror=alert(2)>",
    "=cmd|' /C calc'!A0",
    "+1+1",
    "-2+3+cmd|' /C calc'!A0",
    "@SUM(1+1)*cmd|' /C calc'!A0",
    "**bold** [link](javascript:alert(1)) :red[red] $x^2$ `code` ~~gone~~",
    "../../../etc/passwd",
    "C:\\windows\\CON",
    "%00/../x & \"quoted\" 'name';DROP TABLE records;--",
    "👩🏽‍🚒 Zoë Ångström 漢字 :smile: :material/home:",
    "| a | b |\\n|---|---|",
    "{{7*7}} ${7*7} %s {0} \\u003cb\\u003e",
    "# Heading",
    "x" * 500,
)
ILLEGAL_NAMES = ("a\x00b", "a\x1b[2Jb", "\u202egnp.exe", "a\u2066b", "y" * 501, "\x7f")
ILLEGAL_IDS = (
    *("../../x", "a/b", "a\\b", "%00", "con.txt", "CON", "a b", "a\nb", ".hidden", "-dash", "é", "x" * 65),
    *("=1+1", "<b>", "a;b", "a\u200bb", "a\x00b"),
)
RAW = ("<script", "<img", "onerror=alert(2)>")  # never inside markup that is read as such
UNESCAPED = ("[link](javascript", ":red[red]", "**bold**", "~~gone~~", "$x^2$", ":material/home:")


def hostile_season() -> Season:
    """Two cars, two races, fourteen athletes; everything that has a name has a hostile one."""
    season = tiny_season(athletes=len(NAMES), cars=2, races=2)
    names = iter(NAMES * 9)
    weekends = {"w1": "../../<b>w1</b>", "w2": "=w2|**x** [link](javascript:alert(1))"}
    four = season.choreographies["four"]
    tasks = tuple(replace(task, name=next(names), misses=("slip",)) for task in four.tasks)
    return season.replace(
        athletes={key: replace(a, name=next(names)) for key, a in season.athletes.items()},
        positions={key: replace(p, name=next(names)) for key, p in season.positions.items()},
        sites={key: replace(s, name=next(names)) for key, s in season.sites.items()},
        cars={key: replace(c, name=next(names)) for key, c in season.cars.items()},
        races={k: replace(r, name=next(names), weekend=weekends[r.weekend]) for k, r in season.races.items()},
        choreographies={"four": replace(four, name=next(names), tasks=tasks)},
        misses={"slip": Miss("slip", NAMES[0], 0.5, 0.0)},
        pins=(Pin("must", "a1", NAMES[5], car="c1", position="p1"), Pin("apart", "a2", NAMES[1], other="a3")),
        absences=(Absence("a14", date(2026, 4, 1), date(2026, 4, 9), "out", kind="medical", entered_by=NAMES[4]),),
        standing={("c1", "p1"): "a1"},
        stops=stop_table([stop_row("s1", 11.0, on=FIRST_SUNDAY, spoilers=(NAMES[2], NAMES[0]))]),
    )
