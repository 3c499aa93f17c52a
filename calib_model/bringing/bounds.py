"""How much a file that is brought in may hold: checked before it is unpacked, and counted while."""

from __future__ import annotations

MAX_FILE_BYTES = 128 << 20
MAX_UNPACKED = 512 << 20
"""Of all parts of a spreadsheet together..."""
MAX_RATIO = 200
"""...and no more than so many times its size: what unpacks further is no table."""
MIN_UNPACKED = 32 << 20
"""What any spreadsheet may unpack to, however small it is."""
MAX_PARTS = 2_000
MAX_SHEETS = 500
MAX_CELLS = 16_000_000
"""Of all grids of a file, empty ones between filled ones included..."""
MAX_DIFFERENT = 1_500_000
"""...and how many of them may differ: each is read once, however often it stands there."""
MAX_BLOCKS = 20_000
"""Of a file: areas that stand apart, tables or not."""
MAX_COLUMNS = 16_384
MAX_MERGED = 10_000
"""Merged areas of a sheet that are looked at."""
MAX_PERCENT = 40_000
"""Cells of a sheet that are told to be shown as percentages."""
MAX_TEXT = 32_767
"""Characters of a cell."""
MAX_TEXTS = 128 << 20
"""Bytes of all different texts of a file."""
MAX_OBJECTS = 20_000
"""Data sets and groups of an HDF5 file that are looked at."""
MAX_DEPTH = 12
MAX_VALUES = 4_000_000
REMEDY = "Cut the file in parts, or take only the sheets with tables."
