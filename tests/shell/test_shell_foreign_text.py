"""What a file says is shown as plain text, everywhere: no name becomes markup that Qt acts upon.

The bait is what Qt would guess to be rich text: an image in a file that stays open for ever (a
FIFO). Whoever made rich text of it would read that file, and hang.
"""

from __future__ import annotations

import ast
import os
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import QAbstractItemModel, QAbstractListModel, QEvent, QModelIndex, Qt
from PySide6.QtGui import Qt as GuiQt
from PySide6.QtWidgets import (
    QAbstractItemView,
    QApplication,
    QGraphicsTextItem,
    QGraphicsView,
    QLabel,
    QMessageBox,
    QTextEdit,
    QWidget,
)

from app.plain import PlainLabel, RichLabel, plain_tip
from app.shell.prompts import Prompts
from app.shell.window import MainWindow
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.record import (
    Complaint,
    Decision,
    Drive,
    Level,
    Maturity,
    Outcome,
    Record,
    Remark,
    Trial,
    Waiver,
)
from calib_model.session.document import Document
from calib_model.session.files import document_of
from calib_model.store import read_set_here, write_set
from calib_model.store.source import Stamp

APP = Path(__file__).resolve().parents[2] / "app"
K = Qt.Key
CONTROL = Qt.KeyboardModifier.ControlModifier


@pytest.fixture
def bait(tmp_path: Path) -> str:
    """Markup that would make whoever reads it as markup wait for ever."""
    os.mkfifo(tmp_path / "fifo")
    return f'<img src="{tmp_path / "fifo"}">'


def hostile(content: CalibrationSet, bait: str) -> CalibrationSet:
    """The set with the bait in every text that a file may hold."""
    axes = {
        id: replace(axis, name=f"{bait}{axis.name}") for id, axis in content.shared_axes.items()
    }
    tables = []
    for table in content:
        mine = [
            axes[axis.shared] if axis.shared else replace(axis, name=f"{bait}{axis.name}")
            for axis in table.axes
        ]
        tables.append(
            replace(
                table,
                axes=tuple(mine),
                name=f"{bait}{table.name}",
                function=f"{bait}{table.function}",
                description=f"{bait}{table.description}",
                unit=table.unit if table.role else f"{bait}{table.unit}",
                rules=tuple(replace(rule, reason=f"{bait}{rule.reason}") for rule in table.rules),
                # The first is out of order: a finding, with the rule's reason.
                **({"values": table.values[::-1]} if len(tables) == 3 else {}),
            )
        )
    first = content[next(iter(content.tables))].id
    said = {"table": first, "time": "2026-01-10T08:00:00Z"}
    record = Record(
        remarks=(Remark(text=bait, author=bait, **said),),
        waivers=(Waiver(reason=bait, author=bait, approver=f"{bait}x", **said),),
        decisions=(Decision(outcome=Outcome.QUERIED, by=bait, comment=bait, **said),),
        maturities=(Maturity(level=Level.DRIVEN, by=bait, note=bait, **said),),
        trials=(Trial(vehicle=bait, trip=bait, expires="2030-01-01", by=bait, changed=(bait,)),),
        complaints=(
            Complaint(number=bait, note=bait, by=bait, recording=bait, answer=bait,
                      tables=(first, bait)),
        ),
        drives=(Drive(name=bait, by=bait, visits="{}"),),
    )  # fmt: skip
    about = {key: f"{bait}{value}" for key, value in content.about().items()}
    about |= {"mode": content.mode, "base_mode": content.base_mode}
    return replace(content, tables=tables, shared_axes=axes, record=record, **about)


