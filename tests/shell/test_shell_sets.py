"""An open set has one letter and one colour while it is open; one pair for the whole window."""

from __future__ import annotations

from pathlib import Path

from app.look.chip import chip_icon, letter_of
from app.shell.window import MainWindow


def letters(window: MainWindow) -> dict[str, str]:
    return {d.title: letter_of(window.desk.number(d)) for d in window.desk.documents}


def test_letters_follow_the_order_of_asking_and_stay(
    window: MainWindow, samples: dict[str, Path], wait
) -> None:
    window.files.open([samples["normal"], samples["low_grip"], samples["practice"]])
    wait(lambda: len(window.desk.documents) == 3)
    first = {"larch_normal.h5": "A", "larch_low_grip.h5": "B", "larch_practice.h5": "C"}
    assert letters(window) == first
    window.book.actions["sets.next"].trigger()
    window.book.actions["sets.swap"].trigger()
    assert letters(window) == first
    low_grip = window.files.document_at(samples["low_grip"])
    window.files.close(low_grip)
    assert letters(window) == {"larch_normal.h5": "A", "larch_practice.h5": "C"}
    # The letter that became free is the next one given.
    window.files.open([samples["low_grip"]])
    wait(lambda: len(window.desk.documents) == 3)
    assert letters(window) == first


def test_the_chooser_shows_the_chips(opened: MainWindow) -> None:
    bar = opened.document_bar
    for box, skip in ((bar.current, 0), (bar.reference, 1)):
        for n, document in enumerate(opened.desk.documents):
            shown = box.itemIcon(n + skip).pixmap(18, 18).toImage()
            assert shown == chip_icon(opened.desk.number(document)).pixmap(18, 18).toImage()
    a, b = (chip_icon(n).pixmap(18, 18).toImage() for n in (0, 1))
    assert a != b


def test_the_reference_is_another_set_of_the_programme(
    window: MainWindow, samples: dict[str, Path], wait
) -> None:
    desk = window.desk
    window.files.open([samples["normal"]])
    wait(lambda: len(desk.documents) == 1)
    assert desk.reference is None  # alone: overlays compare with the saved state
    window.files.open([samples["low_grip"]])
    wait(lambda: len(desk.documents) == 2)
    assert {desk.current.title, desk.reference.title} == {"larch_normal.h5", "larch_low_grip.h5"}  # type: ignore[union-attr]


def test_a_set_never_becomes_its_own_reference(opened: MainWindow) -> None:
    desk = opened.desk
    current, reference = desk.current, desk.reference
    assert current is not None
    assert reference not in (None, current)
    desk.set_current(reference)
    assert (desk.current, desk.reference) == (reference, current)


def test_no_reference_is_respected(opened: MainWindow, samples: dict[str, Path], wait) -> None:
    desk = opened.desk
    opened.book.actions["sets.no_reference"].trigger()
    opened.files.open([samples["low_grip"]])
    wait(lambda: len(desk.documents) == 3)
    assert desk.reference is None


def test_there_are_letters_for_more_sets_than_the_alphabet_has() -> None:
    names = [letter_of(n) for n in range(60)]
    assert names[:3] == ["A", "B", "C"]
    assert names[26] == "A2"
    assert len(set(names)) == 60
