"""The system of rows says the same as the checker, and its words lead back to cells."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import sample_sets
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.editing.change import apply
from calib_model.rules.check import check
from calib_model.rules.limits import Locked
from calib_model.rules.relations import Hysteresis, Relation
from calib_model.rules.shape import FixedValue, Monotone
from calib_model.rules.waivers import waiver_for
from calib_model.shaping import gather, repair, smooth
from calib_model.shaping.words import parts_of
from calib_model.store import read_set
from tests.shaping.making_shaping import axes_of, grid, locked

FOLDER = Path(sample_sets.__file__).parent


@pytest.fixture(scope="module")
def sets() -> dict[str, CalibrationSet]:
    return {n: read_set(FOLDER / f"larch_{n}.h5").set for n in ("normal", "low_grip", "towing")}


@pytest.mark.parametrize("mode", ["normal", "low_grip", "towing"])
def test_rows_break_exactly_where_the_checker_finds(
    sets: dict[str, CalibrationSet], mode: str
) -> None:
    # Every table is disturbed on its own; the rows that break must be those of the findings.
    content = sets[mode]
    against = [] if mode == "normal" else [sets["normal"]]
    rng = np.random.default_rng(3)
    compared = 0
    for table in content:
        noise = rng.normal(size=table.shape) * table.span * rng.choice([0.0, 0.01, 0.2])
        disturbed = content.with_table(table.with_values(table.values + noise))
        system = gather(disturbed, [table.id], against=against)
        assert not system.missing
        broken = {
            (system.sources[system.origin[r]].place[1], system.sources[system.origin[r]].rule.kind)
            for r in system.broken(system.values)
        }
        reads = {t.id for t in disturbed if any(table.id in r.reads() for r in t.rules)}
        factors = {(s.place[1], s.rule.kind) for s in system.read_as_factor}
        found = {
            (f.table, f.rule)
            for f in check(disturbed, against).findings
            if f.source.linear and f.table in reads | {table.id}
        }
        # Rules of other tables that break without this one's doing have no row here.
        own = {(t, k) for t, k in found if t == table.id}
        theirs = {
            (t, k)
            for t, k in found - own
            if any(r.kind == k and table.id in r.reads() for r in disturbed[t].rules)
        }
        assert broken == own | (theirs - factors), table.id
        compared += len(broken)
    assert compared > 20


def test_a_partner_that_stays_is_a_constant() -> None:
    axes = axes_of((5,))
    low = Table("low", [1.0, 2, 3, 4, 5], axes, rules=(Hysteresis("high", gap=1.0),), upper=50)
    high = Table("high", [2.0, 2.5, 3.5, 5, 6], axes)
    content = CalibrationSet([low, high])
    # Seen from either side it is the same five rows; both together hold ten coefficients.
    for moving, per_row in ((["low"], 1), (["high"], 1), (["low", "high"], 2)):
        system = gather(content, moving)
        number = next(n for n, s in enumerate(system.sources) if s.rule.kind == "hysteresis")
        rows = np.flatnonzero(system.origin == number)
        assert len(rows) == 5
        assert (np.diff(system.matrix.indptr)[rows] == per_row).all()
        assert system.broken(system.values).tolist() == rows[[1, 2]].tolist()


def test_fixed_cells_are_exact_and_gone_from_the_problem() -> None:
    content = locked(grid((6, 5), FixedValue(0.1, scope=())), {})
    reduced = gather(content, ["t"]).reduced
    assert reduced.free.size == 0
    assert (reduced.base == 0.1).all()
    content = locked(grid((6, 5), Monotone("pedal")), {(2, 2): 77.7})
    reduced = gather(content, ["t"]).reduced
    assert reduced.free.size == 29
    assert reduced.base[2 * 5 + 2] == 77.7
    # Order against a pinned cell is a limit of its neighbour.
    below = reduced.free.tolist().index(1 * 5 + 2)
    assert reduced.upper[below] == 77.7


def test_empty_cells_break_nothing_and_hold_nothing() -> None:
    content = grid((6, 5), Monotone("pedal"))
    values = content["t"].values.copy()
    values[3, 3] = np.nan
    content = content.with_table(content["t"].with_values(values))
    system = gather(content, ["t"])
    system.allowed[3 * 5 + 3] = False
    assert 3 * 5 + 3 not in system.reduced.free
    touched = system.matrix[:, [3 * 5 + 3]].nonzero()[0]
    assert not set(touched) & set(system.broken(system.values))
    assert not set(touched) & set(system.reduced.rows)


def test_a_rule_that_cannot_be_stated_is_named() -> None:
    table = Table("t", [1.0, 2, 3], axes_of((3,)), rules=(Relation("gone", "<="),))
    system = gather(CalibrationSet([table]), ["t"])
    (missing,) = system.missing
    assert missing.rule.kind == "relation"
    assert "no table gone" in missing.reason


def test_words_name_rule_cells_and_values() -> None:
    content = locked(grid((6, 5), Monotone("pedal", reason="more for more")), {(2, 2): 77.7})
    system = gather(content, ["t"])
    kinds = [s.rule.kind for s in system.sources]
    rows = [
        int(np.flatnonzero(system.origin == kinds.index(kind))[0])
        for kind in ("monotone", "locked")
    ]
    order, lock = parts_of(system, rows, held=[0])[:2]
    assert order.text.startswith("T: never falls with pedal, from ")
    assert order.text.endswith("(more for more).")
    assert lock.text.startswith("T is locked at 77.7 N·m at ")
    assert lock.cells == (((0, "t"), 12),)
    assert parts_of(system, [], held=[0])[0].text.endswith("and may not move.")


def test_locks_count_even_where_the_table_holds_another_value() -> None:
    content = grid((4,), Monotone("pedal"))
    table = content["t"]
    lock = Locked((table.coordinates((1,)),), (12.5,))
    content = content.with_table(replace(table, rules=(lock,)))
    assert gather(content, ["t"]).reduced.base[1] == 12.5


def test_a_waived_breach_is_not_mended_away(sets: dict[str, CalibrationSet]) -> None:
    # The scenario's deliberate breach: more slip in low grip at 0-10 km/h, to be waived.
    mode, base = sets["low_grip"], sets["normal"]
    (finding,) = check(mode, [base]).of("slip_target")
    assert not repair(mode, "slip_target", against=[base]).is_empty
    waiver = waiver_for(mode, finding, reason="deep snow", author="A", approver="B")
    waived = mode.with_record(replace(mode.record, waivers=(waiver,)))
    assert repair(waived, "slip_target", against=[base]).is_empty
    # It may move within what is waived, and no further.
    smoothed = smooth(waived, "slip_target", 0.01, against=[base])
    after = apply(waived, smoothed.change())
    assert check(after, [base]).counts("slip_target")[:2] == (0, 0)
    # Not approved, by its author, or over: then it counts for nothing.
    for change in ({"approver": ""}, {"approver": "a"}, {"expires": "2001-01-01"}, {"size": 0.5}):
        other = replace(waiver, **change)
        lapsed = mode.with_record(replace(mode.record, waivers=(other,)))
        assert not repair(lapsed, "slip_target", against=[base]).is_empty, change
