"""The bench sweep that comes with the sample sets: made by a script, its truth known.

The sweep, the actuators and every figure are invented (the demo programme).
"""

from __future__ import annotations

import numpy as np
import pytest

from calib_model.core.calibration_set import CalibrationSet
from calib_model.editing.change import apply
from calib_model.exchange.measurements import Choice, read_samples
from calib_model.rules.check import check
from calib_model.shaping.branches import BranchReport, fit_branches
from calib_model.shaping.fit import FitProposal, fit
from calib_model.shaping.fit_options import FitOptions, NodeState
from calib_model.shaping.samples import Samples, SamplesRefused, from_arrays
from calib_model.shaping.sweeps import split
from calib_model.store import open_file
from sample_sets import bench_sweep
from tests.fit.making_fits import APPLY, RELEASE, SAMPLE_SETS, SWEEP, curve, only

NEW = ("new 1", "new 2")


@pytest.fixture(scope="module")
def normal() -> CalibrationSet:
    return open_file(SAMPLE_SETS / "larch_normal.h5").result().set


@pytest.fixture(scope="module")
def samples(normal: CalibrationSet) -> Samples:
    return read_samples(
        SWEEP,
        normal[APPLY],
        [Choice("clamp"), Choice("motor_temperature")],
        Choice("motor_current"),
        specimen="actuator",
    )


@pytest.fixture(scope="module")
def proposal(normal: CalibrationSet, samples: Samples) -> FitProposal:
    return fit_branches(normal, APPLY, RELEASE, samples, nominal=NEW)


def truth(content: CalibrationSet, rising: bool, units: tuple[int, ...] = (0, 1)) -> np.ndarray:
    f, t = np.meshgrid(*(a.values for a in content[APPLY].axes), indexing="ij")
    actuators = bench_sweep.ACTUATORS
    return np.mean([bench_sweep.current(actuators[u], f, t, rising) for u in units], axis=0)


def test_the_shipped_file_is_what_the_script_makes() -> None:
    made = bench_sweep.sweep()
    kept = [line.split(";") for line in SWEEP.read_text(encoding="utf-8").splitlines()]
    again = [line.split(";") for line in bench_sweep.csv_text(made).splitlines()]
    assert kept[:2] == again[:2]
    assert [row[1] for row in kept] == [row[1] for row in again]
    # Within half a written digit of what was rounded: the last bit of an elementary function is
    # the processor's, so that at a rounding edge the text itself may differ.
    written = np.array([[float(row[n]) for n in (0, 2, 3, 4)] for row in kept[2:]])
    exact = np.column_stack([made.time, made.temperature, made.amperes, made.clamp / 1000])
    half = 0.5 * 10.0 ** -np.array([1, 1, 4, 4])
    assert (np.abs(written - exact) <= half * (1 + 1e-6)).all()


def test_branches_are_those_that_the_bench_drove(samples: Samples) -> None:
    found = split(samples)
    assert found.turns == 3 * 11  # per actuator three temperatures with four ramps each
    true = bench_sweep.sweep()
    per = 4 * bench_sweep.PER_RAMP
    driven_up = (np.arange(true.time.size) % per) // bench_sweep.PER_RAMP % 2 == 0
    named = found.direction != 0
    assert (driven_up[named] == (found.direction[named] > 0)).mean() > 0.999
    # What was called a branch is one: the reading is near the truth of that branch.
    for number, actuator in enumerate(bench_sweep.ACTUATORS):
        mine = named & (np.asarray(samples.specimen) == number)
        mine[true.outlier] = False
        expected = np.where(
            found.direction[mine] > 0,
            bench_sweep.current(actuator, true.clamp[mine], true.temperature[mine], True),
            bench_sweep.current(actuator, true.clamp[mine], true.temperature[mine], False),
        )
        off = np.abs(true.amperes[mine] - expected)
        assert np.quantile(off, 0.99) < 0.12


@pytest.mark.parametrize(("id", "rising"), [(APPLY, True), (RELEASE, False)])
def test_measured_nodes_are_near_the_truth(
    proposal: FitProposal, normal: CalibrationSet, id: str, rising: bool
) -> None:
    known = proposal.fits[id].state == NodeState.MEASURED
    assert known.sum() == 30  # the columns of three temperatures
    off = np.abs(proposal.values(id) - truth(normal, rising))[known]
    assert np.sqrt(np.mean(off**2)) < 0.02
    assert off.max() < 0.05  # straight pieces cannot follow the take-up more closely
    # Against what was there before.
    before = np.abs(normal[id].values - truth(normal, rising))[known]
    assert off.mean() < 0.3 * before.mean()


def test_the_tables_keep_order_gap_and_every_other_rule(
    proposal: FitProposal, normal: CalibrationSet
) -> None:
    content = apply(normal, proposal.change())
    assert not check(content).of(APPLY)
    assert not check(content).of(RELEASE)
    up, down = proposal.values(APPLY), proposal.values(RELEASE)
    for values in (up, down):
        assert (np.diff(values, axis=0) > 0).all()
        assert normal[APPLY].storage.representable(values).all()
    assert (up - down)[1:].min() >= 0.001
    report = proposal.branches
    assert isinstance(report, BranchReport)
    assert report.asked == 0.001
    assert report.gap >= report.asked
    width = truth(normal, True) - truth(normal, False)
    known = proposal.fits[APPLY].state == NodeState.MEASURED
    np.testing.assert_allclose(report.width[known][1:], width[known][1:], atol=0.09)


