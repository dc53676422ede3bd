"""What the body of each kind of record holds, so that a damaged one is told before anything trips over it."""

from __future__ import annotations

from collections.abc import Mapping
from types import NoneType
from typing import Any, Final

PIN_KEYS: Final = frozenset({"kind", "athlete", "reason", "other", "race", "car", "position"})
_ROSTER: Final = {"step": (str,), "revision": (int,)}
_REASON: Final = {"reason": (str,)}
_APPROVAL: Final = {**_ROSTER, "items": (list,), "warnings": (list,), "late": (bool,), "roster_hash": (str,)}

BODIES: Final[Mapping[str, Mapping[str, tuple[type, ...]]]] = {
    "revision": {
        **_REASON,
        "parent": (int, NoneType),
        "fingerprints": (dict,),
        "versions": (dict,),
        "seed": (int, NoneType),
        "pins": (list,),
        "value_s": (float, int, NoneType),
    },
    "proposed": _ROSTER,
    "acknowledged": {**_ROSTER, **_REASON, "car": (str,)},
    "objected": {**_ROSTER, **_REASON, "car": (str,)},
    "signed": _APPROVAL,
    "ratified": _APPROVAL,
    "withdrawn": {**_ROSTER, **_REASON, "what": (str,)},
    "amended": {**_ROSTER, **_REASON, "breaches": (list,)},
    "deadline": {"step": (str,), "deadline": (str,)},
    "ticked": {"reminder": (str,), "done": (bool,)},
    "pin": {"pin": (dict,)},
    "pin_lifted": {**_REASON, "pin": (int,)},
    "drill": {"name": (str,), "fingerprints": (dict,)},
}


def body_fits(kind: str, body: object) -> bool:
    """Whether a body has what its kind needs; a kind that this version does not know always fits."""
    if not isinstance(body, dict):
        return False
    needs = BODIES.get(kind, {})
    return all(key in body and type(body[key]) in types for key, types in needs.items()) and _details_fit(kind, body)


def _details_fit(kind: str, body: Mapping[str, Any]) -> bool:
    pins = body["pins"] if kind == "revision" else [body["pin"]] if kind == "pin" else []
    if kind == "withdrawn" and body["what"] not in ("proposal", "signature", "amendment"):
        return False
    return all(isinstance(pin, dict) and pin.keys() == PIN_KEYS for pin in pins)
