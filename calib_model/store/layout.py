"""The columns of a set file: the one description that writer, reader and guard share.

One data set per column.  Ragged data (values, breakpoints, long texts) are flat, with a count
per owner beside them, in the manner of the CF conventions' contiguous ragged arrays.
"""

from __future__ import annotations

from typing import NamedTuple

FORMAT = "bitepoint calibration set"
FORMAT_VERSION = 2
"""Version 2 brought labels, rules that are turned off, and the rule `step`."""
OLDEST = 1
"""What a set that uses none of that is written as, so that older programs read it."""
KINDS_OF_2 = frozenset({"step"})
"""Kinds of rule that version 1 did not know."""
NEWER_WORDS = (b'"labels":', b'"off":true', b'"kind":"step"')
"""By which an edit in the history is told to hold them."""

PIECE_BYTES = 120
"""Long texts are cut into pieces of at most this size, so that one long text costs no padding."""

MAX_FILE_BYTES = 128 << 20
MAX_TOTAL_BYTES = 256 << 20
"""All columns together, unpacked; with the file itself this stays below 1 GiB."""
MAX_WIDTH_BYTES = 96 << 20
"""The text columns together, unpacked: texts take up to eight times that as objects."""
MOST_ROWS = {
    "table": 100_000,
    "description_part": 500_000,
    "value": 4_000_000,
    "raw_value": 4_000_000,
    "axis": 200_000,
    "axis_value": 2_000_000,
    "shared_axis": 20_000,
    "relation": 300_000,
    "label_set": 50_000,
    "label": 500_000,
    "rule_set": 50_000,
    "rule_part": 400_000,
    "entry": 200_000,
    "entry_title_part": 400_000,
    "entry_reason_part": 400_000,
    "entry_other_part": 400_000,
    "edit": 400_000,
    "edit_part": 400_000,
    "edit_cell": 4_000_000,
    "record": 100_000,
    "record_part": 400_000,
}
"""Rows of each dimension: three times the largest set that was thought of (30,000 tables) and
more, yet few enough that a small file which unpacks to them costs seconds and not gigabytes."""
MOST_RULES = 200_000
"""Rules of all rule sets together."""
MOST_RULES_OF_TABLE = 1_000
MOST_JSON_PARTS = 4_000_000
"""Brackets, commas and colons of all JSON texts that are read in one go: each is an object."""
MAX_CHUNK_BYTES = 8 << 20
MAX_CHUNKS = 100_000
MAX_STRING_BYTES = 2_000
MAX_ATTRIBUTE_BYTES = 30_000
MAX_TEXT_BYTES = 1 << 20
"""One rule text."""
MAX_RECORD_BYTES = 16 << 20
"""One item of the record: a sign-off holds a digest for each of maybe 30,000 tables."""
MAX_EDIT_BYTES = 16 << 20
"""One edit of more than values: it may hold a whole table twice."""

STORAGE_TYPES = (
    "float64",
    "float32",
    "int8",
    "int16",
    "int32",
    "uint8",
    "uint16",
    "uint32",
)
INTERPOLATIONS = ("linear", "step")
ENDS = ("held", "extrapolated")
KINDS = ("scalar", "curve", "map", "map_3_axes", "map_4_axes")
POSITIONS = 4
NO_RAW = -(2**63)
"""Stands in the raw values for a cell that is not filled yet."""


class Column(NamedTuple):
    """One data set of the file.

    Parameters
    ----------
    name : str
    dtype : str
        numpy type text; ``S`` for text of a fixed width that each file chooses.
    dimensions : tuple of str
    about : str
        Written beside the data for readers without this program.
    flags : tuple of str
        What the codes 0, 1, ... mean.
    counts : str
        The dimension that this column counts entries of.
    """

    name: str
    dtype: str
    dimensions: tuple[str, ...]
    about: str
    flags: tuple[str, ...] = ()
    counts: str = ""


def _storage(prefix: str, dimension: str) -> list[Column]:
    about = "physical = (raw * numerator + offset) / denominator"
    return [
        Column(f"{prefix}storage_type", "|i1", (dimension,), "storage type", STORAGE_TYPES),
        Column(f"{prefix}storage_numerator", "<i8", (dimension,), about),
        Column(f"{prefix}storage_denominator", "<i8", (dimension,), about),
        Column(f"{prefix}storage_offset", "<i8", (dimension,), about),
    ]


