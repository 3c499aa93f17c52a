"""A folder of plain tables written by pandas, in three layouts; and units as others spell them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pint
import pytest

from calib_model.bringing.said import headed, id_said, is_unit, unit_said
from calib_model.bringing.understanding import set_of, understand
from calib_model.core.units import convert

COUNT = 45


def made() -> dict[str, pd.DataFrame | pd.Series]:
    """Maps, curves and scalars with foreign names, in units of their own."""
    random = np.random.default_rng(7)
    speed = pd.Index(np.arange(6) * 25.0, name="v_veh [km/h]")
    pedal = pd.Index([0.0, 12.5, 40.0, 100.0], name="accel [%]")
    found: dict[str, pd.DataFrame | pd.Series] = {}
    for number in range(COUNT):
        if number % 3 == 0:
            values = random.random((6, 4)).round(3)
            found[f"KF_TRQ_{number}"] = pd.DataFrame(values, speed, pedal)
        else:
            found[f"KL_LIM_{number}"] = pd.Series(random.random(6).round(3), speed)
    return found


def test_three_layouts_come_in_exactly_and_without_a_doubt(tmp_path: Path) -> None:
    tables = made()
    names = list(tables)
    long = []
    for name in names[:15]:  # a file per table, decimal commas
        table = tables[name]
        frame = table if isinstance(table, pd.DataFrame) else table.to_frame(f"{name} [N.m]")
        frame.to_csv(tmp_path / f"{name}.csv", sep=";", decimal=",")
    for name in names[15:30]:  # one file, a row per cell
        table = tables[name]
        flat = table.stack() if isinstance(table, pd.DataFrame) else table
        rows = flat.rename("value").reset_index()
        rows.insert(0, "label", name)
        long.append(rows)
    pd.concat(long).to_csv(tmp_path / "all.csv", index=False)
    with (tmp_path / "stacked.csv").open("w") as file:  # one file, a block per table
        for name in names[30:]:
            table = tables[name]
            file.write(f"{name} [N.m]\n")
            frame = table if isinstance(table, pd.DataFrame) else table.to_frame("value")
            frame.to_csv(file)
            file.write("\n")
    found = understand([tmp_path])
    assert not found.doubtful
    assert not found.left_out
    content = found.content()
    assert set(content.tables) == set(names)
    for name, table in tables.items():
        mine = content[name]
        assert np.array_equal(mine.values, table.to_numpy()), name
        assert mine.axes[0].values.tolist() == table.index.tolist()
        assert (mine.axes[0].name, mine.axes[0].unit) == ("v_veh", "km/h")
        if isinstance(table, pd.DataFrame):
            assert mine.axes[1].values.tolist() == table.columns.tolist()


def test_merged_index_cells_as_pandas_writes_them(tmp_path: Path) -> None:
    flat = next(iter(made().values())).stack()  # type: ignore[union-attr]
    flat.rename("torque [N.m]").to_frame().to_excel(tmp_path / "x.xlsx", merge_cells=True)
    table = set_of([tmp_path / "x.xlsx"])["torque"]
    assert np.array_equal(table.values, flat.unstack().to_numpy())
    assert [axis.unit for axis in table.axes] == ["km/h", "%"]


SPELT = {
    "Nm": "N.m", "N·m": "N.m", "N m": "N.m", "newton meter": "N.m", "m s-2": "m/s2",
    "m/s^2": "m/s2", "m s**-1": "m/s", "km h-1": "km/h", "degree_Celsius": "degC", "°C": "degC",
    "percent": "%",
    "1": "-", "rad s-1": "rad/s", "kg m2 s-2": "kg.m2/s2", "degree": "deg", "W K-1": "W/K",
}  # fmt: skip
"""UDUNITS-2 and CF spellings, and those of desks, with ours."""


@pytest.mark.parametrize("text", SPELT)
def test_a_unit_spelt_otherwise_is_the_same_to_pint(text: str) -> None:
    ours = unit_said(text)
    assert ours == SPELT[text]
    registry = pint.UnitRegistry()
    plain = {"Nm": "N m", "percent": "%", "N·m": "N*m"}.get(text, text)
    plain = plain.replace("s-", "s**-").replace("h-", "h**-").replace("K-", "K**-")
    theirs = registry.Unit(plain.replace("m2", "m**2").replace("s****", "s**"))
    one = registry.Quantity(1.0, theirs).to_base_units().magnitude
    if ours not in ("degC", "-"):
        base = str(registry.Quantity(1.0, theirs).to_base_units().units)
        assert float(convert(1.0, ours, base)) == pytest.approx(float(one), rel=1e-12)


def test_what_is_no_unit_stays_in_the_name() -> None:
    assert headed("Angle (absolute)") == ("Angle (absolute)", None)
    assert headed("Angle (deg)") == ("Angle", "deg")
    assert headed("torque[3]") == ("torque[3]", None)
    assert not is_unit("2024")
    assert unit_said("nm") == "nm", "a nanometre is no torque"
    assert id_said("Größe der Kupplung") == "Grosse_der_Kupplung"
