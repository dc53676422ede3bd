"""The three services of the demo season: positions, misses, tasks, and their nominal times.

Nominal times follow common practice of the trade: five nuts off or on in about a second, about two seconds from
the last nut off to the first nut of the new wheel, a front changer working again 2.1 s after the right side.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

LINED, UNLINED = "lined", "unlined"  # 90 lb with an inner liner; 58 lb without
NUTS = 5

POSITIONS = (  # position, name, place, filled, min_height_in
    ("front-changer", "Front changer", "over_wall", "always", ""),
    ("rear-changer", "Rear changer", "over_wall", "always", ""),
    ("jack", "Jack", "over_wall", "always", ""),
    ("tire-carrier", "Tire carrier", "over_wall", "always", ""),
    ("fueler", "Fueler", "over_wall", "always", "72"),
    ("tire-stager", "Tire stager, left rear", "support", "if_possible", ""),
    ("can-handler", "Second can", "support", "always", ""),
)

MISSES = (  # miss, name, loss_s, penalty_s
    ("restrike", "Second strike on a nut", "0.3", "0"),
    ("switch-missed", "Trigger switch missed", "0.8", "0"),
    ("wheel-hung", "Wheel not flush, set again", "0.5", "0"),
    ("second-stroke", "Jack needs a second stroke", "0.6", "0"),
    ("plug-missed", "Can misses the filler", "0.8", "0"),
    ("can-fumbled", "Second can handed late", "0.5", "0"),
    ("over-too-soon", "Over the wall too soon", "0", "20"),
    ("tire-loose", "Old tire not back to the wall", "0", "20"),
    ("loose-wheel", "Loose wheel", "0", "45"),
)


@dataclass(frozen=True)
class Piece:
    """One task as the script knows it; `who` "" is the car and its driver."""

    id: str
    name: str
    who: str
    after: tuple[str, ...]
    split: str
    seconds: float
    misses: tuple[str, ...] = ()
    load: bool = False
    early: bool = False
    only_with: str = ""
    only_without: str = ""
    release: bool = False


def _changer(who: str, short: str, corner: str, side: str, setter: str, first: Piece) -> list[Piece]:
    """Tasks of one changer at one wheel, from `first` (how the changer got there) to the last nut on."""
    return [
        first,
        Piece(f"{short}-off-{corner}", "Five nuts off", who, (first.id,), "nuts-off", 1.05, ("restrike",)),
        Piece(
            f"{short}-pull-{corner}", "Old wheel off", who, (f"{short}-off-{corner}", f"jk-lift-{side}"),
            "pull", 0.70, load=True,
        ),
        Piece(
            f"{short}-index-{corner}", "Switch, to the first nut", who, (f"{short}-pull-{corner}", setter),
            "index", 0.55, ("switch-missed",),
        ),
        Piece(
            f"{short}-on-{corner}", "Five nuts on", who, (f"{short}-index-{corner}",),
            "nuts-on", 1.05, ("restrike", "loose-wheel"),
        ),
    ]  # fmt: skip


def _right_side() -> list[Piece]:
    over = ("over-too-soon",)
    front = Piece("fc-reach-rf", "To the first nut", "front-changer", (), "reach", 0.15, over, early=True)
    rear = Piece("rc-reach-rr", "To the first nut", "rear-changer", (), "reach", 0.65, over, early=True)
    return [
        *_changer("front-changer", "fc", "rf", "r", "tc-set-rf", front),
        *_changer("rear-changer", "rc", "rr", "r", "jk-set-rr", rear),
        Piece("jk-place-r", "Jack under the right side", "jack", (), "place", 0.45, over, early=True),
        Piece("jk-lift-r", "Car up, right side", "jack", ("jk-place-r",), "lift", 0.45, ("second-stroke",)),
        Piece("jk-set-rr", "Right rear tire on the studs", "jack", ("jk-lift-r", "rc-pull-rr"), "set", 0.70,
              ("wheel-hung",), load=True),
        Piece("jk-drop-r", "Right side down", "jack", ("jk-set-rr", "fc-on-rf", "rc-on-rr"), "drop", 0.15),
        Piece("tc-carry-rf", "Right front tire to the wheel", "tire-carrier", (), "carry-right", 0.40, over,
              load=True, early=True),
        Piece("tc-set-rf", "Right front tire on the studs", "tire-carrier", ("tc-carry-rf", "fc-pull-rf"), "set", 0.70,
              ("wheel-hung",), load=True),
        Piece("tc-clear-rf", "Old tire to the wall side", "tire-carrier", ("tc-set-rf",), "clear", 1.60,
              ("tire-loose",), load=True),
    ]  # fmt: skip


def _left_side() -> list[Piece]:
    front = Piece("fc-cross-lf", "Across to the left front", "front-changer", ("fc-on-rf",), "cross", 2.10)
    loose = ("tire-loose",)
    rear = Piece("rc-cross-lr", "Across to the left rear", "rear-changer", ("rc-on-rr",), "cross", 2.20, loose)
    return [
        *_changer("front-changer", "fc", "lf", "l", "tc-set-lf", front),
        *_changer("rear-changer", "rc", "lr", "l", "jk-set-lr", rear),
        Piece("jk-cross-l", "Across, under the left side", "jack", ("jk-drop-r",), "cross", 2.95),
        Piece("jk-lift-l", "Car up, left side", "jack", ("jk-cross-l",), "lift", 0.45, ("second-stroke",)),
        Piece("jk-fetch-lr", "Fetch the left rear tire", "jack", ("jk-lift-l",), "fetch", 1.30, load=True,
              only_without="tire-stager"),
        Piece("jk-set-lr", "Left rear tire on the studs", "jack",
              ("jk-lift-l", "jk-fetch-lr", "rc-pull-lr", "ts-stage-lr"), "set", 0.70, ("wheel-hung",), load=True),
        Piece("jk-drop-l", "Left side down", "jack", ("jk-set-lr", "fc-on-lf", "rc-on-lr"), "drop", 0.15),
        Piece("tc-carry-lf", "Left front tire to the wheel", "tire-carrier", ("tc-clear-rf",), "carry-left", 1.70,
              load=True),
        Piece("tc-set-lf", "Left front tire on the studs", "tire-carrier", ("tc-carry-lf", "fc-pull-lf"), "set", 0.70,
              ("wheel-hung",), load=True),
        Piece("tc-return-lf", "Old tire back to the wall", "tire-carrier", ("tc-set-lf",), "return", 1.20,
              loose, load=True),
        Piece("ts-stage-lr", "Left rear tire staged", "tire-stager", ("jk-drop-r",), "stage", 3.70, load=True,
              only_with="tire-stager"),
        Piece("ts-catch-lr", "Old left rear tire to the wall", "tire-stager", ("ts-stage-lr", "rc-pull-lr"), "catch",
              1.00, loose, load=True, only_with="tire-stager"),
    ]  # fmt: skip


def _fuel(flow: str, seconds: float) -> list[Piece]:
    """One can: plugged in, flowing, out again."""
    return [
        Piece("fu-plug-1", "Can in the filler", "fueler", (), "plug", 0.85, ("plug-missed",)),
        Piece(flow, "Fuel runs in", "", ("fu-plug-1",), flow, seconds),
        Piece("fu-unplug", "Can out", "fueler", ("fu-plug-1", flow), "unplug", 0.40),
    ]


def _two_cans() -> list[Piece]:
    plug, first, unplug = _fuel("flow-can", 4.40)
    return [
        plug,
        first,
        Piece("ch-hand-2", "Second can handed over the wall", "can-handler", ("flow-can",), "hand", 0.55,
              ("can-fumbled",)),
        Piece("fu-swap-2", "Cans changed, second in", "fueler", ("fu-plug-1", "flow-can", "ch-hand-2"), "swap", 1.00,
              ("plug-missed",)),
        Piece("flow-rest", "Second can runs in", "", ("fu-swap-2",), "flow-rest", 3.60),
        Piece(unplug.id, unplug.name, "fueler", ("fu-swap-2", "flow-rest"), "unplug", unplug.seconds),
    ]  # fmt: skip


def _launch(*after: str) -> Piece:
    return Piece("launch", "Driver pulls away", "", after, "launch", 0.25, release=True)


SERVICES: Mapping[str, tuple[str, tuple[Piece, ...]]] = {
    "four-tires": (
        "Four tires and fuel",
        (*_right_side(), *_left_side(), *_two_cans(), _launch("jk-drop-l", "fu-unplug")),
    ),
    "two-tires": (
        "Right-side tires and fuel",
        (*_right_side(), *_fuel("flow-part", 3.75), _launch("jk-drop-r", "fu-unplug")),
    ),
    "fuel-only": ("Fuel only, one can", (*_fuel("flow-can", 4.40), _launch("fu-unplug"))),
}


def existing(service: str, filled: Iterable[str]) -> tuple[Piece, ...]:
    """Tasks that exist with these positions filled, in the order of the film."""
    seated = set(filled)
    return tuple(
        p
        for p in SERVICES[service][1]
        if (not p.who or p.who in seated)
        and (not p.only_with or p.only_with in seated)
        and (not p.only_without or p.only_without not in seated)
    )


def finish_times(service: str, seconds: Mapping[str, float]) -> dict[str, float]:
    """Finish of every task, counted from the car's stop; a task without seconds passes its predecessors through."""
    pieces = {p.id: p for p in SERVICES[service][1]}
    done: dict[str, float] = {}

    def finish(task: str) -> float:
        if task not in done:
            begin = max((finish(a) for a in pieces[task].after), default=0.0)
            done[task] = begin + seconds.get(task, 0.0)
        return done[task]

    for task in pieces:
        finish(task)
    return done


def toml_text(service: str) -> str:
    """Return the service as its choreography file."""
    name, pieces = SERVICES[service]
    lines = [f'name = "{name}"']
    for p in pieces:
        lines += ["", "[[task]]", f'id = "{p.id}"', f'name = "{p.name}"']
        lines.append(f'position = "{p.who}"' if p.who else "car = true")
        lines.append(f"after = {_toml_list(p.after)}")
        lines += [f'split = "{p.split}"', f"seconds = {p.seconds:.2f}"]
        if p.misses:
            lines.append(f"misses = {_toml_list(p.misses)}")
        lines += [f"{key} = true" for key in ("load", "early", "release") if getattr(p, key)]
        lines += [f'{key} = "{getattr(p, key)}"' for key in ("only_with", "only_without") if getattr(p, key)]
    return "\n".join(lines) + "\n"


def _toml_list(items: tuple[str, ...]) -> str:
    return "[" + ", ".join(f'"{i}"' for i in items) + "]"
