"""The tokens of the window's look: colours of both themes, type scale, spacing.  No Qt here.

Three surfaces (`frame` behind everything, `panel` for what stands on it, `base` for data), two
levels of text, one accent.  What is selected is tinted and has a bar in the accent; data are the
brightest thing, so frames and lines stand back.
"""

from __future__ import annotations

from dataclasses import dataclass

GAP = 4
"""Pixels of the spacing grid; gaps are 4, 8, 12 and 16."""
TIGHT, NEAR, APART, WIDE = GAP, 2 * GAP, 3 * GAP, 4 * GAP
RADIUS = 4
"""Corner radius of fields, buttons and chips, in pixels."""
CONTROL, GLOVES = 28, 44
"""Height of every control in pixels, and of one that is worked with gloves."""
ICON = 16
"""Edge of an icon beside text, in pixels."""

SMALL, BODY, TITLE, FIGURE = 0.9, 1.0, 1.2, 1.7
"""Sizes of text as shares of the size that the user chose."""
REGULAR, STRONG = 400, 600
"""Weights of text: weight before size before colour."""


@dataclass(frozen=True)
class Tones:
    """Colours of one theme as ``#rrggbb``.

    Parameters
    ----------
    frame, panel, base : str
        The three surfaces: window, bars and rails; raised panels; fields, lists and plots.
    hover, pressed : str
        A control under the pointer, and held down.
    text, second : str
        The two levels of text; both read on every surface.
    off : str
        Text of what cannot be used now.
    line : str
        Hairlines that only part; nothing depends on seeing them.
    border : str
        Outlines of fields, boxes and handles, and helper lines: 3 to 1 on every surface.
    accent, on_accent : str
        The one accent, and text on it.
    selection : str
        Ground of what is selected; `text` reads on it.
    link, visited : str
    tip, on_tip : str
        Tool tips.
    error, warning, note : str
        Severities; each has a shape besides.
    sets : tuple of str
        Colours of open sets A, B, C, ...; the letter stands in them, in `on_set`.
    on_set : str
    values : tuple of str
        Value map, lowest first, evenly stepped in lightness: low is pale, high is deep.
    lower, higher : tuple of str
        Halves of the difference map, from the largest difference to none.
    """

    frame: str
    panel: str
    base: str
    hover: str
    pressed: str
    text: str
    second: str
    off: str
    line: str
    border: str
    accent: str
    on_accent: str
    selection: str
    link: str
    visited: str
    tip: str
    on_tip: str
    error: str
    warning: str
    note: str
    sets: tuple[str, ...]
    on_set: str
    values: tuple[str, ...]
    lower: tuple[str, ...]
    higher: tuple[str, ...]


def _hex(text: str) -> tuple[str, ...]:
    return tuple(f"#{part}" for part in text.split())


LIGHT = Tones(
    frame="#eff3f4",
    panel="#f7f9fa",
    base="#ffffff",
    hover="#e3eaec",
    pressed="#d3dee1",
    text="#10202a",
    second="#4c5d67",
    off="#7d8a92",
    line="#d9e1e4",
    border="#75858e",
    accent="#0a687b",
    on_accent="#ffffff",
    selection="#d2e9ee",
    link="#0a5b8a",
    visited="#5b4687",
    tip="#14262e",
    on_tip="#f3f7f8",
    error="#b3191e",
    warning="#8a5a00",
    note="#285a96",
    sets=_hex("1b4f95 a84f00 9a48c8 1f7a3d ad2f6a 6b6200 14707a 56616b"),
    on_set="#ffffff",
    # Nine anchors each, evenly spaced in L*; straight lines in sRGB between them.
    values=_hex("fbf6cf b5e4b6 87caa3 5dada6 2f91a7 2871a4 2e538f 293775 1d1d5c"),
    lower=_hex("0b4f8c 1b649f 2f79b0 488ec1 66a3d0 88b7dc aacce5 cce1ec f4f4f1"),
    higher=_hex("9a3c00 b04f09 c4631b d7782d e78e44 efa869 f1c294 f4dbc0 f4f4f1"),
)
DARK = Tones(
    frame="#171d21",
    panel="#1d2429",
    base="#0f1418",
    hover="#29333a",
    pressed="#35424a",
    text="#e9eff1",
    second="#a3b1b9",
    off="#717f88",
    line="#2b353b",
    border="#72828c",
    accent="#52c5d8",
    on_accent="#04181d",
    selection="#17414c",
    link="#7cc4ee",
    visited="#bda8e6",
    tip="#e9eff1",
    on_tip="#10202a",
    error="#ff8a7a",
    warning="#f5be5a",
    note="#96c8fa",
    sets=_hex("5aa5f5 f29b45 d6b0f2 8fe0a0 f08fbb d3c65a 62cfd6 b3bfc8"),
    on_set="#0f1418",
    # The hues of the light map in the same order, over a range of lightness that glares nowhere
    # and sinks nowhere into the dark ground.
    values=_hex("e3deb8 a4d2a5 7cbf98 58a8a1 3092a8 3177ab 3b5e9b 3c4686 353072"),
    lower=_hex("7cc4ff 6db1eb 609ed5 538bbf 4779a8 41688d 3c5770 374654 33353a"),
    higher=_hex("ffb066 e99d55 d48b46 be7938 a7692e 8b5b2c 6d4f2d 524231 33353a"),
)
# Other maps for values, in the light and in the dark: nine anchors over the range of L* of the
# first map of the theme.  Hue and chroma of a step are the same in both.
REDS = (
    _hex("fff4d6 fcd374 eab25c d69248 c17237 aa5328 92341c 791012 55000e"),
    _hex("e6dcbe e9c163 dda752 d08d43 c17337 b1592e a04026 8d2520 6d1921"),
)
GREYS = (
    _hex("f5f5f5 d8d8d8 bbbbbb a0a0a0 858585 6c6c6c 535353 3c3c3c 262626"),
    _hex("dddddd c6c6c6 b0b0b0 9b9b9b 868686 727272 5e5e5e 4b4b4b 393939"),
)


def tones(*, dark: bool) -> Tones:
    """Return the colours of the dark or the light theme."""
    return DARK if dark else LIGHT
