"""Lists of Road: Qt's own model test, rows kept in choice, Enter takes one."""

from __future__ import annotations

from PySide6.QtCore import Qt

from app.road.rows import Column, Row, RowsView

COLUMNS = (Column("Name"), Column("Size, s", True))


def rows(*names: str) -> list[Row]:
    return [Row((name, str(len(name))), name, name == "b") for name in names]


def test_the_model_is_sound(qtbot, qtmodeltester) -> None:  # type: ignore[no-untyped-def]
    view = RowsView(COLUMNS, 0, "Things")
    qtbot.addWidget(view)
    view.show_rows(rows("a", "b", "c"))
    qtmodeltester.check(view.rows_model)
    view.show_rows(rows("d"))
    qtmodeltester.check(view.rows_model)


def test_the_choice_follows_its_key(qtbot) -> None:  # type: ignore[no-untyped-def]
    view = RowsView(COLUMNS, 0, "Things")
    qtbot.addWidget(view)
    view.show_rows(rows("a", "b", "c"))
    view.choose("b")
    view.show_rows(rows("x", "y", "a", "b"))
    assert view.chosen() == "b"
    view.show_rows(rows("x", "y"))
    assert view.chosen() in ("x", "y")
    view.show_rows([])
    assert view.chosen() is None


def test_enter_takes_a_row(qtbot) -> None:  # type: ignore[no-untyped-def]
    view = RowsView(COLUMNS, 0, "Things")
    qtbot.addWidget(view)
    view.show_rows(rows("a", "b"))
    view.choose("b")
    with qtbot.waitSignal(view.taken) as taken:
        qtbot.keyClick(view, Qt.Key.Key_Return)
    assert taken.args == ["b"]
    bold = view.rows_model.data(view.rows_model.index(1, 0), Qt.ItemDataRole.FontRole)
    assert bold.bold(), "what matters more is said by weight as well"
