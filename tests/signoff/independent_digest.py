"""A set's digest from the columns of its file: written from the documented formats alone.

It uses h5py and the standard library, and nothing of the project, as a reviewer's own script would.
"""

from __future__ import annotations

import hashlib
import json
import sys
from itertools import accumulate
from typing import Any

import h5py


def digest(path: str) -> str:
    """Return the SHA-256 of the canonical text."""
    with h5py.File(path) as f:
        c: dict[str, Any] = {k: d.asstr()[()] if d.dtype.kind == "S" else d[()].tolist()
                             for k, d in f.items() if "long_name" in d.attrs}  # fmt: skip
        codes = {k: f[k].attrs["flag_meanings"].decode().split() for k in c
                 if "flag_meanings" in f[k].attrs}  # fmt: skip
        about = {k: f.attrs[k].decode() for k in ("programme", "mode", "base_mode")}

    def rag(flat: str, counts: str) -> list[Any]:
        ends = list(accumulate(c[counts]))
        return [c[flat][e - n : e] for e, n in zip(ends, c[counts], strict=True)]

    def hexed(values: Any) -> str:
        return " ".join((float(v) + 0.0).hex() for v in values)

    def store(p: str, i: int) -> str:
        kind = codes[f"{p}storage_type"][c[f"{p}storage_type"][i]]
        n, d, o = (c[f"{p}storage_{part}"][i] for part in ("numerator", "denominator", "offset"))
        return f"{kind} {n}/{d} {o}"

    def number(text: str) -> float:
        return int(float(text)) if float(text).is_integer() else float(text)

    points, values = rag("axis_values", "axis_count"), rag("values", "value_count")
    texts, rules = rag("description_text", "description_count"), rag("rule_text", "rule_count")

    def axis(i: int, prefix: str) -> str:
        fields = [(k, c[f"axis_{k}"][i]) for k in ("name", "unit", "quantity")]
        fields += [(k, codes[f"axis_{k}"][c[f"axis_{k}"][i]])
                   for k in ("interpolation", "below", "above")]  # fmt: skip
        fields += [("storage", store("axis_", i)), ("shared", c["axis_shared"][i])]
        fields += [("breakpoints", hexed(points[i]))]
        return "".join(f"\t{prefix}{k}={v}" for k, v in fields)

    def table(i: int) -> str:
        listed = zip(c["relation_table"], c["relation_mode"], c["relation_sign"], strict=True)
        pairs = sorted([mode, sign] for row, mode, sign in listed if row == i)
        row = c["rules"][i]
        plain = json.loads("".join(rules[row]), parse_float=number) if row >= 0 else []
        compact = {"ensure_ascii": False, "sort_keys": True, "separators": (",", ":")}
        fields = [("id", c["table"][i]), ("name", c["name"][i]), ("unit", c["unit"][i])]
        fields += [("function", c["function"][i]), ("description", "".join(texts[i]))]
        fields += [("lower", hexed([c["lower"][i]])), ("upper", hexed([c["upper"][i]]))]
        fields += [("storage", store("", i)), ("role", c["role"][i])]
        fields += [("relations", json.dumps(pairs, **compact) if pairs else "")]
        fields += [("rules", json.dumps(plain, **compact))]
        own = "".join(axis(a, f"axis{n}.") for n, a in enumerate(c["axes"][i], 1) if a >= 0)
        start = "".join(f"\t{k}={v}" for k, v in fields)
        return f"table{start}{own}\tvalues={hexed(values[i])}\n"

    lines = [
        "bitepoint-content 1\n",
        "set" + "".join(f"\t{k}={v}" for k, v in about.items()) + "\n",
    ]
    shared = sorted(c.get("shared_axes", ()), key=lambda i: c["axis_shared"][i])
    lines += [f"axis\tid={c['axis_shared'][i]}{axis(i, '')}\n" for i in shared]
    lines += [table(i) for i in sorted(range(len(c["table"])), key=lambda i: c["table"][i])]
    return hashlib.sha256("".join(lines).encode()).hexdigest()


if __name__ == "__main__":
    print(digest(sys.argv[1]))
