"""Verdicts, limits, spreads and bands as plain values, against SciPy and the standard library."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy import stats

from app.driving.band import segments
from app.driving.limits import Forgetful, Limits
from app.driving.spread import Spread, classes, outline, shares, spreads, worst_rows
from app.driving.top_view import outline as body
from app.driving.verdict import judge, limit_words, number, signed, within
from calib_model.core.calibration_set import CalibrationSet
from calib_model.vehicle.campaign import Campaign, NamedSet, Plan
from calib_model.vehicle.manoeuvres import MANOEUVRES
from calib_model.vehicle.metrics import Metric
from calib_model.vehicle.metrics_all import METRICS
from calib_model.vehicle.parameters import LARCH
from calib_model.vehicle.variations import VARIATIONS, grid

LOW, HIGH, NEITHER = (
    METRICS["peak_front_slip"],
    METRICS["grade_held"],
    METRICS["limit_cycle_frequency"],
)


@pytest.mark.parametrize(
    ("measure", "old", "new", "words"),
    [
        (LOW, 10.0, 8.0, "✓ better"),
        (LOW, 8.0, 10.0, "✗ worse"),
        (HIGH, 8.0, 10.0, "✓ better"),
        (HIGH, 10.0, 8.0, "✗ worse"),
        (LOW, 10.0, 10.0004, "= same"),  # does not show in four digits
        (NEITHER, 1.0, 2.0, "≠ changed"),
        (LOW, math.nan, 2.0, ""),
    ],
)
def test_a_verdict_is_a_mark_and_a_word(
    measure: Metric, old: float, new: float, words: str
) -> None:
    assert judge(measure, old, new).words == words


def test_a_change_below_the_measures_floor_is_none() -> None:
    rolled = METRICS["roll_back"]  # its floor is a millimetre
    assert judge(rolled, 0.002, 0.002 + 1.5e-07).kind == "same"
    assert judge(rolled, 0.002, 0.0025).kind == "same"
    assert judge(rolled, 0.002, 0.0035).kind == "worse"


def test_numbers_read_well() -> None:
    assert number(3.331e-16, "s") == "0 s"
    assert number(math.nan) == "–"
    assert number(82.916, "deg") == "82.92°"
    assert signed(-0.0181, "s") == "\N{MINUS SIGN}0.0181 s"
    assert signed(2.0) == "+2"


def test_a_limit_is_the_most_or_the_least() -> None:
    assert within(LOW, 5.0, 6.0) is True
    assert within(HIGH, 5.0, 6.0) is False
    assert within(LOW, math.nan, 6.0) is None
    assert limit_words(LOW, 6.0) == "≤ 6"
    assert limit_words(HIGH, 6.0) == "≥ 6"


def test_limits_are_remembered() -> None:
    memory = Forgetful()
    limits = Limits(memory)
    limits.set("launch_snow", "slip", 6.5)
    assert Limits(memory).of("launch_snow", "slip") == 6.5
    limits.set("launch_snow", "slip", math.nan)
    assert math.isnan(Limits(memory).of("launch_snow", "slip"))
    memory.remember("driving/limits", "{no json")
    assert math.isnan(Limits(memory).of("launch_snow", "slip"))


def test_shares_are_the_empirical_distribution_of_scipy() -> None:
    values = np.sort(np.random.default_rng(5).normal(size=83).round(1))  # ties on purpose
    x, y = shares(values)
    theirs = stats.ecdf(values).cdf
    for at in (-3.0, -0.5, 0.0, 0.3, 2.0):
        mine = y[x <= at].max(initial=0.0)
        assert mine == pytest.approx(100 * theirs.evaluate(at), abs=1e-12)


def test_percentiles_and_worst() -> None:
    values = np.array([3.0, 1.0, np.nan, 2.0, 10.0])
    spread = Spread("a", np.arange(5), values, np.ones(5, bool))
    assert spread.percentile(50) == pytest.approx(stats.scoreatpercentile([1, 2, 3, 10], 50))
    assert spread.worst(LOW) == 10.0
    assert spread.worst(HIGH) == 1.0
    assert spread.beyond(LOW, 2.5) == 2
    assert spread.beyond(HIGH, 2.5) == 2
    assert spread.beyond(LOW, math.nan) == 0


def test_an_outline_counts_every_run_once() -> None:
    values = np.random.default_rng(6).gamma(2.0, size=200)
    borders = classes(values)
    x, y = outline(np.sort(values), borders)
    assert borders[0] == values.min()
    assert borders[-1] == values.max()
    # Each class's level appears twice; the ends come down to zero.
    assert y[1:-1:2].sum() == 200
    assert y[0] == y[-1] == 0.0
    assert x.size == y.size
    assert classes(np.array([2.0, 2.0])).size == 2  # one value only


def campaign() -> Campaign:
    """Two manoeuvres with two sets at two points each; a run tipped over, one gave no number."""
    ice, snow = MANOEUVRES["launch_ice"], MANOEUVRES["launch_snow"]
    sets = tuple(NamedSet(name, CalibrationSet({}), name) for name in ("one", "two"))
    points = grid([VARIATIONS["friction"]], [2])
    slip = np.array([5.0, np.nan, 7.0, np.nan, 9.0, 9.0, 9.0, 9.0])
    completed = np.array([True, False, *[True] * 6])
    why = ("", "It tipped over.", *[""] * 6)
    metrics = {LOW.name: slip, HIGH.name: slip}
    plan = Plan(sets, (ice, snow), LARCH, points)
    return Campaign(plan, np.ones(8, dtype=bool), completed, why, metrics)


def test_worst_runs_begin_with_those_that_were_not_completed() -> None:
    assert worst_rows(campaign(), "launch_ice", LOW, 9) == [1, 2, 0, 3]
    assert worst_rows(campaign(), "launch_ice", HIGH, 2) == [1, 0]
    assert worst_rows(campaign(), "parking_circle", LOW, 9) == []


def test_spreads_are_by_set_in_order() -> None:
    found = spreads(campaign(), "launch_ice", LOW.name)
    assert [s.set_name for s in found] == ["one", "two"]
    assert [s.rows.tolist() for s in found] == [[0, 1], [2, 3]]
    assert spreads(campaign(), "launch_ice", "other") == []


def test_segments_are_runs_of_equal_codes() -> None:
    codes = np.array([1.0, 1.0, np.nan, 3.0, 3.0, 3.0, 1.0])
    whole = [-1 if math.isnan(c) else int(c) for c in codes]
    grouped = [(k, len(list(g))) for k, g in itertools.groupby(whole)]
    assert [(code, end - first) for first, end, code in segments(codes)] == grouped
    assert segments(np.empty(0)) == []


def test_the_outline_turns_to_the_left_with_the_heading() -> None:
    straight = body(0.0, 0.0, 0.0, (2.7, 1.6))
    turned = body(3.0, 4.0, 30.0, (2.7, 1.6))
    # A turn in the plane is a multiplication by exp(i a) (any textbook on complex numbers).
    expected = (straight[:, 0] + 1j * straight[:, 1]) * np.exp(1j * np.pi / 6) + (3 + 4j)
    assert np.allclose(turned[:, 0] + 1j * turned[:, 1], expected)
    assert straight[:, 0].max() > 0  # the nose is ahead