def test_a_wider_gap_can_be_asked_for(normal: CalibrationSet, samples: Samples) -> None:
    found = fit_branches(normal, APPLY, RELEASE, samples, FitOptions(gap=0.5), nominal=NEW)
    inside = normal[APPLY].axes[0].values >= 1  # the rule's own scope: clamp above zero
    width = (found.values(APPLY) - found.values(RELEASE))[inside]
    assert width.min() >= 0.5 - 1e-9
    assert found.table(RELEASE).rules == normal[RELEASE].rules


def test_every_planted_outlier_is_listed_and_nothing_else(proposal: FitProposal) -> None:
    planted = set((bench_sweep.sweep().outlier + 3).tolist())  # header and units are two lines
    listed = {o.line for f in proposal.fits.values() for o in f.residuals.outliers}
    assert planted == listed
    assert len(planted) == bench_sweep.OUTLIERS


def test_aged_actuator_is_the_upper_limit_sample(
    proposal: FitProposal, normal: CalibrationSet
) -> None:
    report = proposal.specimens
    assert report is not None
    assert report.nominal == NEW
    band = report.bands[APPLY]
    assert (band.lowest, band.highest) == ("new 1", "aged")
    known = proposal.fits[APPLY].state == NodeState.MEASURED
    assert set(band.high_unit[known]) == {"aged"}
    aged = truth(normal, True, (2,))
    np.testing.assert_allclose(band.high[known], aged[known], atol=0.08)
    assert np.isnan(band.high[~known]).all()
    assert any("Limit samples" in n for n in proposal.notes)


def test_one_fit_through_both_branches_is_refused_with_the_distance(
    normal: CalibrationSet, samples: Samples
) -> None:
    with pytest.raises(SamplesRefused, match=r"way up lie .* A above .* fit neither") as told:
        fit(normal, APPLY, samples)
    assert "branch" in told.value.remedy


def test_one_branch_alone_can_be_fitted(normal: CalibrationSet, samples: Samples) -> None:
    found = fit(normal, APPLY, samples, branch="up", nominal=NEW)
    known = found.fits[APPLY].state == NodeState.MEASURED
    off = np.abs(found.values(APPLY) - truth(normal, True))[known]
    assert off.max() < 0.06


def test_tables_the_wrong_way_round_are_refused(normal: CalibrationSet, samples: Samples) -> None:
    with pytest.raises(SamplesRefused, match="must stay") as told:
        fit_branches(normal, RELEASE, APPLY, samples)
    assert "Exchange the two tables" in told.value.remedy


def test_scattered_samples_are_no_sweep(normal: CalibrationSet, samples: Samples) -> None:
    mixed = np.random.default_rng(0).permutation(samples.rows)
    shuffled = from_arrays([p[mixed] for p in samples.points], samples.values[mixed])
    with pytest.raises(SamplesRefused, match="do not go up and down in sweeps"):
        fit_branches(normal, APPLY, RELEASE, shuffled)


def test_branches_that_do_not_differ_may_be_pooled() -> None:
    rng = np.random.default_rng(0)
    x = np.concatenate([np.linspace(0, 10, 200), np.linspace(10, 0, 200)])
    samples = from_arrays([x], 2 * x + rng.normal(size=400) * 0.1)
    found = fit(only(curve([0, 5, 10])), "curve", samples)
    np.testing.assert_allclose(found.values("curve"), [0, 10, 20], atol=0.06)


def test_settings_and_outcome_go_into_the_history(proposal: FitProposal) -> None:
    change = proposal.change()
    assert set(change.tables) == {APPLY, RELEASE}
    assert "larch_bench_sweep.csv" in change.title
    assert "loss huber" in change.note
    assert "thin data" in change.note


def soft_sweep(noise: float) -> Samples:
    """A current that goes up and down evenly; a force that bites softly and never sticks."""
    rng = np.random.default_rng(4)
    ramp = np.linspace(0.0, 10.0, 200)
    drive = np.concatenate([ramp, ramp[::-1], ramp, ramp[::-1]])
    force = 60.0 * drive**2
    force = force + noise * rng.normal(size=force.size)
    return from_arrays([drive], force, drive=drive)


@pytest.mark.parametrize("noise", [0.0, 0.5])
def test_a_soft_bite_is_no_free_travel(noise: float) -> None:
    # Up to a current of 1 A the force stays below a hundredth of its range: 20 samples of each
    # ramp, all that the first node of a table with a node per ampere has.
    samples = soft_sweep(noise)
    found = split(samples)
    assert found.turns == 3
    low = np.asarray(samples.points[0]) < 0.5
    kept = found.direction != 0
    assert kept[low].mean() > (0.9 if noise == 0 else 0.4)
    table = curve(np.arange(0.0, 11.0), lower=-100)
    fitted = fit(only(table), "curve", samples, FitOptions(least=5), branch="up")
    assert fitted.fits["curve"].state[0] == NodeState.MEASURED
    assert abs(fitted.values("curve")[0]) < 20


def test_samples_beside_a_turn_are_kept() -> None:
    # Nothing sticks here, so but for the turning sample itself, which belongs to the way it came,
    # every sample has its branch.
    samples = soft_sweep(0.0)
    direction = split(samples).direction
    assert (direction == 0).sum() <= 10  # where the force itself turns, flat
    driven = np.repeat([1, -1, 1, -1], 200)
    assert (direction != driven).sum() <= 3 + (direction == 0).sum()