def texts_of(widget: QWidget) -> Iterator[tuple[str, str]]:
    """What a widget has Qt guess at, or holds as rich text: where, and the text."""
    name = f"{type(widget).__name__} {widget.accessibleName()[:40]!r}"
    for what in ("toolTip", "statusTip", "whatsThis"):
        text = getattr(widget, what)()
        if GuiQt.mightBeRichText(text):
            yield f"{name}.{what}", text
    if isinstance(widget, QLabel) and (
        widget.textFormat() == Qt.TextFormat.RichText
        or (widget.textFormat() != Qt.TextFormat.PlainText and GuiQt.mightBeRichText(widget.text()))
    ):
        yield f"{name}.text", widget.text()
    if isinstance(widget, QTextEdit):
        yield f"{name}.html", widget.toHtml()
    if isinstance(widget, QAbstractItemView) and widget.model() is not None:
        yield from ((f"{name}.tip", text) for text in tips_of(widget.model()))
    if isinstance(widget, QGraphicsView) and widget.scene() is not None:
        for item in widget.scene().items():
            if isinstance(item, QGraphicsTextItem):
                yield f"{name}.item", item.toHtml()
            if GuiQt.mightBeRichText(item.toolTip()):
                yield f"{name}.item tip", item.toolTip()
    for action in widget.actions():
        if GuiQt.mightBeRichText(action.toolTip()):
            yield f"{name}.action {action.text()}", action.toolTip()


def columns_of(model: QAbstractItemModel, parent: QModelIndex) -> int:
    # Qt hides the number of a list's columns: it is one.
    return 1 if isinstance(model, QAbstractListModel) else model.columnCount(parent)


def tips_of(model: QAbstractItemModel) -> Iterator[str]:
    role, nowhere = Qt.ItemDataRole.ToolTipRole, QModelIndex()
    found = [
        model.headerData(section, way, role)
        for way, count in (
            (Qt.Orientation.Horizontal, columns_of(model, nowhere)),
            (Qt.Orientation.Vertical, model.rowCount(nowhere)),
        )
        for section in range(min(count, 60))
    ]
    parents = [nowhere]
    parents += [model.index(row, 0) for row in range(min(model.rowCount(nowhere), 60))]
    for parent in parents:
        found += [
            model.index(row, column, parent).data(role)
            for row in range(min(model.rowCount(parent), 60))
            for column in range(min(columns_of(model, parent), 20))
        ]
    return (text for text in found if isinstance(text, str) and GuiQt.mightBeRichText(text))


def swallowed(bait: str) -> list[str]:
    """Where the bait is part of what Qt reads as markup, in any window."""
    found = []
    for widget in QApplication.allWidgets():
        for where, text in texts_of(widget):
            if bait in text or "<img" in text:
                found.append(f"{where}: {text[:200]!r}")
    return found


def test_the_walk_finds_what_is_swallowed(qtbot, bait: str) -> None:  # type: ignore[no-untyped-def]
    label = QLabel()  # never shown, so never laid out
    qtbot.addWidget(label)
    label.setToolTip(bait)
    assert len(swallowed(bait)) == 1
    label.setText(bait)
    assert len(swallowed(bait)) == 2


def test_no_page_makes_markup_of_what_a_set_says(
    window: MainWindow, samples: dict[str, Path], tmp_path: Path, bait: str, qtbot, wait
) -> None:
    # Files whose names are bait as well, one beside a folder that ends its name in markup.
    folder = tmp_path / "<img src=x>"
    folder.mkdir()
    documents: list[Document] = []
    for name in ("practice", "normal"):
        content = hostile(
            read_set_here(samples[name].read_bytes(), samples[name],
                          Stamp.of(samples[name].stat())).set, bait,
        )  # fmt: skip
        path = folder / f"<b>{name}<img src=y>.h5"
        write_set(path, content)
        stored = read_set_here(path.read_bytes(), path, Stamp.of(path.stat()))
        window.files.take_in(document_of(stored, path, bait))
        window.settings.add_recent(path)
        documents.append(window.desk.documents[-1])
    window.settings.author = bait
    wait(lambda: window.desk.report is not None)
    assert swallowed(bait) == []
    for table in list(documents[-1].content.tables)[:6]:
        window.desk.open_table(table)
        wait()
        assert swallowed(bait) == [], table
    for key in (K.Key_1, K.Key_2, K.Key_3, K.Key_5, K.Key_6, K.Key_7, K.Key_8, K.Key_4, K.Key_1):
        qtbot.keyClick(window, key, CONTROL)
        wait()
        for view in window.findChildren(QAbstractItemView):
            if (
                view.isVisible()
                and view.model() is not None
                and view.model().rowCount(QModelIndex())
            ):
                view.setCurrentIndex(view.model().index(0, 0))
        wait()
        QApplication.sendPostedEvents(None, QEvent.Type.LayoutRequest)
        window.grab()
        assert swallowed(bait) == [], f"after Ctrl+{key.name[-1]}"
    for text in (bait, f"\u26a0 {bait}"):
        window.desk.told.emit(text, True)
        window.banners.show_banner("hostile", text, (text, lambda: None))
        wait()
        window.grab()
        assert swallowed(bait) == []
    # And nobody waits at the other end of the pipe.
    with pytest.raises(OSError):  # ENXIO: no reader
        os.open(tmp_path / "fifo", os.O_WRONLY | os.O_NONBLOCK)


