"""Spreadsheets by OpenDocument 1.3, written by hand from its own XML."""

from __future__ import annotations

import zipfile
from pathlib import Path

ODS = """<?xml version="1.0" encoding="UTF-8"?>
<office:document-content
 xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0"
 xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0"
 xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"
 xmlns:calcext="urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0"
 office:version="1.3"><office:body><office:spreadsheet>{}</office:spreadsheet></office:body>
</office:document-content>"""


def ods(path: Path, sheets: dict[str, str]) -> Path:
    """Write a spreadsheet by OpenDocument 1.3, part 3; the cells come as its XML."""
    body = "".join(
        f'<table:table table:name="{n}">{rows}</table:table>' for n, rows in sheets.items()
    )
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        file.writestr("content.xml", ODS.format(body))
        name = "urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"
        file.writestr("META-INF/manifest.xml", f'<m:manifest xmlns:m="{name}"/>')
    return path


def row(*cells: float | str, more: str = "", repeat: int = 1) -> str:
    made = "".join(
        f'<table:table-cell office:value-type="float" office:value="{c!r}"/>'
        if isinstance(c, float)
        else c
        if c.startswith("<")
        else f'<table:table-cell office:value-type="string"><text:p>{c}</text:p></table:table-cell>'
        for c in cells
    )
    again = f' table:number-rows-repeated="{repeat}"' if repeat > 1 else ""
    return f"<table:table-row{again}>{made}{more}</table:table-row>"
