"""What is chosen is remembered: as a value, as a file, and told where it is wrong."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.bringing.layout import (
    EXAMPLE,
    AxisChoice,
    FileChoice,
    Layout,
    TableChoice,
    layout_text,
    parse_layout,
    read_layout,
    write_layout,
)
from calib_model.bringing.understanding import set_of, to_remember, understand
from calib_model.core.storage import Storage
from calib_model.errors import FileProblem, ModelError

MAP = "v \\ p,0,5\n0,1,2\n10,4,5\n20,6,7\n"


def test_the_documented_file_is_one_and_comes_back() -> None:
    layout = parse_layout(EXAMPLE)
    assert layout.files[0] == FileChoice("*.csv", "*", "cp1252", ";", ",", ".", True)
    (table,) = layout.tables
    assert (table.source, table.upper, table.take) == ("maps.xlsx | Torque", 450.0, False)
    assert table.axes == (
        AxisChoice("Pedal", "%", "pedal", order="sorted"),
        AxisChoice(interpolation="step", storage="uint8", labels="0 off, 2 slow, 3 fast"),
    )
    assert parse_layout(layout_text(layout)) == layout


TEXT = st.text(max_size=12) | st.none()
AXES = st.lists(st.builds(AxisChoice, name=TEXT, unit=TEXT, order=TEXT), max_size=3).map(tuple)
LAYOUTS = st.builds(
    Layout,
    st.lists(st.builds(FileChoice, decimal=TEXT, take=st.booleans() | st.none()), max_size=3).map(
        tuple
    ),
    st.lists(
        st.builds(
            TableChoice, st.text(max_size=9), st.text(max_size=9), id=TEXT, name=TEXT,
            lower=st.floats(-1e9, 1e9) | st.none(), turned=st.booleans() | st.none(), axes=AXES,
        ), max_size=3,
    ).map(tuple),
)  # fmt: skip


@given(LAYOUTS)
def test_any_layout_comes_back_from_its_text(layout: Layout) -> None:
    text = layout_text(layout)
    tomllib.loads(text)  # the standard library's reader of TOML 1.0
    assert parse_layout(text) == layout


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "no layout"), ("layout = 2", "newer"), ("layout = 1\n[[table]]\nunits = 1", "'units'"),
        ("layout = 1\n[[table]]\ntake = 1", "'take' of entry table 1 is not true or false"),
        ("layout = 1\n[[file]]\ndecimal = 1", "'decimal' of entry file 1 is not a text"),
        ("layout = 1\nx = 1", "'x' is no part"), ("layout = [", "no TOML"),
        ("layout = 1\ntable = 3", "no list of entries"),
        ("layout = 1\n[[table]]\naxes = 3", "no list of entries"),
    ],
)  # fmt: skip
def test_a_wrong_layout_is_refused_by_entry_and_key(tmp_path: Path, text: str, why: str) -> None:
    with pytest.raises(ModelError, match=why):
        parse_layout(text)
    (tmp_path / "l.toml").write_text(text)
    with pytest.raises(FileProblem, match=r"l\.toml"):
        read_layout(tmp_path / "l.toml")


def test_every_guess_can_be_changed_and_is_remembered(tmp_path: Path) -> None:
    (tmp_path / "x.csv").write_text(MAP)
    found = understand([tmp_path / "x.csv"])
    (draft,) = found.tables
    changed = found.with_table(
        draft, id="limit", name="Limit", unit="N.m", function="Clutch", description="d", lower=0.0,
        upper=9.0, role="hill_torque", storage="uint8 0.5", turned=True,
        axes=(AxisChoice("Pedal", "%", "pedal", storage="uint8"),
              AxisChoice("Speed", "km/h", "vehicle_speed", "step", "proposed")),
    )  # fmt: skip
    write_layout(changed.layout, tmp_path / "l.toml")
    table = set_of([tmp_path / "x.csv"], read_layout(tmp_path / "l.toml"))["limit"]
    assert table == changed.content()["limit"]
    assert table.shape == (2, 3)
    assert table.values.tolist() == [[1, 4, 6], [2, 5, 7]]
    pedal, speed = table.axes
    assert (pedal.name, pedal.unit, pedal.quantity, pedal.values.tolist()) == (
        "Pedal", "%", "pedal", [0, 5],
    )  # fmt: skip
    assert (speed.interpolation, speed.storage) == ("step", Storage("uint8"))
    assert (table.storage, table.role, table.upper) == (
        Storage.of("uint8", "0.5"),
        "hill_torque",
        9,
    )
    # A choice taken back leaves what was understood.
    back = changed.with_table(changed.tables[0], turned=None, id=None)
    assert back.tables[0].table.shape == (3, 2)
    assert back.tables[0].table.id == "x"


def test_a_choice_that_is_wrong_is_a_doubt_and_not_taken(tmp_path: Path) -> None:
    (tmp_path / "x.csv").write_text(MAP)
    found = understand([tmp_path / "x.csv"])
    (draft,) = found.tables
    for chosen in ({"storage": "int7"}, {"id": "no id"}, {"axes": (AxisChoice(storage="x y z"),)}):
        (wrong,) = found.with_table(draft, **chosen).tables
        assert wrong.blocked, chosen
        assert wrong.doubts[-1].why


def test_a_scalar_that_is_turned_stays_one(tmp_path: Path) -> None:
    (tmp_path / "x.csv").write_text("tick,20,ms\n")
    found = understand([tmp_path / "x.csv"])
    assert found.with_table(found.tables[0], turned=True).content()["tick"].shape == ()


def test_names_of_breakpoints_get_the_numbers_that_are_chosen(tmp_path: Path) -> None:
    (tmp_path / "x.csv").write_text("v \\ wiper,off,slow,fast\n0,1,2,3\n9,4,5,6\n")
    found = understand([tmp_path / "x.csv"])
    named = AxisChoice(labels="0 off, 2 slow, 3 fast")
    chosen = found.with_table(found.tables[0], axes=(AxisChoice(), named))
    assert not chosen.doubtful
    assert chosen.content()["x"].axes[1].values.tolist() == [0, 2, 3]
    (wrong,) = found.with_table(
        found.tables[0], axes=(AxisChoice(), AxisChoice(labels="off"))
    ).tables
    assert "The labels give 'slow' no number" in wrong.doubts[-1].why


def test_patterns_reach_many_and_exact_entries_go_first(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / f"{name}.csv").write_text(MAP)
    layout = Layout(
        tables=(
            TableChoice("*", "*", unit="N", function="Clutch"),
            TableChoice("b.csv", "b", unit="kN"),
        )
    )
    content = set_of([tmp_path], layout)
    assert [(t.unit, t.function) for t in content] == [("N", "Clutch"), ("kN", "Clutch")]


def test_storage_is_proposed_and_taken_only_when_chosen(tmp_path: Path) -> None:
    (tmp_path / "x.csv").write_text("v,f\n0,0.5\n1,450\n")
    found = understand([tmp_path / "x.csv"])
    assert str(found.tables[0].storage_proposed) == "uint16, step 0.5"
    assert found.content()["f"].storage == Storage()
    chosen = found.with_table(found.tables[0], storage="proposed")
    assert chosen.content()["f"].storage == Storage.of("uint16", "0.5")


def test_encoding_and_separator_are_read_again(tmp_path: Path) -> None:
    (tmp_path / "x.csv").write_bytes("v;ö\n0;1\n5;2\n".encode("cp850"))
    found = understand([tmp_path / "x.csv"])
    assert found.tables[0].table.name != "ö"
    again = found.with_layout(found.layout.with_file("x.csv", encoding="cp850"))
    assert again.tables[0].table.name == "ö"


def test_what_is_to_be_remembered_names_what_is_doubtful(tmp_path: Path) -> None:
    (tmp_path / "x.csv").write_text("v;f\n0;1,234\n1;2\n")
    text = layout_text(to_remember(understand([tmp_path / "x.csv"])))
    assert 'decimal = ","' in text
    assert 'found = "f"' in text
    set_of([tmp_path / "x.csv"], parse_layout(text))
