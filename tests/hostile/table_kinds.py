"""Files of tables as people bring them: damaged, or whole outside and changed within."""

from __future__ import annotations

import io
import random
import re
import tempfile
import zipfile
from functools import cache
from pathlib import Path
from xml.sax.saxutils import escape

from calib_model.bringing import asking
from calib_model.bringing.taking import arrivals, change_of
from calib_model.bringing.understanding import to_remember, understand
from calib_model.editing.change import apply
from calib_model.exchange.csv_tables import csv_bytes
from calib_model.exchange.netcdf import netcdf_bytes
from calib_model.exchange.spreadsheet import spreadsheet_bytes
from tests.bringing.making_ods import ods, row
from tests.hostile.mutate import NASTY, damaged, mutated
from tests.reading_here import InThisProcess
from tests.store.making import small_set

CSV_TEXTS = (
    (
        "torque_a [Nm]\nspeed [km/h] \\ pedal [%],0,50,100\n0,1,2,3\n10,4,5,6\n\n"
        "torque_b,Torque B,N.m\n,0,50\n0,1,2\n5,2,3\n"
    ),
    "v;f;g\nkm/h;N.m;-\n0;1,5;1\n10;1.234,5;0,5\n",
    "table,x [m],y,value\na,0,0,1\na,0,1,2\na,1,0,3\na,1,1,4\nb,0,,5\nb,1,,6\nc,,,7\n",
    "tick,20,ms\nmass,1700,kg\n\nv [km/h],0,10\nlim [N],1,2\n",
    "id,unit,storage,role,axis_1_unit\nf,N.m,uint16 0.5,hill_torque,km/h\n\nv,f\n0,1\n1,2\n",
)


@cache
def whole(kind: str) -> list[bytes]:
    """Return sound files of a kind."""
    content = small_set()
    if kind == "tables CSV":
        return [text.encode() for text in CSV_TEXTS] + [csv_bytes(content)]
    if kind == "tables XLSX":
        return [spreadsheet_bytes(content)]
    if kind == "tables ODS":
        return [_ods()]
    return [netcdf_bytes(content)]


def _ods() -> bytes:
    rows = row("f", "F [N.m]") + row("v [km/h]", "value") + row(0.0, 1.5) + row(5.0, 2.5)
    with tempfile.TemporaryDirectory() as folder:
        made = ods(Path(folder) / "x.ods", {"Clutch": rows, "two": row("g", 2.0, "N")})
        return made.read_bytes()


SUFFIX = {"tables CSV": ".csv", "tables XLSX": ".xlsx", "tables ODS": ".ods",
          "tables NetCDF": ".nc"}  # fmt: skip
KINDS = tuple(SUFFIX)


def use_tables(path: Path) -> None:
    """Read a file of tables and take all that can be taken, as new and into a set."""
    found = understand([path])
    for draft in found.tables:
        _ = draft.where, draft.range, draft.storage_proposed
    again = found.with_layout(to_remember(found))
    for draft in again.tables[:3]:
        again = again.with_table(draft, cells="empty", turned=True, sure=True)
    content = small_set()
    coming = arrivals(again, content)
    kept = [one for one in coming if not any(doubt.blocks for doubt in one.doubts)]
    apply(content, change_of(content, kept, "Bring in"))
    found.content()


def case(kind: str, seed: int, folder: Path) -> None:
    """Read one damaged or changed file of a kind, in this process."""
    asking.Child = InThisProcess  # type: ignore[misc, assignment]
    place = folder / f"case{SUFFIX[kind]}"
    place.write_bytes(hostile_tables(kind, seed))
    use_tables(place)


def hostile_tables(kind: str, seed: int) -> bytes:
    """Return one damaged or changed file of a kind."""
    chance = random.Random(seed)
    data = chance.choice(whole(kind))
    if kind == "tables CSV":
        return mutated(data.decode(), chance)
    if kind == "tables NetCDF" or chance.random() < 0.3:
        return damaged(data, chance)
    return _changed_within(data, chance)


def _changed_within(data: bytes, chance: random.Random) -> bytes:
    """Return a zip file with a part changed and everything about it right."""
    source = zipfile.ZipFile(io.BytesIO(data))
    names = source.namelist()
    inner = [n for n in names if n.endswith(".xml") and ("sheet" in n or "content" in n)] or names
    chosen = chance.choice(inner if chance.random() < 0.8 else names)
    made = io.BytesIO()
    change = _changed_xml if chance.random() < 0.7 else _changed_text
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as target:
        for name in names:
            part = source.read(name)
            target.writestr(name, change(part, chance) if name == chosen else part)
    return made.getvalue()


def _changed_text(part: bytes, chance: random.Random) -> bytes:
    return mutated(part.decode("utf-8", "replace"), chance)


def _changed_xml(part: bytes, chance: random.Random) -> bytes:
    """Return XML that is some still, with a value or a text of it exchanged."""
    text = part.decode("utf-8", "replace")
    for _ in range(chance.choice((1, 1, 2, 4))):
        places = list(_VALUES.finditer(text))
        if not places:
            break
        one, other = chance.choice(places), chance.choice(places)
        new = other[0][1:-1] if chance.random() < 0.4 else escape(chance.choice(NASTY), _QUOTES)
        text = f"{text[: one.start() + 1]}{new}{text[one.end() - 1 :]}"
    return text.encode("utf-8", "replace")


_VALUES = re.compile(r'"[^"<>]*"|>[^<>]*<')
_QUOTES = {'"': "&quot;"}
