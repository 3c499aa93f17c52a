"""Tables into a set that is there: what comes, in whose units, and the one change."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

import calib_model as cm
from calib_model.bringing.taking import Arrival, Coming, arrivals, change_of
from calib_model.bringing.understanding import NotTaken, understand
from calib_model.editing.change import apply

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"


@pytest.fixture(scope="module")
def normal() -> cm.CalibrationSet:
    return cm.open_set(SAMPLES / "larch_normal.h5")


def frame(table: cm.Table, **units: str) -> pd.DataFrame:
    names = [f"{a.name} [{units.get(f'axis_{n}', a.unit)}]" for n, a in enumerate(table.axes)]
    return pd.DataFrame(
        table.values,
        pd.Index(table.axes[0].values, name=names[0]),
        table.axes[1].values if len(table.axes) > 1 else ["value"],
    )


def coming(path: Path, content: cm.CalibrationSet) -> dict[str, Arrival]:
    return {one.id: one for one in arrivals(understand([path]), content)}


def test_each_table_is_told_for_what_it_is(normal: cm.CalibrationSet, tmp_path: Path) -> None:
    same, changed = normal["cruise_base_torque"], normal["slip_target"]
    resized, renamed = normal["hill_torque"], normal["plate_cooling"]
    frame(same).to_csv(tmp_path / "cruise_base_torque.csv")
    values = changed.values.copy()
    values[0, 0] += 0.5
    frame(changed.with_values(values)).to_csv(tmp_path / "slip_target.csv")
    frame(resized).iloc[:-1].to_csv(tmp_path / "hill_torque.csv")
    frame(renamed).to_csv(tmp_path / "cooling_of_plates.csv")
    (tmp_path / "brand_new.csv").write_text("v,f\n0,1\n1,2\n")
    found = coming(tmp_path, normal)
    assert found["cruise_base_torque"].coming is Coming.SAME
    assert found["slip_target"].coming is Coming.CHANGED
    assert "1 of 36 cells, by up to 0.5 km/h" in found["slip_target"].words
    assert found["hill_torque"].coming is Coming.RESIZED
    assert "map 6 × 5 becomes map 5 × 5" in found["hill_torque"].words
    assert found["cooling_of_plates"].coming is Coming.RENAMED
    assert "plate_cooling" in found["cooling_of_plates"].doubts[0].choices
    assert found["f"].coming is Coming.NEW
    assert found["pre_engage_torque"].coming is Coming.VANISHED
    change = change_of(normal, found.values(), "Bring in")
    after = apply(normal, change)
    assert after["slip_target"].values[0, 0] == values[0, 0]
    assert after["slip_target"].rules == changed.rules
    assert after["hill_torque"].shape == (5, 5)
    assert after["hill_torque"].role == resized.role
    assert {"f", "cooling_of_plates"} <= set(after.tables)
    assert "pre_engage_torque" in after, "what vanished stays unless it is removed"
    assert after["cruise_base_torque"] is same
    assert apply(after, change.inverse()) == normal
    gone = change_of(normal, found.values(), "Bring in", remove=["pre_engage_torque"])
    assert "pre_engage_torque" not in apply(normal, gone)


def test_units_are_converted_or_refused(normal: cm.CalibrationSet, tmp_path: Path) -> None:
    table = normal["clamp_limit_oil"]
    text = "oil temperature [K],clamp_limit_oil [kN]\n"
    for x, y in zip(table.axes[0].values.tolist(), table.values.tolist(), strict=True):
        text += f"{x + 273.15!r},{y / 1000!r}\n"
    (tmp_path / "x.csv").write_text(text)
    one = coming(tmp_path / "x.csv", normal)["clamp_limit_oil"]
    assert "converted from kN to N" in one.words
    assert "converted from K to degC" in one.words
    assert one.coming is Coming.SAME, "a conversion there and back changes nothing"
    (tmp_path / "x.csv").write_text(text.replace("kN", "km/h"))
    one = coming(tmp_path / "x.csv", normal)["clamp_limit_oil"]
    assert one.doubts[0].about == "unit"
    assert "cannot be converted" in one.doubts[0].why
    with pytest.raises(NotTaken, match=r"x\.csv"):
        change_of(normal, [one], "Bring in")


def test_a_map_the_other_way_round_is_turned(normal: cm.CalibrationSet, tmp_path: Path) -> None:
    table = normal["pre_engage_torque"]
    frame(table).T.rename_axis("Accelerator pedal [%]").to_csv(tmp_path / "pre_engage_torque.csv")
    one = coming(tmp_path, normal)["pre_engage_torque"]
    assert one.coming is Coming.SAME
    assert "other way round" in one.words


def test_no_unit_said_means_the_set_s(normal: cm.CalibrationSet, tmp_path: Path) -> None:
    table = normal["clamp_limit_oil"]
    rows = zip(table.axes[0].values.tolist(), table.values.tolist(), strict=True)
    (tmp_path / "x.csv").write_text(
        "oil,clamp_limit_oil\n" + "".join(f"{x},{y}\n" for x, y in rows)
    )
    one = coming(tmp_path / "x.csv", normal)["clamp_limit_oil"]
    assert one.coming is Coming.SAME
    assert "degC was taken" in one.words


def test_locked_cells_stay(tmp_path: Path) -> None:
    from calib_model.rules.limits import Locked

    axis = cm.Axis([0.0, 1.0], name="v")
    lock = Locked(points=((0.0,),), values=(1.0,))
    table = cm.Table("f", [1.0, 2.0], (axis,), rules=(lock,))
    (tmp_path / "x.csv").write_text("v,f\n0,5\n1,6\n")
    one = coming(tmp_path / "x.csv", cm.CalibrationSet([table]))["f"]
    assert one.after is not None
    assert one.after.values.tolist() == [1.0, 6.0]
    assert "1 locked cell left as it was" in one.words


def test_shared_axes_move_together_or_a_table_is_detached(tmp_path: Path) -> None:
    axis = cm.Axis([0.0, 1.0], name="v", shared="axis.v")
    content = cm.CalibrationSet(
        [cm.Table("f", [1.0, 2.0], (axis,)), cm.Table("g", [3.0, 4.0], (axis,))], [axis]
    )
    (tmp_path / "x.csv").write_text("v,f,g\n0,1,3\n2,2,4\n")
    both = change_of(content, arrivals(understand([tmp_path / "x.csv"]), content), "Bring in")
    after = apply(content, both)
    assert after.shared_axes["axis.v"].values.tolist() == [0, 2]
    assert {t.axes[0].shared for t in after} == {"axis.v"}
    (tmp_path / "y.csv").write_text("v,f\n0,1\n2,2\n")
    found = arrivals(understand([tmp_path / "y.csv"]), content)
    after = apply(content, change_of(content, found, "Bring in"))
    assert after["f"].axes[0] == replace(axis, shared="", values=[0.0, 2.0])
    assert after["g"].axes[0].shared == "axis.v"


def test_other_axes_than_the_set_s_stop_it(normal: cm.CalibrationSet, tmp_path: Path) -> None:
    (tmp_path / "pre_engage_torque.csv").write_text("v,pre_engage_torque\n0,1\n1,2\n")
    one = coming(tmp_path, normal)["pre_engage_torque"]
    assert one.doubts[0].blocks
    with pytest.raises(NotTaken, match="1 axes"):
        change_of(normal, [one], "Bring in")
