"""Campaigns: the same results however they are worked off, and tables that others can read."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import h5py
import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest
from scipy import stats

from calib_model.errors import DamagedFile, FileProblem, ModelError, SaveFailed
from calib_model.vehicle.campaign import Campaign, NamedSet, Plan, plan_from_text, run_campaign
from calib_model.vehicle.campaign_store import read_campaign, write_campaign
from calib_model.vehicle.campaign_summary import PERCENTILES, distributions, incomplete
from calib_model.vehicle.campaign_worker import run_again
from calib_model.vehicle.executors import NoWorkers, executor
from calib_model.vehicle.manoeuvres import MANOEUVRES
from calib_model.vehicle.parameters import LARCH
from calib_model.vehicle.variations import VARIATIONS, grid, latin_hypercube, nominal, variation
from tests.vehicle_runs.larch_sets import bench_of, shipped, value

pytestmark = pytest.mark.timeout(400)  # the first drive may have to compile the model

LAUNCH = replace(
    MANOEUVRES["launch_snow"], duration=3.0, metrics=("peak_front_slip", "time_to_first_clamp")
)
PARKING = replace(MANOEUVRES["parking_circle"], duration=6.0)
ALL = list(VARIATIONS.values())


def _plan(points: int = 6, seed: int = 11) -> Plan:
    sets = tuple(NamedSet(mode, shipped(mode)) for mode in ("normal", "low_grip"))
    return Plan(sets, (LAUNCH, PARKING), LARCH, latin_hypercube(ALL, points, 5), seed)


@pytest.fixture(scope="module")
def campaign() -> Campaign:
    with executor(1) as made:
        return run_campaign(_plan(), made, batch=3)


def _same(a: Campaign, b: Campaign) -> None:
    np.testing.assert_array_equal(a.done, b.done)
    np.testing.assert_array_equal(a.completed, b.completed)
    assert a.why == b.why
    assert list(a.metrics) == list(b.metrics)
    for name, column in a.metrics.items():
        np.testing.assert_array_equal(b.metrics[name], column, err_msg=name)


# -- points ---------------------------------------------------------------------------------------


def test_latin_hypercube_fills_every_slice_once() -> None:
    # What a Latin hypercube is (McKay, Beckman and Conover 1979, from memory): one point in each
    # of n equal slices of every dimension.
    points = latin_hypercube(ALL, 37, 4)
    for number, one in enumerate(points.variations):
        shares = (points.values[:, number] - one.low) / (one.high - one.low)
        assert sorted((shares * 37).astype(int)) == list(range(37))
    np.testing.assert_array_equal(points.values, latin_hypercube(ALL, 37, 4).values)
    assert not np.array_equal(points.values, latin_hypercube(ALL, 37, 5).values)


def test_grid_is_every_combination() -> None:
    points = grid([variation("friction"), variation("mass")], [3, 2])
    np.testing.assert_allclose(
        points.values,
        [[0.8, 0.9], [0.8, 1.3], [1.0, 0.9], [1.0, 1.3], [1.2, 0.9], [1.2, 1.3]],
    )
    assert grid([variation("temperature")], [1]).values.tolist() == [[0.0]]
    assert points.at(3) == {"friction": 1.0, "mass": 1.3}


def test_what_cannot_vary_is_refused_with_what_can() -> None:
    with pytest.raises(ModelError, match="friction, temperature"):
        variation("gravity")
    with pytest.raises(ModelError, match="Stay within"):
        variation("mass").within(0.1, 1)
    with pytest.raises(ModelError, match="lower bound first"):
        variation("mass").within(1.2, 1)
    with pytest.raises(ModelError, match="named twice"):
        latin_hypercube([variation("mass")] * 2, 3)
    with pytest.raises(ModelError, match="cannot be made"):
        latin_hypercube(ALL, 0)


# -- independence of the workers --------------------------------------------------------------


def test_processes_threads_and_batches_give_the_same(campaign: Campaign) -> None:
    assert campaign.done.all()
    assert campaign.completed.all()
    seen: list[tuple[int, int]] = []
    with executor(2) as made:
        other = run_campaign(
            _plan(), made, workers=2, batch=5, progress=lambda d, n: seen.append((d, n))
        )
    _same(campaign, other)
    assert seen[-1] == (24, 24)
    assert [d for d, _ in seen] == sorted(d for d, _ in seen)


_ON_DASK = """
import sys
import distributed
from calib_model.vehicle.campaign import plan_from_text, run_campaign
from calib_model.vehicle.campaign_store import write_campaign
from calib_model.vehicle.cluster_trust import confirm
from calib_model.vehicle.executors import NoWorkers, executor

