"""Compare two drive modes: what differs, by how much, and where a relation is broken.

Run it in a folder of your own: it writes ``differences.html`` there.
"""

from __future__ import annotations

from pathlib import Path

import calib_model as cm
from calib_model.reports.compare_report import Names, compare_report

SETS = Path(__file__).parents[1]


def main(folder: Path) -> Path:
    """Compare the normal set with the low-grip set; return the report's file."""
    normal = cm.open_set(SETS / "larch_normal.h5")
    low_grip = cm.open_set(SETS / "larch_low_grip.h5")
    result = cm.compare(normal, low_grip)
    print(f"{len(result.differing)} of {len(result.tables)} tables differ.")
    for pair in result.differing[:3]:
        print(f"  {pair.id}: {pair.cells[0].words()}" if pair.cells else f"  {pair.id}")

    # Relations between modes are checked with the other mode's set at hand.
    report = cm.check(low_grip, against=[normal])
    for finding in report.findings:
        print(f"  {finding.table}: {finding.message}")

    path = folder / "differences.html"
    path.write_text(compare_report(result, Names("normal", "low grip")), encoding="utf-8")
    return path


if __name__ == "__main__":
    print(f"Wrote {main(Path.cwd()).name}.")
