"""Tables of other files come in by the page that shows what was understood of them."""

from __future__ import annotations

import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QMimeData, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QWidget

from app.bringing.dialog import BringInDialog
from app.bringing.offer import DOUBTFUL, OUT, SURE, UNREAD, Offer
from app.bringing.reading import paths_of
from app.shell.window import MainWindow
from calib_model.bringing.understanding import understand
from calib_model.errors import FileProblem
from calib_model.store import read_set_here
from tests.reading_here import read_here

GRID = "Pedal [%]\\Speed [km/h],0,50,100\n0,1,2,3\n100,4,5,6\n"
CURVE = "Oil [degC];Factor [-]\n-20,5;0,25\n0;0,5\n40;1\n"


@pytest.fixture
def here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Read files in this process."""
    read_here(monkeypatch)


def _write(folder: Path, **files: str) -> Path:
    folder.mkdir(exist_ok=True)
    for name, text in files.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def _page(window: MainWindow, qtbot, paths: Sequence[Path]) -> BringInDialog:  # type: ignore[no-untyped-def]
    window.bring_in(paths)
    page = window.bringing.page
    assert page is not None
    qtbot.waitUntil(lambda: page.offer is not None and not window.jobs.running, timeout=15_000)
    return page


def _groups(page: BringInDialog) -> dict[str, list[str]]:
    assert page.offer is not None
    found: dict[str, list[str]] = {}
    for row in page.offer.rows():
        found.setdefault(row.group, []).append(row.title)
    return found


def test_what_is_understood_is_shown_in_groups_and_a_bad_file_leaves_the_rest(
    window: MainWindow, tmp_path: Path, qtbot, here: None
) -> None:
    folder = _write(
        tmp_path / "in", torque=GRID, factor=CURVE,
        text=GRID.replace("4,5", "4,five"), words="only words\nand more\n",
    )  # fmt: skip
    (folder / "bad.xlsx").write_bytes(b"PK no spreadsheet")
    page = _page(window, qtbot, [folder])
    groups = _groups(page)
    assert groups[UNREAD] == ["bad.xlsx"]
    assert groups[DOUBTFUL] == ["text"]
    assert groups[SURE] == ["Factor", "torque"]
    assert groups[OUT] == ["words.csv, lines 1 to 2"] or len(groups[OUT]) == 1
    doubt = next(row for row in page.offer.rows() if row.group == DOUBTFUL)
    assert "'five' stands in line 3, column 3" in doubt.doubts[0].why
    assert not page.act.isEnabled()
    page.accept()
    assert page.isVisible(), "nothing doubtful is taken unseen"
    assert window.desk.documents == []


def test_leaving_out_what_is_blocked_takes_the_rest_as_one_undoable_change(
    window: MainWindow, tmp_path: Path, qtbot, wait, here: None
) -> None:
    folder = _write(tmp_path / "in", torque=GRID, text=GRID.replace("4,5", "4,five"))
    page = _page(window, qtbot, [folder])
    page.drop_blocked.click()
    page.about["programme"].setText("Larch")
    page.accept()
    wait()
    document = window.desk.current
    assert document is not None
    assert list(document.content.tables) == ["torque"]
    assert document.content.programme == "Larch"
    np.testing.assert_array_equal(document.content["torque"].values, [[1, 2, 3], [4, 5, 6]])
    assert document.is_modified
    assert len(document.pending) == 1
    document.undo()
    assert not document.content.tables


def test_cancelling_takes_nothing_and_what_was_chosen_is_remembered(
    window: MainWindow, tmp_path: Path, qtbot, here: None
) -> None:
    folder = _write(tmp_path / "in", torque=GRID)
    page = _page(window, qtbot, [folder])
    page.form.unit.setText("N.m")
    page.form.unit.editingFinished.emit()
    page.reject()
    assert window.desk.documents == []
    again = _page(window, qtbot, [folder])
    assert again.offer is not None
    assert again.offer.taken[0].draft.table.unit == "N.m"
    again.reject()


def test_a_choice_counts_for_all_alike_if_asked(
    window: MainWindow, tmp_path: Path, qtbot, here: None
) -> None:
    folder = _write(tmp_path / "in", one=GRID, two=GRID.replace("6", "7"), factor=CURVE)
    page = _page(window, qtbot, [folder])
    assert page.offer is not None
    drafts = {d.table.id: d for d in page.offer.understood.tables}
    page.list.go(page.list.rows.index_of((drafts["one"].source, drafts["one"].key)))
    assert "all 2 alike" in page.form.alike.text().replace("&", "")
    page.form.alike.setChecked(True)
    page.form.unit.setText("N.m")
    page.form.unit.editingFinished.emit()
    page.form.axes[0].name.setText("Accelerator")
    page.form.axes[0].name.editingFinished.emit()
    tables = {d.table.id: d.table for d in page.offer.understood.tables}
    assert [tables[i].unit for i in ("one", "two", "Factor")] == ["N.m", "N.m", "-"]
    assert [tables[i].axes[0].name for i in ("one", "two")] == ["Accelerator"] * 2
    page.reject()


def test_turning_the_axes_takes_their_choices_along(tmp_path: Path, here: None) -> None:
    offer = Offer(understand([_write(tmp_path / "in", one=GRID)]))
    draft = offer.understood.tables[0]
    offer.choose_axis([draft], 0, name="Accelerator")
    offer.choose([offer.understood.tables[0]], turned=True)
    table = offer.understood.tables[0].table
    assert [axis.name for axis in table.axes] == ["Speed", "Accelerator"]
    assert table.shape == (3, 2)


def test_a_decimal_mark_that_could_be_either_is_asked_for_and_read_anew(
    window: MainWindow, tmp_path: Path, qtbot, wait, here: None
) -> None:
    folder = _write(tmp_path / "in", gain="x;1,234\n0;1,111\n1;2,222\n2;3,456\n")
    page = _page(window, qtbot, [folder])
    buttons = {button.text(): button for button in page.doubts.buttons}
    buttons["Decimal point"].click()
    wait(lambda: page._job is None)
    assert page.offer is not None
    assert not page.offer.doubtful
    assert page.offer.taken[0].draft.table.values.max() > 1000
    page.reject()


def test_how_a_file_is_read_can_be_chosen_and_a_choice_that_fails_is_told(
    window: MainWindow, tmp_path: Path, qtbot, wait, here: None
) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    text = "Temp\N{DEGREE SIGN} [degC];Gain [-]\n0;1.5\n1;2\n2;3\n"
    (folder / "gain.csv").write_bytes(text.encode("cp1252"))
    page = _page(window, qtbot, [folder])
    box = page.form.file["encoding"]
    box.setCurrentIndex(box.findData("utf-8"))
    box.activated.emit(box.currentIndex())
    wait(lambda: page._job is None)
    assert "not utf-8 text" in page.told.text()
    assert box.currentData() is None, "what is shown is what counts"
    box.setCurrentIndex(box.findData("cp1252"))
    box.activated.emit(box.currentIndex())
    wait(lambda: page._job is None)
    assert page.offer is not None
    assert page.offer.understood.layout.files[0].encoding == "cp1252"
    assert page.offer.taken[0].draft.table.axes[0].name == "Temp\N{DEGREE SIGN}"
    page.reject()


def test_numbers_of_an_axis_can_be_given_names(
    window: MainWindow, tmp_path: Path, qtbot, here: None
) -> None:
    page = _page(window, qtbot, [_write(tmp_path / "in", one=GRID)])
    line = page.form.axes[0].labels
    line.setText("0 off, 100 full")
    line.editingFinished.emit()
    assert page.offer is not None
    assert page.offer.taken[0].draft.table.axes[0].labels.name(100) == "full"
    page.reject()


def test_tables_that_claim_one_id_can_be_named_by_their_files(tmp_path: Path, here: None) -> None:
    folder = _write(tmp_path / "in", cold=CURVE, warm=CURVE.replace("0,25", "0,75"))
    offer = Offer(understand([folder]))
    assert len(offer.blocked) == 2
    offer.name_by_files()
    assert sorted(row.draft.table.id for row in offer.taken if row.draft) == ["cold", "warm"]
    assert not offer.doubtful


def test_into_an_open_set_what_comes_is_told_apart_and_taken_as_one_change(
    opened: MainWindow, tmp_path: Path, qtbot, wait, here: None
) -> None:
    document = opened.desk.current
    assert document is not None
    curve = next(t for t in document.content if len(t.axes) == 1 and not t.axes[0].labels)
    x = curve.axes[0]
    lines = [f"{x.name} [{x.unit}],{curve.id} [{curve.unit}]"]
    lines += [f"{float(a)!r},{float(v) + 1!r}" for a, v in zip(x.values, curve.values, strict=True)]
    folder = _write(tmp_path / "in", changed="\n".join(lines) + "\n", brand_new=GRID)
    page = _page(opened, qtbot, [folder])
    page.target.setCurrentIndex(page.target.findData(document))
    page.target.activated.emit(page.target.currentIndex())
    groups = _groups(page)
    assert groups["New"] == ["brand_new"]
    assert groups["Changed"] == [curve.label]
    assert len(groups["In the set only"]) == len(document.content) - 1
    gone = next(row for row in page.offer.rows() if row.id)
    page._turn_over(gone)
    before = len(document.content)
    page.accept()
    wait()
    assert "brand_new" in document.content.tables
    assert gone.id not in document.content.tables
    assert len(document.content) == before
    np.testing.assert_allclose(document.content[curve.id].values, curve.values + 1)
    document.undo()
    assert document.content == document.saved_content


def test_a_table_of_the_set_under_another_name_is_asked_for(
    opened: MainWindow, tmp_path: Path, qtbot, wait, here: None
) -> None:
    document = opened.desk.current
    assert document is not None
    curve = next(t for t in document.content if len(t.axes) == 1 and not t.axes[0].labels)
    x = curve.axes[0]
    lines = [f"{x.name} [{x.unit}],foreign_name [{curve.unit}]"]
    lines += [f"{float(a)!r},{float(v)!r}" for a, v in zip(x.values, curve.values, strict=True)]
    page = _page(opened, qtbot, [_write(tmp_path / "in", any="\n".join(lines) + "\n")])
    page.target.setCurrentIndex(page.target.findData(document))
    page.target.activated.emit(page.target.currentIndex())
    assert _groups(page)["Perhaps renamed"] == ["foreign_name"]
    assert not page.act.isEnabled()
    page.list.go(page.list.rows.first(doubtful=True))
    next(button for button in page.doubts.buttons if button.text() == curve.id).click()
    assert _groups(page)["Same as in the set"] == [curve.label]
    assert not page.act.isEnabled(), "what is the same brings nothing"
    page.accept()
    assert "nothing to take" in page.told.text()
    page.reject()
    assert document.content == document.saved_content


def test_a_layout_is_saved_and_loaded(
    window: MainWindow, tmp_path: Path, qtbot, wait, here: None
) -> None:
    folder = _write(tmp_path / "in", torque=GRID)
    page = _page(window, qtbot, [folder])
    page.form.id.setText("launch_torque")
    page.form.id.editingFinished.emit()
    page.keep_layout(tmp_path / "layout.toml")
    page.reject()
    window.bringing._layout = type(page.chosen_layout)()
    page = _page(window, qtbot, [folder])
    page.use_layout(tmp_path / "layout.toml")
    wait(lambda: page._job is None)
    assert [row.draft.table.id for row in page.offer.taken if row.draft] == ["launch_torque"]
    page.use_layout(folder / "torque.csv")
    assert "TOML" in page.told.text()
    page.reject()


def test_giving_the_reading_up_takes_nothing(
    window: MainWindow, tmp_path: Path, qtbot, wait
) -> None:
    folder = _write(tmp_path / "in", **{f"t{n}": GRID for n in range(40)})
    window.bring_in([folder])
    page = window.bringing.page
    assert page is not None
    page.stop.click()
    wait()
    assert page.offer is None
    assert "given up" in page.told.text()
    page.reject()


def test_a_folder_of_nothing_says_so(window: MainWindow, tmp_path: Path, qtbot, here: None) -> None:
    (tmp_path / "in").mkdir()
    page = _page(window, qtbot, [tmp_path / "in"])
    assert "Nothing in these files" in page.legend.text()
    assert not page.act.isEnabled()
    page.reject()


def test_a_line_names_a_folder_a_file_or_a_pattern(tmp_path: Path) -> None:
    _write(tmp_path, a=GRID, b=GRID)
    assert paths_of(str(tmp_path)) == [tmp_path]
    assert [p.name for p in paths_of(str(tmp_path / "*.csv"))] == ["a.csv", "b.csv"]
    with pytest.raises(FileProblem, match="no such file"):
        paths_of(str(tmp_path / "none.csv"))


def _drop(window: MainWindow, *paths: Path) -> None:
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(path)) for path in paths])
    window.dropEvent(
        QDropEvent(
            QPointF(5, 5), Qt.DropAction.CopyAction, data, Qt.MouseButton.LeftButton,
            Qt.KeyboardModifier.NoModifier,
        )
    )  # fmt: skip


def test_dropped_tables_are_offered_and_a_dropped_drive_still_goes_to_road(
    window: MainWindow, tmp_path: Path, qtbot, wait, here: None
) -> None:
    shown: list[Path] = []
    window.files._show_recordings = shown.extend  # type: ignore[method-assign]
    _write(tmp_path, torque=GRID)
    drive = tmp_path / "drive.csv"
    drive.write_text("time [s],speed [km/h]\n" + "".join(f"{n / 10},{n}\n" for n in range(50)))
    _drop(window, tmp_path / "torque.csv", drive)
    wait(lambda: window.bringing.page is not None and window.bringing.page.offer is not None)
    page = window.bringing.page
    assert page is not None
    assert shown == [drive]
    assert [row.title for row in page.offer.taken] == ["torque"]
    page.reject()


def test_the_notice_about_a_foreign_file_leads_to_the_page(
    window: MainWindow, tmp_path: Path, qtbot, wait
) -> None:
    import h5py

    path = tmp_path / "foreign.h5"
    with h5py.File(path, "w") as file:
        file["pedal"] = [0.0, 50.0, 100.0]
        file["pedal"].make_scale("pedal")
        file["torque"] = [1.0, 2.0, 3.0]
        file["torque"].dims[0].attach_scale(file["pedal"])
    window.files.open([path])
    wait(lambda: bool(window.banners.banners))
    banner = next(iter(window.banners.banners.values()))
    button = next(b for b in banner.findChildren(_button_type()) if "tables" in b.text())
    button.click()
    wait(lambda: window.bringing.page is not None and window.bringing.page.offer is not None)
    page = window.bringing.page
    assert page is not None
    assert [row.title for row in page.offer.taken] == ["torque"]
    page.reject()


def _button_type() -> type:
    from PySide6.QtWidgets import QAbstractButton

    return QAbstractButton


# -- by keyboard ---------------------------------------------------------------------------------


class Keys:
    """Presses keys on whatever has the keyboard, and counts those that are no name."""

    def __init__(self, window: MainWindow) -> None:
        self.count = 0
        self._window = window

    @property
    def target(self) -> QWidget:
        """What has the keyboard in the window in front."""
        top: QWidget = self._window.bringing.page or self._window
        return top.focusWidget() or top

    def press(self, key: Qt.Key, modifier: Qt.KeyboardModifier | None = None) -> None:
        self.count += 1
        QTest.keyClick(self.target, key, modifier or Qt.KeyboardModifier.NoModifier)

    def name(self, text: str) -> None:
        QTest.keyClicks(self.target, text)


def write_by_pandas(folder: Path, count: int) -> None:
    """Write tables in three layouts: a grid, long form, and curves with decimal commas."""
    pd = pytest.importorskip("pandas")
    folder.mkdir()
    pedal, speed = np.linspace(0, 100, 6), np.linspace(0, 250, 9)
    for number in range(count):
        values = np.round(np.add.outer(pedal, speed) * (1 + number / 100), 2)
        path = folder / f"map_{number:03d}.csv"
        down = pd.Index(pedal, name="Pedal [%]")
        if number % 3 == 0:
            pd.DataFrame(values, down, speed).to_csv(path)
        elif number % 3 == 1:
            frame = pd.DataFrame(values, down, pd.Index(speed, name="Speed [km/h]"))
            frame.stack().rename("Torque [Nm]").reset_index().to_csv(path, index=False)
        else:
            frame = pd.DataFrame({"Oil [degC]": speed - 40.5, "Factor [-]": values[0] / 1000})
            frame.to_csv(path, index=False, sep=";", decimal=",")


@pytest.mark.window
def test_a_folder_becomes_a_saved_set_by_keyboard(
    window: MainWindow, tmp_path: Path, qtbot, wait, answers
) -> None:
    count = 300
    write_by_pandas(tmp_path / "in", count)
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    keys = Keys(window)
    alt, ctrl = Qt.KeyboardModifier.AltModifier, Qt.KeyboardModifier.ControlModifier
    keys.press(Qt.Key.Key_V, ctrl | Qt.KeyboardModifier.ShiftModifier)
    page = window.bringing.page
    assert page is not None
    qtbot.waitExposed(page)
    page.activateWindow()
    qtbot.waitUntil(page.isActiveWindow)
    keys.name(str(tmp_path / "in"))
    keys.press(Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: page.offer is not None and page._job is None, timeout=30_000)
    begun = time.perf_counter()
    page._show_offer()
    page.repaint()
    assert time.perf_counter() - begun < 1.0, "the page of 300 tables, once they are read"
    if page.by_files.isVisible():
        keys.press(Qt.Key.Key_N, alt)
        qtbot.waitUntil(lambda: not page.by_files.isVisible())
    if page.confirm_all.isVisible():
        keys.press(Qt.Key.Key_F, alt)
        qtbot.waitUntil(lambda: not page.confirm_all.isVisible())
    assert page.offer is not None
    assert not page.offer.doubtful, [row.doubts for row in page.offer.doubtful][:3]
    keys.press(Qt.Key.Key_Return, ctrl)
    wait(lambda: window.desk.current is not None)
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    answers.save_to = tmp_path / "brought.h5"
    keys.press(Qt.Key.Key_S, ctrl)
    wait(lambda: answers.save_to.is_file())
    from calib_model.store.source import Stamp

    content = read_set_here(
        answers.save_to.read_bytes(), answers.save_to, Stamp.of(answers.save_to.stat())
    ).set
    assert len(content) == count
    assert content["map_002"].axes[0].unit == "degC"
    np.testing.assert_array_equal(content["map_002"].axes[0].values[:2], [-40.5, -9.25])
    assert keys.count <= 8, f"{keys.count} key strokes besides the name of the folder"