def _long_text(name: str, owner: str, about: str) -> list[Column]:
    part = f"{name}_part"
    return [
        Column(f"{name}_count", "<i4", (owner,), f"pieces of {about}", counts=part),
        Column(f"{name}_text", "S", (part,), f"{about}, in pieces; join them per {owner}"),
    ]


COLUMNS: tuple[Column, ...] = (
    Column("table", "S", ("table",), "id of the table"),
    Column("name", "S", ("table",), "name"),
    Column("function", "S", ("table",), "function group"),
    Column("unit", "S", ("table",), "unit of the values"),
    Column("role", "S", ("table",), "part of the controller"),
    Column("kind", "|i1", ("table",), "number of axes", KINDS),
    Column("lower", "<f8", ("table",), "smallest allowed value"),
    Column("upper", "<f8", ("table",), "largest allowed value"),
    *_storage("", "table"),
    Column("axes", "<i4", ("table", "position"), "row of the axis per position, -1 for none"),
    Column("rules", "<i4", ("table",), "row of the rule set, -1 for none"),
    Column("value_count", "<i4", ("table",), "number of values", counts="value"),
    *_long_text("description", "table", "the description"),
    Column("values", "<f8", ("value",), "physical values, first axis slowest; nan is unfilled"),
    Column("raw_values", "<i8", ("raw_value",), "raw values of the integer tables, as a check"),
    Column("axis_name", "S", ("axis",), "what the axis carries"),
    Column("axis_unit", "S", ("axis",), "unit of the breakpoints"),
    Column("axis_quantity", "S", ("axis",), "input quantity that the axis reads"),
    Column("axis_shared", "S", ("axis",), "id of the shared axis this is, or empty"),
    Column("axis_interpolation", "|i1", ("axis",), "between breakpoints", INTERPOLATIONS),
    Column("axis_below", "|i1", ("axis",), "before the first breakpoint", ENDS),
    Column("axis_above", "|i1", ("axis",), "after the last breakpoint", ENDS),
    *_storage("axis_", "axis"),
    Column("axis_count", "<i4", ("axis",), "number of breakpoints", counts="axis_value"),
    Column("axis_values", "<f8", ("axis_value",), "breakpoints"),
    Column("shared_axes", "<i4", ("shared_axis",), "row of each of the set's shared axes"),
    Column("relation_table", "<i4", ("relation",), "row of the table"),
    Column("relation_mode", "S", ("relation",), "drive mode"),
    Column("relation_sign", "S", ("relation",), "this mode's values against the base mode's"),
    *_long_text("rule", "rule_set", "the rules as JSON"),
    Column("labels", "<i4", ("table",), "row of the label set of the values, -1 for none"),
    Column("axis_labels", "<i4", ("axis",), "row of the label set, -1 for none"),
    Column("label_count", "<i4", ("label_set",), "number of labels", counts="label"),
    Column("label_value", "<f8", ("label",), "physical value that has a name"),
    Column("label_name", "S", ("label",), "its name"),
    Column("entry_time", "S", ("entry",), "when, ISO 8601, UTC"),
    Column("entry_author", "S", ("entry",), "by whom"),
    Column("entry_edit_count", "<i4", ("entry",), "number of edits", counts="edit"),
    *_long_text("entry_title", "entry", "what was done"),
    *_long_text("entry_reason", "entry", "why"),
    *_long_text("entry_other", "entry", "anything else of the entry, as JSON"),
    Column("edit_kind", "S", ("edit",), "kind of edit"),
    Column("edit_table", "S", ("edit",), "id of the table"),
    Column("edit_cell_count", "<i4", ("edit",), "number of cells", counts="edit_cell"),
    *_long_text("edit", "edit", "an edit of more than values, as JSON"),
    Column("edit_cell_number", "<i4", ("edit_cell",), "cell number, first axis slowest"),
    Column("edit_before", "<f8", ("edit_cell",), "value before"),
    Column("edit_after", "<f8", ("edit_cell",), "value after"),
    Column("record_kind", "S", ("record",), "kind of record: remark, waiver, decision, sign-off"),
    *_long_text("record", "record", "the record as JSON"),
)
BY_NAME: dict[str, Column] = {column.name: column for column in COLUMNS}

TEXT_ATTRIBUTES = ("programme", "mode", "base_mode", "name", "revision", "description")
INTEGER_ATTRIBUTES = ("format_version", "min_reader_version", "rule_schema", "history_schema")
SCHEMA = 1
"""Version of the JSON in rules, history and records."""