if __name__ == "__main__":
    plan = plan_from_text(open(sys.argv[1], encoding="utf-8").read())
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None
    ) as cluster:
        confirm(cluster.scheduler_address)
        with executor(scheduler=cluster.scheduler_address) as made:
            write_campaign(sys.argv[2], run_campaign(plan, made, workers=2, batch=4))
    confirm("tcp://127.0.0.1:9")
    try:
        with executor(scheduler="tcp://127.0.0.1:9"):
            pass
    except NoWorkers as error:
        print(error)
"""


def test_a_dask_cluster_gives_the_same(campaign: Campaign, tmp_path: Path) -> None:
    # A cluster of two processes, in a process of its own: Dask leaves threads behind.
    script, plan, out = tmp_path / "on_dask.py", tmp_path / "plan.json", tmp_path / "runs.h5"
    script.write_text(_ON_DASK, encoding="utf-8")
    plan.write_text(_plan().to_text(), encoding="utf-8")
    root = str(Path(__file__).resolve().parents[2])
    done = subprocess.run(
        [sys.executable, str(script), str(plan), str(out)],
        env={**os.environ, "PYTHONPATH": root},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=300,  # its workers may have to compile the model
        check=False,
    )
    assert done.returncode == 0, done.stderr
    _same(campaign, read_campaign(out))
    assert "tcp://127.0.0.1:9 does not answer" in done.stdout


def test_no_worker_can_do_nothing() -> None:
    with pytest.raises(NoWorkers, match="0 workers"), executor(0):
        pass


def test_a_run_depends_on_its_number_alone() -> None:
    plan = _plan()
    assert [plan.parts(r) for r in (0, 6, 12, 23)] == [(0, 0, 0), (0, 1, 0), (1, 0, 0), (1, 1, 5)]
    assert plan.seed_of(2) == plan.seed_of(8)  # the same noise for both sets
    assert len({plan.seed_of(r) for r in range(24)}) == 12
    assert plan.seed_of(2) != _plan(seed=12).seed_of(2)


def test_variations_reach_the_model(campaign: Campaign) -> None:
    plan = Plan(
        (NamedSet("normal", shipped()),), (LAUNCH,), LARCH,
        grid([variation("friction")], [3]),
    )  # fmt: skip
    with executor(1) as made:
        slips = run_campaign(plan, made).metrics["peak_front_slip"]
    assert (np.diff(slips) < 0).all()  # more friction, less slip
    plain = Plan((NamedSet("normal", shipped()),), (LAUNCH,), LARCH, nominal(), 0)
    with executor(1) as made:
        once = run_campaign(plain, made)
    bench = bench_of().drive(LAUNCH, seed=plain.seed_of(0))
    assert once.metrics["peak_front_slip"][0] == value(bench, "peak_front_slip")


def test_a_campaign_that_is_stopped_keeps_what_it_has() -> None:
    done: list[int] = []
    with executor(1) as made:
        part = run_campaign(
            _plan(), made, batch=2,
            progress=lambda d, n: done.append(d), cancelled=lambda: bool(done) and done[-1] >= 6,
        )  # fmt: skip
    assert 6 <= part.done.sum() < 24
    assert np.isnan(part.metrics["peak_front_slip"][~part.done]).all()


# -- tables ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("suffix", [".parquet", ".h5"])
def test_a_table_comes_back_as_it_was(campaign: Campaign, tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"runs{suffix}"
    write_campaign(path, campaign)
    back = read_campaign(path)
    _same(campaign, back)
    assert back.plan.to_text() == campaign.plan.to_text()
    assert [p.name for p in tmp_path.iterdir() if p.is_file()] == [path.name]


def test_others_read_the_table(campaign: Campaign, tmp_path: Path) -> None:
    # pandas and plain h5py, as an outsider would.
    write_campaign(tmp_path / "runs.parquet", campaign)
    frame = pd.read_parquet(tmp_path / "runs.parquet")
    assert len(frame) == 24
    assert set(frame["manoeuvre"]) == {"launch_snow", "parking_circle"}
    assert {"friction", "temperature", "mass", "tyre", "sensor_noise", "seed"} <= set(frame)
    wound = frame[frame["manoeuvre"] == "parking_circle"]
    assert wound["peak_wind_up"].notna().all()
    assert wound["peak_front_slip"].isna().all()
    field = pq.read_schema(tmp_path / "runs.parquet").field("peak_wind_up")
    assert field.metadata == {b"unit": b"N.m"}
    write_campaign(tmp_path / "runs.h5", campaign)
    with h5py.File(tmp_path / "runs.h5") as file:
        np.testing.assert_array_equal(file["mass"][:], frame["mass"])
        assert file["set"].asstr()[7] == "low_grip"
        assert file["peak_wind_up"].attrs["unit"] == b"N.m"


def test_a_worst_case_runs_again_to_the_same_value(campaign: Campaign, tmp_path: Path) -> None:
    write_campaign(tmp_path / "runs.parquet", campaign)
    back = read_campaign(tmp_path / "runs.parquet")
    worst = next(d for d in distributions(back) if d.metric.name == "peak_front_slip").worst[0]
    result = run_again(back.plan, worst)
    assert value(result, "peak_front_slip") == campaign.metrics["peak_front_slip"][worst]
    assert result.trace["front_slip"].max() == value(result, "peak_front_slip")


def test_damage_and_strangers_are_told(campaign: Campaign, tmp_path: Path) -> None:
    with pytest.raises(SaveFailed, match="says nothing of the form"):
        write_campaign(tmp_path / "runs.xls", campaign)
    with pytest.raises(FileProblem, match="Cannot be read"):
        read_campaign(tmp_path / "nothing.h5")
    (tmp_path / "text.h5").write_text("no table")
    with pytest.raises(DamagedFile, match="neither Parquet nor HDF5"):
        read_campaign(tmp_path / "text.h5")
    write_campaign(tmp_path / "runs.h5", campaign)
    data = bytearray((tmp_path / "runs.h5").read_bytes())
    (tmp_path / "cut.h5").write_bytes(data[: len(data) // 2])
    with pytest.raises(DamagedFile):
        read_campaign(tmp_path / "cut.h5")
    with h5py.File(tmp_path / "runs.h5", "r+") as file:
        file["mass"][3] += 0.01
    with pytest.raises(DamagedFile, match="check sum"):
        read_campaign(tmp_path / "runs.h5")


def test_a_plan_that_is_none_is_refused() -> None:
    text = json.loads(_plan().to_text())
    del text["seed"]
    with pytest.raises(ModelError, match="no campaign's plan"):
        plan_from_text(json.dumps(text))
    with pytest.raises(ModelError, match="two sets of one name"):
        Plan((NamedSet("a", shipped()),) * 2, (LAUNCH,), LARCH, nominal())
    with pytest.raises(ModelError, match="needs a manoeuvre"):
        Plan((NamedSet("a", shipped()),), (), LARCH, nominal())


# -- summary --------------------------------------------------------------------------------------


def test_percentiles_are_scipys(campaign: Campaign) -> None:
    found = list(distributions(campaign))
    assert [(d.manoeuvre, d.set_name, d.metric.name) for d in found][:2] == [
        ("launch_snow", "normal", "peak_front_slip"),
        ("launch_snow", "low_grip", "peak_front_slip"),
    ]
    column = campaign.metrics["peak_front_slip"][6:12]
    for percent, number in found[1].percentiles:
        assert number == pytest.approx(stats.scoreatpercentile(column, percent), rel=1e-12)
    assert [p for p, _ in found[1].percentiles] == list(PERCENTILES)
    assert found[1].worst == tuple(6 + np.argsort(-column)[:3])


def test_worst_follows_the_direction_and_leaves_out_what_has_no_value() -> None:
    plan = Plan(
        (NamedSet("a", shipped()),),
        (replace(MANOEUVRES["kick_down"], metrics=("share_disconnected",)),),
        LARCH,
        grid([variation("friction")], [5]),
    )
    values = np.array([40.0, np.nan, 10.0, 30.0, 10.0])
    done = np.array([True, True, True, True, False])
    made = Campaign(plan, done, done, ("",) * 5, {"share_disconnected": values})
    (found,) = distributions(made)
    assert found.worst == (2, 3, 0)  # higher is better, so the lowest is worst
    assert (found.runs, found.missing, found.without) == (4, 1, (1,))
    empty = replace(made, metrics={"share_disconnected": np.full(5, np.nan)})
    (found,) = distributions(empty)
    assert found.percentiles == ()
    assert np.isnan(found.mean)
    broken = replace(made, completed=np.array([True, False, True, False, False]),
                     why=("", "It tips.", "", "It tips.", ""))  # fmt: skip
    assert incomplete(broken) == {"It tips.": [1, 3]}
