"""Qt's palettes, made from the tokens, and the way back from a palette to its tokens.

Of the roles
that Qt leaves vague, `Mid` is a hairline, `Dark` an outline, `Midlight` what is under the pointer,
`Shadow` what is held down; `Highlight` tints what is selected and `Accent` marks it.
"""

from __future__ import annotations

from PySide6.QtGui import QColor, QPalette

from .tokens import Tones, tones

_R = QPalette.ColorRole


def palette(name: str) -> QPalette:
    """Return the palette ``light`` or ``dark``, made from the tokens."""
    own = tones(dark=name == "dark")
    made = QPalette()
    for role, colour in {
        _R.Window: own.frame,
        _R.WindowText: own.text,
        _R.Base: own.base,
        _R.AlternateBase: own.panel,
        _R.Text: own.text,
        _R.Button: own.panel,
        _R.ButtonText: own.text,
        _R.BrightText: own.error,
        _R.ToolTipBase: own.tip,
        _R.ToolTipText: own.on_tip,
        _R.PlaceholderText: own.second,
        _R.Highlight: own.selection,
        _R.HighlightedText: own.text,
        _R.Link: own.link,
        _R.LinkVisited: own.visited,
        _R.Accent: own.accent,
        _R.Light: own.base,
        _R.Midlight: own.hover,
        _R.Mid: own.line,
        _R.Dark: own.border,
        _R.Shadow: own.pressed,
    }.items():
        made.setColor(role, QColor(colour))
    off = QPalette.ColorGroup.Disabled
    for role in (_R.WindowText, _R.Text, _R.ButtonText, _R.HighlightedText):
        made.setColor(off, role, QColor(own.off))
    made.setColor(off, _R.Highlight, QColor(own.hover))
    return made


def is_dark(palette: QPalette) -> bool:
    """Tell whether a palette has light text on a dark ground."""
    base = palette.color(QPalette.ColorRole.Base)
    return base.lightness() < palette.color(QPalette.ColorRole.Text).lightness()


def tones_of(palette: QPalette) -> Tones:
    """Return the tokens of the theme that a palette belongs to."""
    return tones(dark=is_dark(palette))
