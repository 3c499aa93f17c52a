"""Make a set from nothing, give it a table with rules, and shape it under them.

Run it in a folder of your own: it writes ``vans.h5`` there.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

import calib_model as cm
from calib_model.rules.limits import Bounds
from calib_model.rules.shape import Monotone
from calib_model.shaping import smooth


def main(folder: Path) -> cm.CalibrationSet:
    """Make the set and return it as it was saved."""
    # A set, a map with two axes, and a curve over states with names in place of numbers.
    pedal = cm.axis("pedal: 0 20 40 60 80 100")
    cold = cm.axis("ambient_temperature: -20 0 20")
    creep = cm.new_table(
        "creep_torque",
        [cold, pedal],
        np.add.outer([30.0, 10.0, 0.0], [0.0, 20.0, 45.0, 58.0, 90.0, 100.0]),
        name="Creep torque",
        unit="N.m",
        lower=0.0,
        upper=450.0,
        storage=cm.Storage.of("uint16", "0.5"),
        rules=(
            Monotone(axis="pedal", reason="more pedal asks for more drive force"),
            Bounds(upper=140.0, reason="the pump's relief valve opens"),
        ),
    )
    wash = cm.new_table("wash_allowed", [cm.axis("wiper_state: off slow fast")], 0, yes_no=True)
    content = cm.new_set("Larch", "normal", tables=[creep, wash], name="Vans", revision="1")
    print(f"{content.label}: {', '.join(f'{t.label} ({t.kind})' for t in content)}")

    # Cells by breakpoint values, labels and a little arithmetic.
    content = cm.edit(content, "wash_allowed", "yes", at={"wiper_state": ["slow", "fast"]})
    content = cm.edit(content, "creep_torque", "+10%", at={"ambient_temperature": (-20, 0)})
    for finding in cm.check(content).findings:
        print(f"  {finding.severity}: {finding.message}")

    # Smooth the map; its own rules hold afterwards, whatever the strength.
    proposal = smooth(content, "creep_torque", strength=0.05)
    content = cm.edit(content, proposal.change())
    print(f"Smoothed: {proposal.summary}")
    print(f"Findings now: {len(cm.check(content).findings)}")

    # Another name and one more breakpoint; what follows is said in the change's note.
    change = cm.rename_table(content, "creep_torque", "crawl_torque", "Crawl torque")
    content = cm.edit(content, change)
    change = cm.insert_breakpoint(content, "crawl_torque", 1, 50.0)
    content = cm.edit(content, change)
    print(f"{change.title}. {change.note}")

    table = content["crawl_torque"]
    content = content.with_table(replace(table, description="At the clutch, at standstill."))
    path = folder / "vans.h5"
    cm.save_set(content, path, author="Ada Berg", reason="A first guess for the vans")
    return cm.open_set(path)


if __name__ == "__main__":
    saved = main(Path.cwd())
    print(f"Saved {saved.label} with {len(saved)} tables.")
