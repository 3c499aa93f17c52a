"""The reader of plain data: what a person wrote wrongly is named by file, key and remedy."""

from collections.abc import Callable
from pathlib import Path

import pytest

from calib_model.core.plain_reader import Given, read_toml
from calib_model.errors import FileProblem
from calib_model.rules.sheet import parse_sheet
from calib_model.session.programme import parse_programme
from calib_model.vehicle.manoeuvre_file import parse_manoeuvres

TEXT = """
name = "Larch"
[body]
mass = 1700
open = true
[[part]]
kind = "plate"
"""


def _body(text: str = TEXT) -> Given:
    return read_toml(text, "van.toml").table("body")["body"]


def test_values_are_read_as_they_are_asked_for() -> None:
    given = read_toml(TEXT, "van.toml").known(("name", "body", "part"), "name")
    assert given["name"].text() == "Larch"
    body = given["body"].table("mass")
    assert body["mass"].number(0, 2000) == 1700.0
    assert body["open"].flag() is True
    (part,) = given["part"].listed()
    assert part.table()["kind"].choice(("plate", "cone")) == "plate"


@pytest.mark.parametrize(
    ("ask", "says"),
    [
        (lambda b: b.table("length"), "body.length: It is missing. Add length."),
        (lambda b: b.known(("masse", "open")), "body.mass: There is no such setting. Did you mean"),
        (lambda b: b.table()["mass"].number(0, 9), "body.mass: 1700 cannot be. Give 0 to 9."),
        (lambda b: b.table()["open"].number(), "body.open: True is no number."),
        (lambda b: b.table()["mass"].text(), "body.mass: 1700 is no text."),
        (lambda b: b.table()["mass"].flag(), "body.mass: It is neither true nor false."),
        (lambda b: b.table()["mass"].listed(), "body.mass: This is no list."),
        (lambda b: b.table()["mass"].table(), "body.mass: This is no section."),
        (lambda b: b.table()["mass"].choice(("a", "b"), "kind"), "body.mass: 1700 is no kind. Use"),
        (lambda b: Given("x" * 9, b.file, "k").text(8), "k: It has more than 8 characters."),
        (lambda b: Given([1, 2], b.file, "k").listed(most=1), "k: It has more than 1 entries."),
    ],
)
def test_what_is_wrong_is_named_with_file_key_and_remedy(
    ask: Callable[[Given], object], says: str
) -> None:
    with pytest.raises(FileProblem) as caught:
        ask(_body())
    assert str(caught.value).startswith(f"van.toml: {says}")
    assert caught.value.remedy


def test_a_slip_in_the_text_is_named_by_line_and_column() -> None:
    with pytest.raises(FileProblem) as caught:
        read_toml("a = 1\nb = yes\n", "van.toml")
    assert caught.value.place == "line 2, column 5"


# Python shows whole numbers of up to 4,300 decimal digits, but reads hexadecimal ones of any length
# (its documentation, "Integer string conversion length limitation", from memory).
_LONG = f"0x{'f' * 5000}"


@pytest.mark.parametrize(
    "read",
    [
        lambda: parse_manoeuvres(f"[limits]\nlaunch_snow = {{ time_to_30 = {_LONG} }}"),
        lambda: parse_programme(f"signers = {_LONG}", Path("larch.toml")),
        lambda: parse_sheet(f"sheet = {_LONG}"),
        lambda: parse_programme(f"{'a.' * 5000}a = 1", Path("larch.toml")),
    ],
    ids=["manoeuvres", "programme", "sheet", "nested"],
)
def test_a_number_too_long_to_be_shown_is_refused_in_words(read: Callable[[], object]) -> None:
    with pytest.raises(FileProblem):
        read()
