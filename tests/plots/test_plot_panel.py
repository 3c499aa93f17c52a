"""The panel: which views stand for which table, its bar, its actions."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from PySide6.QtWidgets import QLabel

from app.desk import Desk
from app.plots.actions import ACTIONS
from app.plots.heatmap import Show
from app.plots.panel import PlotPanel
from calib_model.editing.change import values_change
from calib_model.session.document import Document
from tests.plots import demo_set as demo
from tests.waiting import settled


def shown(qtbot, desk: Desk, width: int = 700, height: int = 330) -> PlotPanel:
    panel = PlotPanel(desk)
    qtbot.addWidget(panel)
    panel.resize(width, height)
    panel.show()
    table = desk.table
    if table is not None and table.shape:
        qtbot.waitUntil(lambda: any(v.canvas is not None for v in panel.views if v.isVisible()))
    settle(panel)
    return panel


def settle(panel: PlotPanel) -> None:
    """Do now what the next turns of the event loop would do."""
    for view in panel.views:
        if view.isVisible():
            view.refresh()
    panel._gather()


@pytest.fixture
def desk() -> Desk:
    return demo.demo_desk()


def test_a_map_has_heat_map_and_slices_side_by_side(qtbot, desk) -> None:
    panel = shown(qtbot, desk)
    assert panel.heat.isVisible()
    assert panel.slices.isVisible()
    assert not panel.curve.isVisible()
    assert panel.heat.geometry().right() < panel.slices.geometry().left()
    assert panel.tabs.tabText(0) == "Map and slices"
    assert not panel.tabs.isTabVisible(1)


def test_a_narrow_panel_shows_one_at_a_time(qtbot, desk) -> None:
    panel = shown(qtbot, desk, 420, 330)
    assert panel.tabs.isVisible()
    assert panel.heat.isVisible()
    assert not panel.slices.isVisible()
    panel.tabs.setCurrentIndex(1)
    settle(panel)
    assert panel.slices.isVisible()
    assert panel.slices.canvas is not None
    panel.resize(420, 640)
    settle(panel)
    assert panel.heat.isVisible()
    assert panel.slices.isVisible()
    qtbot.waitUntil(lambda: panel.heat.y() < panel.slices.y())


def test_curves_and_scalars_have_their_own(qtbot, desk) -> None:
    panel = shown(qtbot, desk)
    desk.open_table("pre_engage_fade")
    settle(panel)
    assert panel.curve.isVisible()
    assert panel.curve.canvas.isVisible()
    assert not panel.mode_choice.isVisible()
    desk.open_table("sync_window")
    settle(panel)
    assert panel.curve.scalar.isVisible()
    desk.open_table("pre_engage_torque")
    settle(panel)
    assert panel.heat.isVisible()


def test_no_table_at_all(qtbot) -> None:
    panel = shown(qtbot, Desk())
    assert panel.curve.sentence.text().startswith("No table is open.")
    assert panel.curve.canvas is None


def test_what_is_shown_is_kept_from_table_to_table(qtbot, desk) -> None:
    panel = shown(qtbot, desk)
    panel.swap_along()
    panel.show_saved(False)
    panel.set_mode(Show.FROM_SAVED)
    desk.open_table("pre_engage_fade")
    desk.open_table("hill_torque")
    settle(panel)
    assert panel.slices.along() == 0
    assert panel.along_choice.currentText() == "Along Vehicle speed"
    assert panel.mode is Show.FROM_SAVED
    assert not panel.curve.show_saved
    assert not panel.slices.show_saved


def test_one_key_for_both_views_and_the_reading_left_to_the_page(qtbot, desk) -> None:
    panel = shown(qtbot, desk)
    desk.set_cursor((3, 6))
    settle(panel)
    assert panel.heat.accessibleDescription().startswith("−10 °C, 40 %: ")
    labels = [label for label in panel.findChildren(QLabel) if label.isVisible()]
    assert not any("−10 °C" in label.text() for label in labels)
    texts = [e.words for e in panel.legend.entries]
    assert texts[0] == "now"
    assert len(texts) == len(set(texts))
    values = desk.table.values.copy()
    values[0, 0] = float("nan")
    desk.do(values_change(desk.table, values, "Clear"))
    settle(panel)
    assert panel.note.text() == "1 cell is empty."


def test_the_key_is_never_cut_off(qtbot, desk) -> None:
    panel = shown(qtbot, desk, 420, 330)
    for width in (420, 560, 700, 1000):
        panel.resize(width, 330)
        settled(qtbot, panel)
        places = panel.legend._places(panel.legend.width())
        assert len(places) == len(panel.legend.entries)
        inside = panel.legend.rect()
        assert all(inside.contains(p) for p in places)


def test_findings_reach_every_view(qtbot, desk) -> None:
    panel = shown(qtbot, desk)
    panel.set_findings({(0, 0): ("warning", "Too low.")})
    settle(panel)
    assert panel.heat.accessibleDescription().endswith("Warning: Too low.")
    assert panel.heat._items.findings["warning"].isVisible()
    assert panel.slices._items.findings["warning"].isVisible()


def test_reference_switches_wait_for_a_reference(qtbot, desk) -> None:
    panel = shown(qtbot, desk)
    item = panel.mode_choice.model().item(2)
    assert not panel.reference_box.isEnabled()
    assert not item.isEnabled()
    reference = Document(demo.demo_set(mode="low grip"))
    desk.add(reference)
    desk.set_reference(reference)
    assert panel.reference_box.isEnabled()
    assert item.isEnabled()
    panel.set_mode(Show.FROM_REFERENCE)
    desk.set_reference(None)
    assert panel.mode is Show.VALUES


def test_the_wheel_changes_no_choice(qtbot, desk) -> None:
    from PySide6.QtCore import QPoint, QPointF, Qt
    from PySide6.QtGui import QWheelEvent
    from PySide6.QtWidgets import QApplication

    panel = shown(qtbot, desk)
    for choice in (panel.along_choice, panel.mode_choice):
        before = choice.currentIndex()
        for turn in (120, -120):
            event = QWheelEvent(
                QPointF(5, 5),
                QPointF(choice.mapToGlobal(QPoint(5, 5))),
                QPoint(),
                QPoint(0, turn),
                Qt.MouseButton.NoButton,
                Qt.KeyboardModifier.NoModifier,
                Qt.ScrollPhase.NoScrollPhase,
                False,
            )
            QApplication.sendEvent(choice, event)
            assert choice.currentIndex() == before


def test_every_action_does_what_it_says(qtbot, desk) -> None:
    panel = shown(qtbot, desk)
    reference = Document(demo.demo_set(mode="low grip"))
    desk.add(reference)
    desk.set_reference(reference)
    area = SimpleNamespace(
        turn_slices=lambda: not panel.swap_along(),
        can_show_result=True,
        show_result=panel.show_result,
        shows_result=False,
    )
    window = SimpleNamespace(plots=panel, work=area)
    rows = {a.id: a for a in ACTIONS}
    assert len(rows) == len(ACTIONS)
    assert [a.id for a in ACTIONS if not a.enabled(desk)] == ["plots.driving"]  # nothing driven
    assert all(a.tip.endswith(".") for a in ACTIONS)

    assert rows["plots.saved"].checked(window)
    rows["plots.saved"].run(window)
    assert not rows["plots.saved"].checked(window)
    assert not panel.slices.show_saved
    rows["plots.reference"].run(window)
    assert not panel.curve.show_reference
    rows["plots.turn_slices"].run(window)
    assert panel.slices.along() == 0
    for name, mode in (
        ("plots.from_saved", Show.FROM_SAVED),
        ("plots.from_reference", Show.FROM_REFERENCE),
        ("plots.values", Show.VALUES),
    ):
        rows[name].run(window)
        assert panel.heat.mode is mode
        assert rows[name].checked(window)
        assert panel.mode_choice.currentData() == mode
    settle(panel)
    panel.slices.canvas.show_range((0, 1), (0, 1))
    rows["plots.fit"].run(window)
    assert panel.slices.canvas.shown_range()[0][1] >= 50

    desk.open_table("sync_window")
    assert not rows["plots.turn_slices"].enabled(desk)
    assert not rows["plots.from_reference"].enabled(desk)


def test_the_keyboard_goes_to_the_plot_in_sight(qtbot, desk) -> None:
    panel = shown(qtbot, desk)
    qtbot.waitActive(panel)
    panel.setFocus()
    assert panel.heat.hasFocus()
    desk.open_table("pre_engage_fade")
    panel.setFocus()
    assert panel.curve.hasFocus()


def test_the_key_takes_its_room_at_once(qtbot, desk) -> None:
    panel = shown(qtbot, desk)
    settled(qtbot, panel)
    assert panel.legend.entries
    assert panel.legend.height() == panel.legend.heightForWidth(panel.legend.width()) > 0


def test_views_follow_a_closed_document(qtbot, desk) -> None:
    panel = shown(qtbot, desk)
    desk.remove(desk.current)
    settle(panel)
    assert panel.curve.isVisible()
    assert panel.curve.sentence.text().startswith("No table is open.")


def test_accessible_names_carry_units(qtbot, desk) -> None:
    panel = shown(qtbot, desk)
    assert panel.heat.accessibleName() == (
        "Heat map of Pre-engage torque, N·m, over Ambient temperature, °C and Pedal, %"
    )
    assert panel.slices.accessibleName() == "Pre-engage torque, N·m, drawn along Pedal, %"
    for widget in (panel.along_choice, panel.mode_choice, panel.tabs, panel.heat.bar):
        assert widget.accessibleName()


def test_in_a_low_panel_the_key_waits_behind_a_button(qtbot, desk) -> None:
    desk.open_table("pre_engage_fade")
    panel = shown(qtbot, desk, 260, 180)
    assert not panel.legend.isVisible()
    assert panel.key_button.isVisible()
    assert "ends held below, extrapolated above" in [e.words for e in panel.key_legend.entries]
    panel.resize(700, 330)
    settle(panel)
    assert panel.legend.isVisible()
    assert not panel.key_button.isVisible()


def test_the_surface_is_made_when_first_asked_for(qtbot, desk) -> None:
    panel = shown(qtbot, desk)
    assert panel.surface is None
    panel.set_surface_choice("off")  # nothing may touch OpenGL here
    panel.show_surface()
    assert panel.surface is not None
    assert panel.pages.currentWidget() is panel.surface
    assert panel.surface.choice == "off"
    assert not panel.heat.isVisible()
    panel.show_surface()
    assert panel.pages.currentWidget() is panel.maps
    assert panel.heat.isVisible()
    with qtbot.waitSignal(panel.surface_choice_changed):
        panel.surface.set_choice("auto")
    assert panel.surface_choice == "auto"


def test_a_panel_higher_than_wide_stands_the_plots_one_above_the_other(qtbot, desk) -> None:
    panel = shown(qtbot, desk, 800, 1200)
    settled(qtbot, panel)
    assert panel.heat.geometry().bottom() < panel.slices.geometry().top()
    panel.resize(1200, 800)
    settled(qtbot, panel)
    assert panel.heat.geometry().right() < panel.slices.geometry().left()