def test_questions_show_markup_as_it_is(qtbot, bait: str, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    parent = QWidget()
    qtbot.addWidget(parent)
    seen: list[str] = []

    def look(box: QMessageBox) -> int:
        seen.extend(swallowed(bait))
        assert box.findChildren(QLabel)
        return 0

    monkeypatch.setattr(QMessageBox, "exec", look)
    Prompts(parent).save_first(bait, 2)
    Prompts(parent).confirm(bait, bait, "Go")
    assert seen == []


def test_labels_and_tips_say_what_they_were_given(qtbot, bait: str) -> None:  # type: ignore[no-untyped-def]
    label = PlainLabel(f"{bait}\u202eabc\x1b[2K")
    qtbot.addWidget(label)
    assert label.text() == f"{bait}\\u202eabc\\x1b[2K"
    assert label.textFormat() == Qt.TextFormat.PlainText
    rich = RichLabel("<b>own</b>")
    qtbot.addWidget(rich)
    assert rich.textFormat() == Qt.TextFormat.RichText
    assert plain_tip("5 < 6 & 7") == "5 < 6 & 7"
    assert "&lt;img" in plain_tip(bait)
    assert plain_tip(None) == ""


def _calls() -> dict[str, list[tuple[Path, ast.Call]]]:
    """Return every call in the window's code, by the name that is called."""
    found: dict[str, list[tuple[Path, ast.Call]]] = defaultdict(list)
    for path in sorted(APP.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                called = node.func
                if isinstance(called, ast.Attribute):
                    found[called.attr].append((path, node))
                elif isinstance(called, ast.Name):
                    found[called.id].append((path, node))
    return found


def _is_own(text: ast.expr) -> bool:
    """Whether a text stands in the code, or went through `plain_tip`."""
    if isinstance(text, ast.Constant):
        return True
    return isinstance(text, ast.Call) and getattr(text.func, "id", "") == "plain_tip"


def test_every_label_and_tip_in_the_code_is_plain() -> None:
    # The walk above sees what a test can open; this sees every label and tip there is.
    calls = _calls()
    bare = [f"{p.relative_to(APP)}:{c.lineno}" for p, c in calls["QLabel"] if p.name != "plain.py"]
    bare += [
        f"{p.relative_to(APP)}:{c.lineno}" for p, c in calls["setToolTip"] if not _is_own(c.args[0])
    ]
    bare += [
        f"{p.relative_to(APP)}:{c.lineno}"
        for p, c in calls["showText"]
        if len(c.args) > 1 and not _is_own(c.args[1])
    ]
    for name in ("setInformativeText", "setWhatsThis"):
        bare += [
            f"{p.relative_to(APP)}:{c.lineno}"
            for p, c in calls[name]
            if not isinstance(c.args[0], ast.JoinedStr) and not _is_own(c.args[0])
        ]
    assert bare == []
