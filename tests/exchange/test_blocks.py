"""Blocks pasted from and copied to spreadsheets."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from calib_model.core.typed_number import NumberRefused, parse_number
from calib_model.exchange.blocks import (
    Block,
    PasteRefused,
    fitted,
    format_block,
    parse_block,
)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("215", 215.0),
        (" -0.25 ", -0.25),
        ("+1.5e-3", 1.5e-3),
        (".5", 0.5),
        ("1.234", 1.234),  # points alone follow the point reading
        ("12,5", 12.5),  # two groups of digits that no thousands separator would leave
        ("0,123", 0.123),
        ("1234,567", 1234.567),
        ("1,2345", 1.2345),
        ("1,234e3", 1234.0),
        ("\u22125", -5.0),  # the true minus sign that the display uses
        ("5\xa0", 5.0),
    ],
)
def test_numbers_beyond_doubt(text: str, value: float) -> None:
    assert parse_number(text) == value


@pytest.mark.parametrize("text", ["1,234", "-12,345", "999,000"])
def test_ambiguous_numbers_are_asked_about(text: str) -> None:
    with pytest.raises(NumberRefused) as caught:
        parse_number(text)
    assert caught.value.ambiguous
    assert parse_number(text, ",") == float(text.replace(",", "."))
    with pytest.raises(NumberRefused) as caught:
        parse_number(text, ".")
    assert not caught.value.ambiguous


@pytest.mark.parametrize(
    "text",
    [
        "1,234,567",
        "1.234.567",
        "1.234,5",
        "1,234.5",
        "1 234",
        "1\u202f234,5",
        "1'234",
        "",
        " ",
        "abc",
        "12 N·m",
        "12%",
        "1e999",
        "inf",
        "0x10",
        "1_000",
        "--1",
        "1e",
        ",",
        "٣",
        "1;2",
    ],
)
def test_anything_else_is_refused(text: str) -> None:
    for decimal in (None, ".", ","):
        with pytest.raises(NumberRefused):
            parse_number(text, decimal)


def test_point_in_a_comma_block_is_refused() -> None:
    # A German locale reads "1.234" as 1234 elsewhere: here it is refused, never converted.
    with pytest.raises(NumberRefused, match="point"):
        parse_number("1.234", ",")


def test_one_pasted_row_stays_a_row() -> None:
    np.testing.assert_array_equal(parse_block("1\t2\t3").values, [[1, 2, 3]])
    np.testing.assert_array_equal(parse_block("1\r\n2\r\n3\r\n").values, [[1], [2], [3]])


def test_a_certain_comma_decides_for_the_whole_block() -> None:
    np.testing.assert_array_equal(
        parse_block("12,5\t1,234\n3\t4\n").values, [[12.5, 1.234], [3.0, 4.0]]
    )


@pytest.mark.parametrize("text", ["1,234\t2,345\n", "1,234\t5\n", "12,5\t1.234\n"])
def test_doubtful_blocks_are_refused_and_listed(text: str) -> None:
    with pytest.raises(PasteRefused) as caught:
        parse_block(text)
    assert caught.value.ambiguous
    assert {cell.row for cell in caught.value.cells} == {0}
    assert all("," in c.text or "." in c.text for c in caught.value.cells)


def test_answering_the_question_settles_it() -> None:
    np.testing.assert_array_equal(parse_block("1,234\t2,345\n", ",").values, [[1.234, 2.345]])
    with pytest.raises(PasteRefused) as caught:
        parse_block("1,234\t2,345\n", ".")
    assert not caught.value.ambiguous


def test_every_bad_cell_is_listed_with_its_place() -> None:
    with pytest.raises(PasteRefused) as caught:
        parse_block("1\tx\n\t4\n")
    cells = [(c.row, c.column, c.text, c.why) for c in caught.value.cells]
    assert cells == [(0, 1, "x", "is not a number"), (1, 0, "", "is empty")]
    assert "line 1, column 2: 'x' is not a number and 1 more" in str(caught.value)


def test_ragged_lines_are_refused() -> None:
    with pytest.raises(PasteRefused) as caught:
        parse_block("1\t2\n3\n")
    assert [(c.row, c.column, c.why) for c in caught.value.cells] == [(1, 1, "is missing")]


@pytest.mark.parametrize("text", ["", "\n", " \t \n", "\r\n\r\n"])
def test_nothing_to_paste(text: str) -> None:
    with pytest.raises(PasteRefused, match="nothing"):
        parse_block(text)


def test_axes_are_told_by_the_corner() -> None:
    block = parse_block("Temperature \\ Pedal\t0\t50\n-40\t1\t2\n20\t3\t4\n")
    np.testing.assert_array_equal(block.values, [[1, 2], [3, 4]])
    assert block.row_axis is not None
    assert block.column_axis is not None
    assert block.row_axis.tolist() == [-40, 20]
    assert block.column_axis.tolist() == [0, 50]
    unnamed = parse_block("\t0\t50\n-40\t1\t2\n")
    assert unnamed.column_axis is not None
    assert unnamed.values.tolist() == [[1, 2]]


def test_a_curve_with_its_axis_and_labels() -> None:
    block = parse_block("Speed\tFade\n0\t1\n10\t0,5\n")
    assert block.column_axis is None
    assert block.row_axis is not None
    assert block.row_axis.tolist() == [0, 10]
    assert block.values.tolist() == [[1.0], [0.5]]
    lying = parse_block("Speed\t0\t10\nFade\t1\t0.5\n")
    assert lying.row_axis is None
    assert lying.column_axis is not None
    assert lying.values.tolist() == [[1.0, 0.5]]


def test_bad_breakpoints_are_refused() -> None:
    for text in ("\t0\tx\n1\t2\t3\n", "\t0\tnan\n1\t2\t3\n"):
        with pytest.raises(PasteRefused) as caught:
            parse_block(text)
        assert [(c.row, c.column) for c in caught.value.cells] == [(0, 2)]


def test_unfilled_cells_have_a_word() -> None:
    assert np.isnan(parse_block("nan\t1").values[0, 0])
    assert parse_block("nan\t1\n2\t3").values.shape == (2, 2), "nan is not a header"


def test_quoted_cells_of_spreadsheets() -> None:
    assert parse_block('"1.5"\t2\n').values.tolist() == [[1.5, 2.0]]


_floats = st.floats(allow_infinity=False).map(lambda x: x + 0.0)


@given(arrays(np.float64, array_shapes(min_dims=2, max_dims=2, max_side=6), elements=_floats))
def test_what_is_copied_pastes_back_exactly(values: np.ndarray) -> None:
    np.testing.assert_array_equal(parse_block(format_block(values)).values, values)
    comma = format_block(values, decimal=",")
    np.testing.assert_array_equal(parse_block(comma, ",").values, values)


@given(
    arrays(np.float64, (2, 3), elements=_floats),
    st.lists(st.floats(-1e9, 1e9), min_size=2, max_size=2),
    st.lists(st.floats(-1e9, 1e9), min_size=3, max_size=3),
    st.sampled_from(["", "Temperature", "=1+1", 'a\tb\n"c']),
)
def test_axes_copy_and_paste_back(
    values: np.ndarray, rows: list[float], columns: list[float], corner: str
) -> None:
    block = parse_block(format_block(values, rows, columns, corner))
    np.testing.assert_array_equal(block.values, values)
    np.testing.assert_array_equal(block.row_axis, rows)
    np.testing.assert_array_equal(block.column_axis, columns)


def test_copied_text_of_curves_and_single_cells() -> None:
    assert format_block([0.1, 215.0]) == "0.1\n215\n"
    assert format_block(1 / 3) == "0.3333333333333333\n"
    assert format_block([1.0, 2.0], [0.0, 10.0], corner="Speed") == "Speed\t\n0\t1\n10\t2\n"
    assert format_block([[1.0]], [5.0], [6.0], "=x").startswith("'=x\t")


def test_pandas_reads_a_copied_block() -> None:
    # pandas.read_clipboard reads such text with the same parser.
    import io

    import pandas as pd

    text = format_block([[1.5, 2.0], [0.1, -4.0]], [-40.0, 20.0], [0.0, 50.0], "T")
    frame = pd.read_csv(io.StringIO(text), sep="\t", index_col=0)
    assert frame.index.tolist() == [-40, 20]
    assert frame.to_numpy().tolist() == [[1.5, 2.0], [0.1, -4.0]]


def _block(rows: int, columns: int) -> Block:
    return Block(np.arange(float(rows * columns)).reshape(rows, columns))


def test_one_value_fills_the_selection_and_a_block_starts_at_the_anchor() -> None:
    assert fitted(Block(np.array([[7.0]])), 1, 1, 2, 3, (4, 4)).tolist() == [[7.0] * 3] * 2
    assert fitted(_block(2, 2), 1, 1, 1, 1, (3, 3)).shape == (2, 2)
    assert fitted(_block(2, 2), 1, 1, 2, 2, (3, 3)).shape == (2, 2)


@pytest.mark.parametrize(("top", "height", "width"), [(2, 1, 1), (0, 2, 1), (0, 3, 3)])
def test_a_block_that_does_not_fit_is_refused(top: int, height: int, width: int) -> None:
    with pytest.raises(PasteRefused, match="2 × 2"):
        fitted(_block(2, 2), top, 0, height, width, (3, 3))
