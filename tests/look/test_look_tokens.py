"""The tokens: what is read is read, what is seen is seen, in both themes.

Contrast after WCAG 2.1, 1.4.3 (4.5 to 1 for text) and 1.4.11 (3 to 1 for parts of controls and of
drawings); colour-blind sight after Machado, Oliveira and Fernandes 2009, severity 1.0.
"""

from __future__ import annotations

import re
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtGui import QColor, QFontMetricsF

from app.colours import contrast
from app.look import tokens
from app.look.palettes import is_dark, palette, tones_of
from app.look.type import sized, tabular
from tests.plots.test_plot_colours import BLINDNESS, lab

THEMES = {"light": tokens.LIGHT, "dark": tokens.DARK}
SURFACES = ("frame", "panel", "base")


def ratio(a: str, b: str) -> float:
    return contrast(QColor(a), QColor(b))


@pytest.mark.parametrize("name", THEMES)
def test_text_reads_on_every_surface(name: str) -> None:
    own = THEMES[name]
    for text in ("text", "second", "error", "warning", "note", "link"):
        for ground in (*SURFACES, "hover", "selection"):
            found = ratio(getattr(own, text), getattr(own, ground))
            assert found >= 4.5, f"{text} on {ground}: {found:.2f}"
    assert ratio(own.text, own.pressed) >= 4.5
    assert ratio(own.on_accent, own.accent) >= 4.5
    assert ratio(own.on_tip, own.tip) >= 4.5
    for colour in own.sets:
        assert ratio(own.on_set, colour) >= 4.5, colour


@pytest.mark.parametrize("name", THEMES)
def test_outlines_and_marks_are_seen_on_every_surface(name: str) -> None:
    own = THEMES[name]
    for colour in (own.border, own.accent, *own.sets):
        for ground in SURFACES:
            found = ratio(colour, getattr(own, ground))
            assert found >= 3, f"{colour} on {ground}: {found:.2f}"
    assert ratio(own.accent, own.selection) >= 3  # the bar beside what is selected


@pytest.mark.parametrize("name", THEMES)
def test_data_are_brighter_than_the_frame(name: str) -> None:
    # Lines that only part, and surfaces beside each other, stand back behind what is read.
    own = THEMES[name]
    for first, second in combinations(SURFACES, 2):
        assert ratio(getattr(own, first), getattr(own, second)) < 1.35
    for ground in SURFACES:
        assert 1.05 < ratio(own.line, getattr(own, ground)) < 2


@pytest.mark.parametrize("name", THEMES)
@pytest.mark.parametrize("kind", ["none", *BLINDNESS])
def test_the_first_sets_are_told_apart_by_colour_too(name: str, kind: str) -> None:
    # The letter tells them apart in any case; the first four, which is what is usually open, do so
    # by colour as well. About 2.3 is just noticed (Mahy 1994, from memory).
    sight = np.array(BLINDNESS.get(kind, np.eye(3)))
    rgb = np.array([QColor(c).getRgb()[:3] for c in THEMES[name].sets[:4]], float)
    seen = lab(rgb, sight)
    for a, b in combinations(range(4), 2):
        assert np.linalg.norm(seen[a] - seen[b]) > 10, (a, b)


def test_both_themes_have_as_many_colours() -> None:
    for field in ("sets", "values", "lower", "higher"):
        assert len(getattr(tokens.LIGHT, field)) == len(getattr(tokens.DARK, field))
    assert len(set(tokens.LIGHT.sets)) == len(tokens.LIGHT.sets) == 8


@pytest.mark.parametrize("name", THEMES)
def test_a_palette_leads_back_to_its_tokens(name: str) -> None:
    assert is_dark(palette(name)) == (name == "dark")
    assert tones_of(palette(name)) is THEMES[name]


def test_figures_have_one_width(qapp) -> None:  # type: ignore[no-untyped-def]
    metrics = QFontMetricsF(tabular(qapp.font()))
    widths = {metrics.horizontalAdvance(digit * 4) for digit in "0123456789"}
    assert len(widths) == 1
    for step in ("small", "title", "figure"):
        bold = QFontMetricsF(sized(tabular(qapp.font()), step))
        assert bold.horizontalAdvance("1111") == pytest.approx(bold.horizontalAdvance("0000"))


def test_weights_are_drawn(qapp) -> None:  # type: ignore[no-untyped-def]
    plain, heavy = (QFontMetricsF(sized(qapp.font(), "body", strong=s)) for s in (False, True))
    text = "Hamburgefonts"
    assert heavy.horizontalAdvance(text) > 1.01 * plain.horizontalAdvance(text)


def test_colours_are_written_down_in_one_place() -> None:
    # The parts of the torque picture and of recordings have hues of their own, of data.
    of_data = {"app/look/tokens.py", "app/plots/result/inks.py", "app/road/recordings/band.py"}
    root = Path(__file__).resolve().parents[2]
    found = [
        str(path.relative_to(root))
        for path in (root / "app").rglob("*.py")
        if re.search(r"[\"' ]#?[0-9a-f]{6}[\"' ]|QColor\(\d", path.read_text(encoding="utf-8"))
    ]
    assert {f.replace("\\", "/") for f in found} <= of_data
