"""The page Compare: the list of tables, sorted and narrowed."""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtCore import Qt

from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from tests.compare_page.compare_sets import (
    CURVE,
    PEDAL,
    listed,
    set_of,
)


def _several() -> tuple[CalibrationSet, CalibrationSet]:
    """One table for each state, differences of known sizes."""
    span = {"lower": 0.0, "upper": 100.0}
    tables = {
        "same": replace(CURVE, id="same"),
        "large": replace(CURVE, id="large", upper=1000.0, lower=0.0, name="Large"),
        "small": replace(CURVE, id="small", function="Clutch", **span),
        "coarse": replace(CURVE, id="coarse", storage=Storage("uint16"), **span),
        "rounding": replace(CURVE, id="rounding"),
        "gone": replace(CURVE, id="gone"),
        "axes": replace(CURVE, id="axes"),
        "unit": replace(CURVE, id="unit"),
        "stored": replace(CURVE, id="stored"),
    }
    other = dict(tables)
    other["large"] = tables["large"].with_values([10.0, 20.0, 40.0])  # 1 %, 20 steps
    other["small"] = tables["small"].with_values([10.0, 20.0, 33.0])  # 3 %, 6 steps
    other["coarse"] = tables["coarse"].with_values([10.0, 20.0, 34.0])  # 4 %, 4 steps
    other["rounding"] = tables["rounding"].with_values([10.0, 20.1, 30.0])
    del other["gone"]
    other["axes"] = replace(tables["axes"], axes=(replace(PEDAL, values=[0.0, 60.0, 100.0]),))
    other["unit"] = replace(tables["unit"], unit="kN.m", values=tables["unit"].values / 1000)
    other["stored"] = replace(tables["stored"], storage=Storage())
    other["new"] = replace(CURVE, id="new")
    return set_of(*tables.values()), set_of(*other.values())


def test_every_state_is_told_apart_in_words(make) -> None:
    bench = make(*_several())
    rows = bench.page.summary.rows
    spoken = {
        rows.pair_at(n).id: rows.index(n).data(Qt.ItemDataRole.AccessibleTextRole)
        for n in range(rows.rowCount())
    }
    assert "same" not in spoken
    wanted = {
        "large": "changed, 1 cell", "rounding": "only by rounding", "gone": "only in reference",
        "new": "only in edited set", "axes": "axes differ", "unit": "units differ",
        "stored": "storage differs",
    }  # fmt: skip
    for id, words in wanted.items():
        assert words in spoken[id]
    assert bench.page.sides.words.text().startswith("10 tables: 1 same, 1 only by rounding")


def test_sorting_by_size_in_three_measures(make) -> None:
    bench = make(*_several())
    summary = bench.page.summary
    wanted = {"percent of range": ["coarse", "small", "large"],
              "storage steps": ["large", "small", "coarse"],
              "largest difference": ["large", "coarse", "small"]}  # fmt: skip
    for measure, order in wanted.items():
        summary.order.setCurrentIndex(summary.order.findText(measure))
        assert [id for id in listed(bench) if id in order] == order
    summary.order.setCurrentIndex(summary.order.findText("name"))
    assert listed(bench)[-1] == "large"  # every other one is called Curve


def test_filters_by_state_function_and_text(make) -> None:
    bench = make(*_several())
    summary = bench.page.summary
    summary.state.setCurrentIndex(summary.state.findText("only in reference"))
    assert listed(bench) == ["gone"]
    summary.state.setCurrentIndex(summary.state.findText("all tables"))
    assert len(listed(bench)) == 10
    summary.function.setCurrentIndex(summary.function.findText("Clutch"))
    assert listed(bench) == ["small"]
    summary.filter.setText("nothing like it")
    assert summary.nothing.isVisible()
    assert "holds “nothing like it” and belongs to Clutch" in summary.nothing.text()
    bench.page.list_all()
    assert len(listed(bench)) == 9


def test_a_threshold_leaves_out_what_is_small_and_says_how_many(make) -> None:
    bench = make(*_several())
    summary = bench.page.summary
    summary.amount.setValue(5)
    assert "coarse" not in listed(bench)  # 4 steps
    assert "small" in listed(bench)  # 6 steps
    assert "rounding" not in listed(bench)
    assert "2 below the threshold left out" in summary.count.text()
    assert {"axes", "unit", "stored", "gone"} <= set(listed(bench))
    summary.measure.setCurrentIndex(1)
    summary.amount.setValue(3.5)
    assert [i for i in listed(bench) if i in ("small", "coarse", "large")] == ["coarse"]


def test_breaches_alone_and_the_model_behaves(larch, qtmodeltester) -> None:
    summary = larch.page.summary
    summary.breaches.setChecked(True)
    assert set(listed(larch)) == {"pre_engage_torque", "slip_target"}
    qtmodeltester.check(summary.rows)
    # A breach stays listed however small its difference is.
    summary.amount.setValue(1000)
    assert set(listed(larch)) == {"pre_engage_torque", "slip_target"}
