"""How many roles are suggested rightly among 300 tables with foreign names, none wrongly sure.

The bar is 80 % rightly and none wrongly sure.  Seeds 1 and 2 were looked at while vocabulary and
weights were set; the others were not.  Measured when this was written, over four ways of writing
ids: houses plain, shop and other 95 to 100 % rightly with 16 to 32 of 42 sure; the house of unheard
words 36 to 57 % rightly, none sure; a mixed house with a fifth of unheard words 79 to 88 %.
"""

from __future__ import annotations

import numpy as np
import pytest

from calib_model.core.calibration_set import CalibrationSet
from calib_model.roles.suggest import Suggestions, suggest_roles
from tests.roles.naming import HOUSES, ROLE_PHRASES, STYLES, foreign

LOOKED_AT, HELD_OUT = (1, 2), (11, 12, 13)


def judged(found: Suggestions, roles: dict[str, str]) -> tuple[int, int, list[str]]:
    """Count what is right, what is sure, and name what is wrongly sure."""
    right = sum(roles.get(one.table) == one.role for one in found.roles)
    wrongly = [f"{s.table}: {s.role}" for s in found.sure if roles.get(s.table) != s.role]
    return right, len(found.sure), wrongly


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("house", ["plain", "shop", "other"])
@pytest.mark.parametrize("seed", [LOOKED_AT[0], HELD_OUT[0]])
def test_most_are_right_and_none_is_wrongly_sure(
    sample: CalibrationSet, house: str, style: str, seed: int
) -> None:
    content, roles = foreign(sample, house, style, seed)
    assert (len(content), len(roles)) == (300, 42)
    right, sure, wrongly = judged(suggest_roles(content), roles)
    assert wrongly == []
    assert right >= 0.8 * 42
    assert sure >= 10


@pytest.mark.parametrize("style", STYLES)
def test_words_never_heard_leave_a_third_and_nothing_sure(
    sample: CalibrationSet, style: str
) -> None:
    """Units, axes, ranges and shapes alone; a third of the decoys has all four of them as well."""
    content, roles = foreign(sample, "far", style, HELD_OUT[1])
    right, sure, _ = judged(suggest_roles(content), roles)
    assert right >= 0.3 * 42
    assert sure == 0


@pytest.mark.parametrize("seed", HELD_OUT)
def test_where_the_true_table_is_gone_its_double_is_not_sure(
    sample: CalibrationSet, seed: int
) -> None:
    """Half of the role's tables are not there; what looks like them still is."""
    for house in ("plain", "shop", "other"):
        content, roles = foreign(sample, house, "snake", seed)
        gone = np.random.default_rng(seed).random(len(roles)) < 0.5
        left = {id: role for (id, role), out in zip(roles.items(), gone, strict=True) if not out}
        there = CalibrationSet([t for t in content if t.id in left or t.id not in roles])
        right, sure, wrongly = judged(suggest_roles(there), left)
        assert wrongly == []
        assert right >= 0.8 * len(left)
        assert sure > 0


def test_a_house_that_mixes_its_words(sample: CalibrationSet) -> None:
    """Each table named by a house drawn at random, a fifth of them in words never heard."""
    rights = []
    for seed in HELD_OUT:
        stream = np.random.default_rng(seed)
        parts = {house: foreign(sample, house, "camel", seed) for house in HOUSES}
        tables, roles = {}, {}
        for role in ROLE_PHRASES:
            house = str(stream.choice(list(parts), p=[0.3, 0.25, 0.25, 0.2]))
            content, named = parts[house]
            id = next(i for i, r in named.items() if r == role)
            tables[id], roles[id] = content[id], role
        content, named = parts["other"]
        tables |= {t.id: t for t in content if t.id not in named and t.id not in tables}
        found = suggest_roles(CalibrationSet(tables))
        right, _, wrongly = judged(found, roles)
        assert wrongly == []
        rights.append(right)
    assert np.mean(rights) >= 0.8 * 42
