"""Foreign text on one's own screen: what does not show, or steers what shows, is spelt out.

Names, units and comments come from files that others made.  A line break in a name lets it write
lines of its own into an answer, an escape sequence hides what stands there, a bidirectional mark
turns it round.  `plain_line` and `plain_lines` show such characters as ``\\n``, ``\\x1b`` or
``\\u202e``; every label, error and line on a terminal goes through one of them.  What is stored,
signed or exported keeps its characters.
"""

from __future__ import annotations

import re

# Control characters (Cc), line and paragraph separators (Zl, Zp), surrogates (Cs) and the format
# characters (Cf) but for the joiners, without which Indic scripts and emoji cannot be written.
_HIDDEN = (
    "\x00-\x1f\x7f-\x9f\xad\u0600-\u0605\u061c\u06dd\u070f\u0890\u0891\u08e2\u180e\u200b\u200e\u200f"
    "\u2028-\u202e\u2060-\u206f\ud800-\udfff\ufeff\ufff9-\ufffb\U000110bd\U000110cd"
    "\U00013430-\U0001343f\U0001bca0-\U0001bca3\U0001d173-\U0001d17a\U000e0001\U000e0020-\U000e007f"
)
_IN_A_LINE = re.compile(f"[{_HIDDEN}]")
_IN_LINES = re.compile(f"(?!\n)[{_HIDDEN}]")
_SHORT = {"\n": "\\n", "\r": "\\r", "\t": "\\t"}


def plain_line(text: str) -> str:
    """Return a text for one line: nothing in it breaks, hides or turns round what shows."""
    if text.isascii() and text.isprintable():
        return text
    return _IN_A_LINE.sub(_spelt, text)


def plain_lines(text: str) -> str:
    """Return a text of several lines, with nothing but its line feeds left to steer with."""
    if text.isascii() and text.isprintable():
        return text
    return _IN_LINES.sub(_spelt, text)


def _spelt(match: re.Match[str]) -> str:
    sign = match[0]
    short = _SHORT.get(sign)
    if short is not None:
        return short
    code = ord(sign)
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
