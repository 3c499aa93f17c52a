"""Damage to bytes, and changes to texts that a person or an attacker might make."""

from __future__ import annotations

import json
import random
import re
from typing import Any

NASTY = (
    "²", "٣", "\N{FULLWIDTH DIGIT ONE}", "9" * 400, "9" * 5000, "-1", "0", "1e999", "-1e308",
    "1e-320", "nan", "inf", "-inf", "NaN", "Infinity", "-0", "0x10", "1_000", "1,5", "true", "null",
    '""', "''", "[]", "{}", "[[]]", "[" * 3000, "{" * 50, '"', "'", "\\", "\\ud800", '"\\udfff"',
    "\\u0000", "\0", "\x1b[2J", "\u202e", "\ufeff", "\N{SNOWMAN}", "😀" * 50, "x" * 5000, "\n",
    "\r", "\t", " ", "#", ";", ",", "=", "..", "/", "*", "?", "[a-", "%s", "{0}",
    "18446744073709551616", "2147483648", "-9223372036854775809", "1979-05-27T07:32:00Z",
    "9999-12-31T23:59:59+23:59",
    "0001-01-01T00:00:00-23:59", "2026-02-30", "a.b", "__class__", "name", "unit", "values",
)  # fmt: skip
_TOKEN = re.compile(r'"[^"\n]*"|[-+]?[0-9][0-9.eE+-]*|[A-Za-z_][A-Za-z0-9_]*|[^\sA-Za-z0-9]')


def damaged(data: bytes, chance: random.Random) -> bytes:
    """Return bytes with a damage: bits, a cut, noise, or blocks that changed places."""
    copy = bytearray(data)
    kind = chance.choice(("flip", "flip", "cut", "noise", "swap", "zero", "double"))
    if kind == "flip":
        for _ in range(chance.choice((1, 1, 2, 5))):
            bit = chance.randrange(len(copy) * 8)
            copy[bit // 8] ^= 1 << bit % 8
    elif kind == "cut":
        del copy[chance.randrange(len(copy)) :]
    elif kind == "noise":
        for _ in range(chance.choice((1, 2, 8, 64))):
            place, run = chance.randrange(len(copy)), chance.randrange(1, 33)
            copy[place : place + run] = chance.randbytes(run)[: len(copy) - place]
    else:
        size = chance.choice((8, 64, 512, 4096))
        a, b = (chance.randrange(max(1, len(copy) - size)) for _ in range(2))
        first, second = copy[a : a + size], copy[b : b + size]
        if kind == "zero":
            copy[a : a + size] = bytes(len(first))
        elif kind == "double":
            copy[b:b] = first
        elif abs(a - b) >= size:
            copy[a : a + size], copy[b : b + size] = second, first
        else:
            copy[a : a + 1] = b""
    return bytes(copy)


def mutated(text: str, chance: random.Random) -> bytes:
    """Return a text with one to four changes, as bytes that may be no UTF-8 any more."""
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        text = _once(text, chance)
    data = text.encode("utf-8", "surrogatepass")
    if chance.random() < 0.15:
        data = damaged(data, chance) if data else data
    return data


def _once(text: str, chance: random.Random) -> str:
    tokens = list(_TOKEN.finditer(text))
    kind = chance.choice(("token", "token", "token", "insert", "delete", "lines", "copy", "take"))
    if not tokens or kind == "insert":
        place = chance.randrange(len(text) + 1)
        return text[:place] + chance.choice(NASTY) + text[place:]
    one = chance.choice(tokens)
    if kind == "token":
        new = chance.choice(NASTY)
        if one[0].startswith('"') and chance.random() < 0.7:
            new = '"' + new.replace('"', "") + '"'
        return text[: one.start()] + new + text[one.end() :]
    if kind == "take":  # another token of the same text: of another kind, perhaps
        return text[: one.start()] + chance.choice(tokens)[0] + text[one.end() :]
    if kind == "delete":
        end = min(len(text), one.start() + chance.choice((1, len(one[0]), 40, 400)))
        return text[: one.start()] + text[end:]
    lines = text.splitlines(keepends=True)
    a, b = chance.randrange(len(lines)), chance.randrange(len(lines))
    if kind == "copy":
        lines.insert(a, lines[b])
    elif chance.random() < 0.5:
        lines[a], lines[b] = lines[b], lines[a]
    else:
        del lines[a]
    return "".join(lines)


VALUES: tuple[Any, ...] = (
    None, True, False, 0, 1, -1, 2**31, 2**63, 10**400, 1e308, -1e308, 5e-324, 0.5, "", "²", "nan",
    "inf", "-inf", "x" * 3000, "\ud800", "\0", "\u202e=1", [], {}, [[]], [1, "a"], {"a": 1}, [None],
    {"number": "nan"}, {"number": "inf"}, {"number": 1}, [[[[[[]]]]]], 10**20, "1", "2026-01-01",
    "9999-99-99", [0] * 50, list(range(100)), "torque", "pedal", "free", ">=",
)  # fmt: skip


def changed_plain(value: Any, chance: random.Random) -> Any:
    """Return plain data (dicts, lists, texts, numbers) with one part exchanged."""
    holders: list[tuple[Any, Any]] = []

    def walk(part: Any) -> None:
        keys = part.keys() if isinstance(part, dict) else range(len(part))
        for key in keys:
            holders.append((part, key))
            if isinstance(part[key], dict | list):
                walk(part[key])

    copy = json.loads(json.dumps(value))
    if not isinstance(copy, dict | list) or not copy or chance.random() < 0.02:
        return chance.choice(VALUES)
    walk(copy)
    part, key = chance.choice(holders)
    act = chance.random()
    if act < 0.7:
        part[key] = chance.choice(VALUES)
    elif act < 0.8:
        del part[key]
    elif act < 0.9:
        other, place = chance.choice(holders)
        part[key] = json.loads(json.dumps(other[place]))
    elif isinstance(part, dict):
        part[str(chance.choice(("id", "kind", "x", "²", "values", "\ud800")))] = chance.choice(
            VALUES
        )
    else:
        part.insert(key, part[key])
    return copy
