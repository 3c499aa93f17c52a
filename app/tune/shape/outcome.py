"""A proposal's outcome in sentences, and what is to be said about single cells of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from calib_model.core.numbers import short, with_unit

if TYPE_CHECKING:
    from calib_model.shaping import Proposal
    from calib_model.shaping.fit import FitProposal, TableFit

MOST = 3
"""How many rules or outliers are told one by one."""


def words(made: Proposal) -> str:
    """Return a proposal's outcome in sentences."""
    lines = ["Nothing would change." if made.is_empty else made.summary]
    fits = getattr(made, "fits", None)
    if fits:
        lines += fit_words(made)  # type: ignore[arg-type]
    found = made.diagnostics
    if found.strength is not None:
        text = f"Lambda {short(found.strength, 3)}"
        if found.edf is not None:
            text += f"; {short(found.edf, 3)} effective degrees of freedom"
        lines.append(f"{text}.")
    if found.active:
        lines.append("Held back by: " + " ".join(part.text for part in found.active[:MOST]))
        if len(found.active) > MOST:
            lines[-1] += f" And {len(found.active) - MOST} more."
    lines += [f"Does not hold afterwards: {part.text}" for part in found.broken[:MOST]]
    lines += found.not_stated[:MOST]
    lines += made.notes
    return "\n\n".join(dict.fromkeys(line for line in lines if line))


def fit_words(made: FitProposal) -> list[str]:
    """Say how well each table is known, and list its worst outliers."""
    from calib_model.shaping.fit_options import NodeState

    lines = []
    for id, fit in made.fits.items():
        table = made.table(id)
        lines.append(
            f"{table.label}: {fit.residuals.count} samples; {fit.count(NodeState.MEASURED)} nodes "
            f"measured, {fit.count(NodeState.THIN)} with thin data, "
            f"{fit.count(NodeState.NO_DATA)} without data. Noise "
            f"{with_unit(fit.sigma, table.unit, 3)}; residuals "
            f"{with_unit(fit.residuals.rms, table.unit, 3)} on the whole."
        )
        worst = fit.residuals.outliers[:MOST]
        if worst:
            told = "; ".join(
                f"line {o.line}: {with_unit(o.value, table.unit, 4)}, fitted {short(o.fitted, 4)}"
                for o in worst
            )
            lines.append(f"{fit.residuals.outlier_count} outliers. The farthest: {told}.")
    if made.branches is not None:
        width = made.branches.width[np.isfinite(made.branches.width)]
        if width.size:
            unit = next(iter(made.after.values())).unit
            lines.append(
                f"Distance between the branches {short(float(width.min()), 3)} to "
                f"{with_unit(float(width.max()), unit, 3)}."
            )
    return lines


def remarks(made: Proposal) -> dict[str, dict[tuple[int, ...], str]]:
    """Return what is to be said of single cells: how well a fitted node is known."""
    fits: dict[str, TableFit] = getattr(made, "fits", {})
    return {id: _node_remarks(fit, made.table(id).unit) for id, fit in fits.items()}


def _node_remarks(fit: TableFit, unit: str) -> dict[tuple[int, ...], str]:
    from calib_model.shaping.fit_options import STATE_WORDS, NodeState

    said = {}
    for cell in np.ndindex(*fit.state.shape):
        state = NodeState(int(fit.state[cell]))
        text = f"{STATE_WORDS[state]}, coverage {short(float(fit.coverage[cell]), 3)}"
        if np.isfinite(fit.error[cell]):
            text += f", standard error {with_unit(float(fit.error[cell]), unit, 2)}"
        said[cell] = text
    return said
