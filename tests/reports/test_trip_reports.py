"""The daily summary and the change note: whole, escaped, of the right day."""

from __future__ import annotations

from datetime import UTC, date, timedelta, timezone
from html.parser import HTMLParser

import pytest

from calib_model.cautions import POINTS as CAUTIONS
from calib_model.editing.change import values_change
from calib_model.reports.change_note import change_note
from calib_model.reports.day_report import day_report, on_day
from calib_model.rules.check import check
from calib_model.session import complaints as steps
from calib_model.session.document import Document
from calib_model.session.history import entries_of
from tests.signoff.making import small_set


class _Text(HTMLParser):
    """The text of a page; raises where tags do not match (an outside reader: html.parser)."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.parts: list[str] = []
        self.feed(html)
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        if tag not in ("meta", "br") and not (tag == "line" or tag in ("path", "circle", "rect")):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if self.open and self.open[-1] == tag:
            self.open.pop()

    def handle_startendtag(self, tag: str, attrs: object) -> None:
        pass

    def handle_data(self, data: str) -> None:
        self.parts.append(data)

    @property
    def text(self) -> str:
        return " ".join(self.parts)


@pytest.fixture
def document() -> Document:
    made = Document(small_set(), author="Ada")
    made.do(steps.raised(made.content, "spins <b>hard</b>", by="Ada", recording="a.csv", moment=83))
    made.do(values_change(made.content["brake"], [0.0, 1.0, 7.0], "Raise the end"))
    made.give_reason("C-1")
    made.do(
        steps.answered(
            made.content, made.content.record.complaints[0], "end of the brake map", ["brake"]
        )
    )
    return made


def test_the_summary_of_the_day_holds_what_was_done_on_it(document: Document) -> None:
    entries = entries_of(document)
    today = date.fromisoformat(entries[0].time[:10])
    html = day_report(document.content, entries, today, report=check(document.content), zone=UTC)
    text = _Text(html).text
    assert "<b>hard</b>" in text, "escaped, so that it is shown and not obeyed"
    assert "a.csv at 1 min 23.0 s" in text
    assert "Raise the end" in text
    assert "C-1 (Ada)" in text
    assert "→ 7" in text, "the cells of the edit"
    assert all(caution in text for caution in CAUTIONS)
    yesterday = day_report(document.content, entries, today - timedelta(days=1), zone=UTC)
    assert "Raise the end" not in yesterday


def test_midnight_is_the_desks_own() -> None:
    # 23:30 UTC is the next day in a zone two hours ahead.
    ahead = timezone(timedelta(hours=2))
    assert on_day("2026-01-10T23:30:00Z", date(2026, 1, 11), ahead)
    assert on_day("2026-01-10T23:30:00Z", date(2026, 1, 10), UTC)
    assert not on_day("no time at all", date(2026, 1, 10), UTC)


def test_the_change_note_ties_changes_to_reasons_complaints_and_evidence(
    document: Document,
) -> None:
    html = change_note(
        document.content,
        small_set(),
        "revision A",
        entries_of(document),
        evidence={"brake": "1 cell: visited with other values"},
    )
    text = _Text(html).text
    assert "Against revision A" in text.replace("  ", " ")
    assert "Raise the end: C-1 (Ada," in text
    assert "Complaint C-1: spins <b>hard</b>" in text
    assert "Evidence: 1 cell: visited with other values" in text
    assert "1 table" in text
    assert all(caution in text for caution in CAUTIONS)
    nothing = _Text(change_note(small_set(), small_set(), "itself")).text
    assert "0 tables" in nothing
