"""The window checks a set with the programme beside it, and takes nobody's word from a folder."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import calib_model
from app.release.page import ReleasePage
from app.shell.window import MainWindow
from calib_model.core.record import Level, Outcome
from calib_model.editing.change import values_change
from tests.release_page.conftest import AUTHOR, REVIEWER, SAMPLES

Opened = Callable[..., ReleasePage]
Wait = Callable[..., None]


@pytest.fixture(autouse=True)
def machine(samples: dict[str, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine on which nothing was confirmed yet; and the low-grip set as it ships."""
    shutil.copy(SAMPLES / "larch_low_grip.h5", samples["low_grip"])
    monkeypatch.setenv("BITEPOINT_STATE_DIR", str(tmp_path / "state"))


def modes(window: MainWindow) -> set[str]:
    report = window.desk.report
    assert report is not None
    return {f.mode for f in report.findings if f.rule == "mode_relation"}


@pytest.mark.usefixtures("reading_process")
def test_a_set_opened_by_itself_is_checked_with_its_programme(
    window: MainWindow, opened: Opened, samples: dict[str, Path], wait: Wait
) -> None:
    page = opened("normal")
    assert modes(window) == {"low_grip"}, "the two breaches of the demo scenario"
    assert "larch.toml names this set" in window.company.words
    assert "Checked against: low_grip, towing (larch.toml)." in page.progress.text()
    # Another program changes a sibling: what it says now counts.
    towing = calib_model.open_set(samples["towing"])
    lower = np.zeros_like(towing["pre_engage_torque"].values)
    content = calib_model.edit(towing, "pre_engage_torque", lower)
    calib_model.save_set(content, samples["towing"], author="Olu")
    wait(lambda: window.desk.report is not None and "towing" in modes(window))
    # A programme file that is taken away is missed.
    (samples["normal"].parent / "larch.toml").unlink()
    wait(lambda: window.desk.report is not None and not window.desk.report.complete)
    assert window.company.words == ""


def test_an_open_sibling_counts_as_it_is_in_the_window(
    window: MainWindow, opened: Opened, wait: Wait
) -> None:
    opened("normal", "towing")
    window.show_area("tune")
    base, towing = window.desk.documents
    assert modes(window) == {"low_grip"}
    table = towing.content["pre_engage_torque"]
    towing.do(values_change(table, np.zeros_like(table.values), "Lower it"))
    wait(lambda: window.desk.report is not None and "towing" in modes(window))
    assert window.desk.current is base
    towing.undo()
    wait(lambda: window.desk.report is not None and modes(window) == {"low_grip"})


def test_told_to_check_alone_it_says_what_is_not_checked(
    window: MainWindow, opened: Opened, wait: Wait
) -> None:
    opened("normal")
    action = window.book.actions["sets.alone"]
    action.trigger()
    wait(lambda: window.desk.report is not None and not window.desk.report.complete)
    assert modes(window) == set()
    window.refresh()
    assert action.isChecked()
    action.trigger()
    wait(lambda: window.desk.report is not None and modes(window) == {"low_grip"})


def test_signers_of_the_folder_count_once_they_were_confirmed(
    window: MainWindow, opened: Opened, samples: dict[str, Path], wait: Wait
) -> None:
    page = opened("normal_signed")
    assert page.standings.standing is not None
    assert page.standings.standing.known.signers is None
    assert "not confirmed on this machine" in page.notice.text()
    page.notice.button.click()
    assert page.trust.isVisible(), "the notice leads to what is to be confirmed"
    assert window.focusWidget() is page.trust.confirm
    area = page.tabs.currentWidget().viewport()
    corner = page.trust.confirm.rect().bottomLeft()
    wait(lambda: page.trust.confirm.mapTo(area, corner).y() <= area.height())
    assert "may sign: reviewer A with key SHA256:" in page.trust.used.text()
    assert not page.trust.confirm.isHidden()
    page.trust.confirm.click()
    wait(lambda: page.standings.standing.known.signers is not None)
    assert page.trust.confirm.isHidden()
    assert page.standings.standing.gate.changed == {}, "the reviewer's sign-off counts now"
    # Another list is asked for again.
    with (samples["normal"].parent / "allowed_signers").open("a", encoding="utf-8") as file:
        file.write("# one more\n")
    page.check_again()
    wait(lambda: page.standings.standing.known.signers is None)
    assert "others than were confirmed" in page.notice.text()
    assert page.standings.standing.gate.blocking()[0].kind


def test_the_author_is_asked_for_another_person(
    window: MainWindow, opened: Opened, wait: Wait
) -> None:
    page = opened("normal")
    document = window.desk.current
    assert document is not None
    table = document.content["slip_gain"]
    document.do(values_change(table, table.values, "Nothing"))
    document.do(values_change(table, np.maximum(table.values - 1.0, 0.0), "Lower it"))
    wait()
    form = page.act.decide

    def accept(name: str) -> None:
        page.list.choose_view(page.list.shown)
        form.tables, form.outcome = ["slip_gain"], Outcome.ACCEPTED
        form.needs_comment = form.with_key = False
        form.by.setText(name)
        page.acts._decide()
        wait()

    assert page.standings.standing.gate.authors["slip_gain"] == (AUTHOR,)
    accept(AUTHOR.upper())
    assert "cannot accept" in form.answer.text()
    assert "slip_gain" not in document.content.record.latest_decisions
    accept(REVIEWER)
    assert document.content.record.latest_decisions["slip_gain"].by == REVIEWER
    level = page.act.level
    level.show_tables(document.content, ["slip_gain"], AUTHOR)
    level.level.setCurrentIndex(level.level.findData(Level.DRIVEN))
    page.acts._level()
    assert "cannot be called driven" in level.answer.text()
    assert not document.content.record.maturities
