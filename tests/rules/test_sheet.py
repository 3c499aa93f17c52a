"""The rule sheet: text and back, matching, applying, and its messages."""

from __future__ import annotations

import tomllib
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.rule import KINDS, Range, Rule, Severity
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.editing.change import apply as apply_change
from calib_model.errors import FileProblem, ModelError
from calib_model.rules.plausibility import Covers
from calib_model.rules.shape import Monotone
from calib_model.rules.sheet import applied, parse_sheet, sheet_text
from calib_model.session.rule_sheet import apply_sheet

# -- every kind of rule, with any settings -----------------------------------------------------

texts = st.text(max_size=12)
numbers = st.floats(allow_nan=False, width=64)
points = st.lists(numbers, max_size=3).map(tuple)
scopes = st.lists(st.builds(Range, texts, numbers, numbers), max_size=2).map(tuple)
COMMON = {
    "scope": scopes,
    "severity": st.sampled_from(Severity),
    "reason": texts,
    "off": st.booleans(),
}
UP_DOWN = st.sampled_from(["up", "down"])
SENSE = st.sampled_from([">=", "<=", "=="])
SETTINGS: dict[str, dict[str, st.SearchStrategy[Any]]] = {
    "monotone": {"axis": texts, "direction": UP_DOWN, "strict": st.booleans(), "gap": numbers},
    "slope": {"axis": texts, "most": numbers, "least": numbers},
    "curvature": {"axis": texts, "shape": st.sampled_from(["convex", "concave"])},
    "kink": {"axis": texts, "most": numbers},
    "fixed_value": {"value": numbers},
    "zero_end": {"axis": texts, "end": st.sampled_from(["first", "last"])},
    "equals_at": {"point": points, "value": numbers, "within": numbers},
    "symmetry": {"axis": texts, "parity": st.sampled_from(["even", "odd"]), "about": numbers},
    "product_rises": {"axis": texts},
    "limits": {},
    "bounds": {"lower": numbers, "upper": numbers},
    "locked": {},
    "relation": {
        "other": texts,
        "sense": SENSE,
        "factor": numbers,
        "offset": numbers,
        "times": texts,
        "factor_reason": texts,
    },
    "hysteresis": {"other": texts, "gap": numbers, "branches": st.booleans()},
    "rate_within": {"axis": texts, "rate": numbers, "capability": texts, "factor": numbers},
    "zero_within": {"axis": texts, "band": texts},
    "mode_relation": {},
    "finite": {},
    "axis_order": {},
    "covers": {"axis": texts, "low": numbers, "high": numbers},
    "on_raster": {},
    "axis_on_raster": {},
    "flattened": {},
    "outlier": {"nearer": numbers},
    "branch_order": {"other": texts, "axis": texts},
    "step": {"axis": texts, "most": numbers},
}


def any_rule(kind: str) -> st.SearchStrategy[Rule]:
    own = dict(SETTINGS[kind])
    if kind == "locked":
        held = st.lists(st.tuples(points, numbers), max_size=3)
        return st.builds(
            lambda cells, **common: KINDS[kind](
                points=tuple(p for p, _ in cells), values=tuple(v for _, v in cells), **common
            ),
            held,
            **COMMON,
        )
    return st.builds(KINDS[kind], **own, **COMMON)


def test_every_kind_is_tried() -> None:
    assert set(SETTINGS) == set(KINDS)


@pytest.mark.parametrize("kind", SETTINGS)
@settings(max_examples=25, deadline=None, derandomize=True)
@given(data=st.data())
def test_text_and_back(kind: str, data: st.DataObject) -> None:
    rules = tuple(data.draw(st.lists(any_rule(kind), min_size=1, max_size=3, unique=True)))
    modes = data.draw(st.dictionaries(texts, st.sampled_from([">=", "<=", "==", "free", "zero"])))
    table = Table("t.x[1]", 1.0, rules=rules, relations=modes, role="yaw_dead_band")
    sheet = parse_sheet(sheet_text(table))
    (entry,) = sheet.entries
    assert entry.rules == rules
    assert dict(entry.modes or {}) == modes
    assert entry.bind == "yaw_dead_band"
    # The sheet belongs to the set it came from: nothing is left to change.
    assert apply_sheet(CalibrationSet([table]), sheet).is_empty
    # Onto a bare table it brings everything.
    bare = CalibrationSet([Table("t.x[1]", 1.0)])
    assert apply_change(bare, apply_sheet(bare, sheet))["t.x[1]"] == table


