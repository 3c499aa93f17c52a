"""What every report shares: one HTML page that stands alone, its style, tables and cautions.

No scripts, nothing fetched, all text escaped; black on white, and legible when printed so.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from ..cautions import as_html

_STYLE = """
body{font:15px/1.45 sans-serif;color:#000;background:#fff;max-width:62rem;margin:1.5rem auto;
padding:0 1rem}
h1{font-size:1.6rem;margin-bottom:.2rem}h2{font-size:1.2rem;border-bottom:2px solid #000;
margin-top:2rem}h3{font-size:1rem;margin:1.5rem 0 .3rem}
table{border-collapse:collapse;margin:.5rem 0}
th,td{border:1px solid #999;padding:.25rem .5rem;text-align:left;vertical-align:top}
th{background:#eee}td.n,th.n{text-align:right;white-space:nowrap}
code{font-family:monospace;overflow-wrap:anywhere}a{color:#000}
.mark{border:3px solid #000;padding:.6rem .8rem;font-weight:bold}
.plots{display:flex;flex-wrap:wrap;gap:.5rem}.plots svg{border:1px solid #ccc;max-width:100%;
height:auto}
@media print{body{margin:0;max-width:none}h3,svg,tr{break-inside:avoid}}
"""


def page(title: str, body: Iterable[str], style: str = "") -> str:
    """Return a whole page.

    Parameters
    ----------
    title : str
        Plain text.
    body : iterable of str
        HTML; empty parts are left out.
    style : str
        Rules that this report needs besides the common ones.
    """
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{_STYLE}{style}</style></head>\n"
        f"<body>{''.join(part for part in body if part)}</body></html>\n"
    )


def cautions(*more: str) -> str:
    """Return the cautions as HTML, with what this report has to add."""
    return as_html(*more, heading="h2")


def bullets(texts: Iterable[str]) -> str:
    """Return plain texts as a list in HTML."""
    return f"<ul>{''.join(f'<li>{escape(text)}</li>' for text in texts)}</ul>"


def rows(head: Sequence[str], lines: Iterable[Sequence[str]]) -> str:
    """Return rows of plain text as a table in HTML."""
    top = "".join(f"<th>{escape(text)}</th>" for text in head)
    body = "".join(
        f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in line)}</tr>" for line in lines
    )
    return f"<table><tr>{top}</tr>{body}</table>"


def facts(pairs: Iterable[tuple[str, str]]) -> str:
    """Return named facts of plain text as a table in HTML; empty ones are left out."""
    lines = [
        f"<tr><th>{escape(label)}</th><td>{escape(text)}</td></tr>" for label, text in pairs if text
    ]
    return f"<table>{''.join(lines)}</table>"


def count(number: int, what: str) -> str:
    """Say how many there are of something, such as ``1 table`` or ``3 tables``."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