def test_text_is_plain_toml() -> None:
    """Read by the standard library's TOML reader alone (TOML 1.0), not by ours."""
    data = tomllib.loads(sheet_text(small_set()))
    assert data["sheet"] == 1
    first = data["table"][0]
    assert first["id"] == "slip_target"
    assert first["rules"][0] == {"kind": "monotone", "axis": "pedal", "reason": 'a\n"b" \\ °C'}
    assert first["inputs"] == ["vehicle_speed", "pedal"]


# -- a small set -----------------------------------------------------------------------------


def small_set() -> CalibrationSet:
    shared = Axis([0, 50, 100], "Speed", "km/h", "vehicle_speed", shared="axis.v")
    pedal = Axis([0, 100], "Pedal", "%", "pedal")
    return CalibrationSet(
        [
            Table(
                "slip_target",
                np.ones((3, 2)),
                (shared, pedal),
                name="Slip target",
                role="slip_target",
                relations={"towing": "<="},
                rules=(Monotone("pedal", reason='a\n"b" \\ °C'),),
            ),
            Table("slip_dead_band", np.ones(3), (shared,), name="Slip dead band"),
            Table("yaw[0]", 1.0, name="Yaw"),
        ],
        [shared],
    )


def change_of(text: str, content: CalibrationSet | None = None) -> CalibrationSet:
    content = content or small_set()
    return apply_change(content, apply_sheet(content, parse_sheet(text)))


def test_whole_sets_text_changes_nothing() -> None:
    content = small_set()
    change = apply_sheet(content, parse_sheet(sheet_text(content)))
    assert change.is_empty
    assert change.note.startswith("3 tables matched, 0 changed")


def test_wildcards_match_ids_roles_and_names() -> None:
    content = change_of(
        """
        [[table]]
        id = "slip_*"
        rules = [{ kind = "bounds", lower = 0 }]
        [[table]]
        name = "Slip ????????"      # eight letters: target has six, dead band nine
        rules = [{ kind = "finite" }]
        [[table]]
        role = "slip_t*"
        id = "*target"
        rules = [{ kind = "outlier" }]
        """
    )
    kinds = {t.id: [r.kind for r in t.rules] for t in content}
    # Rules of all entries that match add up and replace what was there (monotone).
    assert kinds == {
        "slip_target": ["bounds", "outlier"],
        "slip_dead_band": ["bounds"],
        "yaw[0]": [],
    }


def test_brackets_of_ids_stand_for_themselves() -> None:
    content = change_of('[[table]]\nid = "yaw[0]"\nrules = [{kind = "finite"}]')
    assert [r.kind for r in content["yaw[0]"].rules] == ["finite"]
    assert applied(small_set(), parse_sheet('[[table]]\nid = "yaw[!1]"')).matched == ()


def test_what_is_not_said_stays() -> None:
    content = change_of('[[table]]\nid = "slip_target"\nmodes = { low_grip = "==" }')
    table = content["slip_target"]
    assert dict(table.relations) == {"towing": "<=", "low_grip": "=="}
    assert [r.kind for r in table.rules] == ["monotone"]
    assert table.role == "slip_target"


def test_one_change_that_can_be_undone_and_says_what_matched() -> None:
    content = small_set()
    text = '[[table]]\nid = "slip_*"\nrules = []\n[[table]]\nid = "brake_*"\nrules = []'
    change = apply_sheet(content, parse_sheet(text, "winter.toml"))
    assert change.title == "Apply rule sheet winter.toml"
    assert change.tables == ("slip_target",)
    assert change.note == (
        "2 tables matched, 1 changed: slip_target, slip_dead_band. For no table: brake_* (line 4)."
    )
    after = apply_change(content, change)
    assert after["slip_target"].rules == ()
    assert apply_change(after, change.inverse()) == content


def test_inputs_bind_axes_and_shared_ones_once() -> None:
    content = change_of(
        '[[table]]\nid = "slip_target"\ninputs = ["shaft_speed", "grade"]\nbind = "slip_gain"'
    )
    table = content["slip_target"]
    assert [a.quantity for a in table.axes] == ["shaft_speed", "grade"]
    assert table.role == "slip_gain"
    # The shared axis is one thing: its other table reads the new input too.
    assert content.shared_axes["axis.v"].quantity == "shaft_speed"
    assert content["slip_dead_band"].axes[0].quantity == "shaft_speed"
    assert content["slip_dead_band"].axes[0] is content.shared_axes["axis.v"]


def test_unpublished_roles_and_inputs_are_left_out_of_the_text() -> None:
    odd = Table("t", np.ones(2), (Axis([0, 1], quantity="moon_phase"),), role="own_part")
    text = sheet_text(odd)
    assert "bind =" not in text
    assert "inputs =" not in text
    assert apply_sheet(CalibrationSet([odd]), parse_sheet(text)).is_empty


def test_rules_of_a_sheet_are_checked_like_any_other() -> None:
    content = change_of(
        '[[table]]\nid = "slip_dead_band"\n'
        'rules = [{ kind = "covers", axis = "vehicle_speed", low = 0, high = 160 }]'
    )
    assert content["slip_dead_band"].rules == (Covers("vehicle_speed", 0, 160),)


@pytest.mark.parametrize(
    ("text", "place", "remedy"),
    [
        ("[[table]]\nid = \n", "line 2, column 6", "sheet to start from"),
        ("sheet = 2", "sheet", "sheet = 1"),
        ("sheet = true", "sheet", "sheet = 1"),
        ("[rules]\nid = 1", "rules", "[[table]]"),
        ('[table]\nid = "x"', "table", "[[table]]"),
        ("\n[[table]]\nrules = []", "entry 1 (line 2)", "slip_*"),
        ("[[table]]\nid = 3", "entry 1 (line 1), id", "quotation"),
        ('[[table]]\nid = "x"\nrole = ["y"]', "entry 1 (line 1), role", "quotation"),
        ('[[table]]\nid = "x"\nrulez = []', "entry 1 (line 1)", "Did you mean rules"),
        ('[[table]]\nid = "x"\nmodes = "=="', "modes", "towing"),
        ('[[table]]\nid = "x"\nmodes = { towing = ">" }', "modes", ">="),
        ('[[table]]\nid = "x"\nmodes = { towing = [] }', "modes", ">="),
        ('[[table]]\nid = "x"\nbind = "slip_targt"', "bind", "Did you mean slip_target"),
        ('[[table]]\nid = "x"\nbind = 7', "bind", "Known roles"),
        ('[[table]]\nid = "x"\ninputs = "pedal"', "inputs", "inputs ="),
        ('[[table]]\nid = "x"\ninputs = ["pedals"]', "inputs", "pedal"),
        ('[[table]]\nid = "x"\ninputs = [["pedal"]]', "inputs", "pedal"),
        ('[[table]]\nid = "x"\nrules = { kind = "finite" }', "rules", "rules = ["),
        ('[[table]]\nid = "x"\nrules = ["finite"]', "rule 1", "kind"),
        ('[[table]]\nid = "a"\n[[table]]\nid = "x"\nrules = [{kind = "finite"}, {kind = "no"}]',
         "entry 2 (line 3), rule 2", "Known kinds"),
        ('[[table]]\nid = "x"\nrules = [{kind = "monotone"}]', "rule 1", ""),
        ('[[table]]\nid = "x"\nrules = [{kind = "bounds", low = 3}]', "rule 1", "lower"),
        ('[[table]]\nid = "x"\nrules = [{kind = "bounds", lower = "3"}]', "rule 1", ""),
        ('[[table]]\nid = "x"\nrules = [{kind = "monotone", axis = "p", direction = "left"}]',
         "rule 1", "up or down"),
        ('[[table]]\nid = "x"\nrules = [{kind = "finite", scope = [1]}]', "rule 1", ""),
        ('[[table]]\nid = "x"\nrules = [{kind = "finite", severity = "grave"}]', "rule 1", ""),
        ("x = " + "[" * 5000, "", "plainly"),
        ('[[table]]\nid = "x"\nlimits = [3, 1]', "limits", "lower, upper"),
        ('[[table]]\nid = "x"\nlimits = [nan, 1]', "limits", "lower, upper"),
        ('[[table]]\nid = "x"\nlimits = [true, 1]', "limits", "lower, upper"),
        ('[[table]]\nid = "x"\nstorage = "uint16"', "storage", "type ="),
        ('[[table]]\nid = "x"\nstorage = { type = "uint7" }', "storage", "uint8"),
        ('[[table]]\nid = "x"\nstorage = { type = "uint8", step = "x" }', "storage", "1/250"),
        ('[[table]]\nid = "x"\nstorage = { type = "uint8", step = true }', "storage", "step ="),
        ('[[table]]\nid = "x"\nunit = 3', "unit", "quotation"),
        ('[[table]]\nid = "x"\naxis_units = "%"', "axis_units", "axis_units ="),
        ("owners = 3", "owners", "[owners]"),
        ('[owners]\nBraking = "Ines"', "owners", "[owners]"),
    ],
)  # fmt: skip
def test_message_names_place_and_remedy(text: str, place: str, remedy: str) -> None:
    with pytest.raises(FileProblem) as caught:
        parse_sheet(text, "winter.toml")
    assert str(caught.value).startswith("winter.toml")
    assert place in caught.value.place
    assert remedy in caught.value.remedy
    assert caught.value.problem.endswith(".")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[table]]\nid = "slip_*"\nbind = "slip_gain"', "binds 2 tables to one role"),
        ('[[table]]\nid = "slip_*"\ninputs = ["pedal"]', "1 inputs, but slip_target has 2 axes"),
        (
            """
            [[table]]
            id = "slip_target"
            inputs = ["grade", "pedal"]
            [[table]]
            id = "slip_dead_band"
            inputs = ["pedal"]
            """,
            "gives the shared axis axis.v another input than slip_target (line 2)",
        ),
    ],
)
def test_sheet_that_does_not_fit_the_set(text: str, said: str) -> None:
    with pytest.raises(ModelError) as caught:
        apply_sheet(small_set(), parse_sheet(text))
    assert said in str(caught.value)
    assert caught.value.remedy


# -- what a table is -----------------------------------------------------------------------

STORAGES = st.one_of(
    st.sampled_from([Storage(), Storage("float32")]),
    st.builds(
        Storage.of,
        st.sampled_from(["int8", "uint16", "int32"]),
        st.sampled_from(["1", "0.5", "1/250", "1/3", "0.0001", "7"]),
        st.sampled_from(["0", "-50", "0.25", "1/3"]),
    ),
)
ENDS = st.one_of(st.just(float("inf")), st.floats(0, 1e6), st.integers(0, 9).map(float))


@settings(max_examples=120, deadline=None, derandomize=True)
@given(
    lower=ENDS.map(lambda x: -x),
    upper=ENDS,
    storage=STORAGES,
    unit=st.sampled_from(["-", "", "N.m", "deg/s", "0/1", "N.m/(km/h)"]),
    axis_unit=st.sampled_from(["-", "%", "km/h"]),
    function=texts,
)
def test_what_a_table_is_survives_text(
    lower: float, upper: float, storage: Storage, unit: str, axis_unit: str, function: str
) -> None:
    table = Table(
        "t", [1.0, 2.0], (Axis([0, 1], unit=axis_unit),), unit=unit, function=function,
        lower=lower, upper=upper, storage=storage,
    )  # fmt: skip
    sheet = parse_sheet(sheet_text(table, about=True))
    content = CalibrationSet([table])
    assert apply_sheet(content, sheet).is_empty
    (entry,) = sheet.entries
    blank = Table("t", [1.0, 2.0], (Axis([0, 1]),))
    assert entry.about.of(blank) == table or not storage.is_integer


def test_a_sheet_leaves_what_tables_are_unless_asked() -> None:
    """It is carried to the next software's set, where limits and storage may be others."""
    assert "limits" not in sheet_text(small_set())
    assert "limits" in sheet_text(small_set(), about=True)


def test_spellings_of_units_may_change_but_not_what_they_mean() -> None:
    table = Table("t", [1.0, 2.0], (Axis([0, 1], "speed", "kph"),), unit="Nm")
    content = CalibrationSet([table])

    def after(text: str) -> Table:
        sheet = parse_sheet(f'[[table]]\nid = "t"\n{text}')
        return apply_change(content, apply_sheet(content, sheet))["t"]

    same = after('unit = "N.m"\naxis_units = ["km/h"]')
    assert (same.unit, same.axes[0].unit) == ("N.m", "km/h")
    assert after('axis_units = [""]').axes[0].unit == "kph"
    for text, said in (
        ('unit = "kN.m"', "would have to be converted"),
        ('unit = "A"', "It is another"),
        ('axis_units = ["mph"]', "speed of t is in 'kph', not 'mph'"),
        ('axis_units = ["km/h", "%"]', "2 axis units are given for t, which has 1 axes"),
    ):
        with pytest.raises(ModelError, match=said):
            after(text)


def test_a_shared_axis_keeps_its_unit() -> None:
    sheet = parse_sheet('[[table]]\nid = "slip_dead_band"\naxis_units = ["mph"]')
    with pytest.raises(ModelError, match="shares the axis"):
        apply_sheet(small_set(), sheet)


def test_owners_are_told_and_not_applied() -> None:
    sheet = parse_sheet('[owners]\n"Slip control" = ["Ines Roth"]\n')
    change = apply_sheet(small_set(), sheet)
    assert change.is_empty
    assert '[owners]\n"Slip control" = ["Ines Roth"]' in change.note
    assert "programme file" in change.note
