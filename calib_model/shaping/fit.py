"""Fit a curve or map from scattered samples, under all rules in force.

The table is read at each sample as the controller would read it; the squared (or robustly
weighted) misses plus a little roughness are least under the rules.  Every node says how it is
known: measured, thin, or without data; a node without data is never shown as measured.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from ..core.arrays import FloatArray, IntArray
from ..core.calibration_set import CalibrationSet
from ..core.numbers import short, with_unit
from ..core.table import Table
from ..errors import EditRefused
from ..rules.shape import Monotone
from .fit_error import standard_errors
from .fit_estimate import Estimate, estimate, noise_floor
from .fit_options import FitOptions, NodeState
from .fit_residuals import Residuals, joined_residuals, residuals
from .fit_specimens import combined
from .problem import RuleSystem, gather
from .proposal import Diagnostics, Proposal
from .repair import before_and_after, not_stated, remarks, saturated, with_values
from .samples import Samples, SamplesRefused
from .screening import Screening
from .solve import Solution, minimise
from .storing import Stored, to_storage
from .sweeps import one_branch
from .words import parts_of

if TYPE_CHECKING:
    from .branches import BranchReport
    from .fit_specimens import SpecimenReport

PASSES = 4
"""How often values that rules use as factors are brought up to date."""
ALONG_PULL = 1e-4
"""Pull of a table that only moves along towards its present values, against the fitted one's."""
ALIKE = 0.3
"""Correlation of neighbouring residuals from which the standard error is called too small."""


@dataclass(frozen=True, eq=False)
class TableFit:
    """How one table was fitted.

    Parameters
    ----------
    table : str
    samples : Samples
        Those used.
    screening : Screening
    state : int array, the table's shape
        `NodeState` of each node.
    coverage : float array, the table's shape
        Sum of hat weights times the samples' own: how many samples bear on each node.
    error : float array, the table's shape
        Standard error, NaN for a node that is not measured; see
        `calib_model.shaping.fit_error.LABEL`.
    unruled : float array, the table's shape
        Values before rules and rounding.
    strength : float
        Lambda used.
    chosen : bool
        Whether it was chosen from the samples.
    edf : float
        Effective degrees of freedom.
    sigma : float
        Standard deviation of the noise.
    pull : float
        By how much rules and rounding move what is read at the samples (root mean square).
    rounds : int
        Robust rounds.
    residuals : Residuals
        Of the proposed values.
    """

    table: str
    samples: Samples
    screening: Screening
    state: IntArray
    coverage: FloatArray
    error: FloatArray
    unruled: FloatArray
    strength: float
    chosen: bool
    edf: float
    sigma: float
    pull: float
    rounds: int
    residuals: Residuals

    def count(self, state: NodeState) -> int:
        """Number of nodes in a state."""
        return int((self.state == state).sum())


@dataclass(frozen=True, eq=False)
class FitProposal(Proposal):
    """A proposal from samples.

    Parameters
    ----------
    fits : mapping of table id to TableFit
    branches : BranchReport, optional
        For two branches of a sweep.
    specimens : SpecimenReport, optional
        For several units under test.
    """

    fits: Mapping[str, TableFit] = field(default_factory=dict)
    branches: BranchReport | None = None
    specimens: SpecimenReport | None = None

    @property
    def source(self) -> str:
        """Name of the file of the samples."""
        return next((f.samples.source for f in self.fits.values()), "")


def fit(
    content: CalibrationSet,
    table: str,
    samples: Samples,
    options: FitOptions | None = None,
    *,
    weights: Any = None,
    branch: str = "",
    nominal: Sequence[str] = (),
    against: Sequence[CalibrationSet] = (),
) -> FitProposal:
    """Fit one table from samples.

    Parameters
    ----------
    content : CalibrationSet
    table : str
        Id of a curve or map.
    samples : Samples
    options : FitOptions, optional
    weights : array_like, shape (samples,), optional
        How many samples each one counts as, in place of the samples' own; see `Samples`.
    branch : ``up``, ``down`` or empty
        Fit only the samples on one branch of a sweep.
    nominal : sequence of str
        Units under test that make the table; all by default.
    against : sequence of CalibrationSet
        Sets of other modes, for the relation between modes.

    Raises
    ------
    SamplesRefused
        If the samples cannot be fitted, or lie on two branches that differ.
    AtOdds
        If rules and locks cannot all hold.

    Examples
    --------
    The mean of three samples counts as three, and one in doubt as none:

    >>> import numpy as np
    >>> from calib_model.core.axis import Axis
    >>> from calib_model.core.calibration_set import CalibrationSet
    >>> from calib_model.core.table import Table
    >>> from calib_model.shaping.fit import fit
    >>> from calib_model.shaping.samples import from_arrays
    >>> pedal = Axis(np.array([0.0, 50.0, 100.0]), "Pedal", "%", "pedal")
    >>> content = CalibrationSet((Table("demand", np.zeros(3), (pedal,), unit="N.m"),))
    >>> x = np.linspace(0.0, 100.0, 21)
    >>> y = 2.0 * x
    >>> y[4] = 999.0
    >>> weights = np.full(21, 3.0)
    >>> weights[4] = 0.0
    >>> found = fit(content, "demand", from_arrays([x], y), weights=weights)
    >>> print(found.values("demand").round(3))
    [  0. 100. 200.]
    >>> print(found.fits["demand"].residuals.weight)
    60.0
    """
    options = FitOptions() if options is None else options
    target = content[table]
    ready(target)
    if weights is not None:
        samples = samples.weighted(weights)
    if branch:
        samples = one_branch(samples, branch)
    else:
        from .branches import refuse_two_branches  # noqa: PLC0415  # which fit branch by branch

        refuse_two_branches(target, samples, options)
    return _fitted(content, {table: samples}, options, nominal, against)


def _fitted(
    content: CalibrationSet,
    samples: Mapping[str, Samples],
    options: FitOptions,
    nominal: Sequence[str],
    against: Sequence[CalibrationSet],
) -> FitProposal:
    """Fit tables from their samples, by units under test where there are several."""
    some = next(iter(samples.values()))
    if len(some.specimens) > 1:
        estimates, report = combined(content, samples, options, nominal)
        found = propose(content, estimates, options, against=against)
        return report.completed(found, content)
    estimates = {id: estimate(content[id], s, options) for id, s in samples.items()}
    return propose(content, estimates, options, against=against)


def ready(table: Table) -> None:
    """Raise unless the table is a curve or map whose axes are in order."""
    if not 1 <= len(table.axes) <= 2:
        raise EditRefused(
            f"{table.label} is a {table.kind}; only curves and maps are fitted.",
            "Choose a curve or a map.",
        )
    for axis in table.axes:
        if not axis.ordered:
            raise EditRefused(
                f"The axis {axis.label.lower()} of {table.label} is out of order.",
                "Mend the axis first.",
            )


def propose(
    content: CalibrationSet,
    estimates: Mapping[str, Estimate],
    options: FitOptions,
    *,
    against: Sequence[CalibrationSet] = (),
) -> FitProposal:
    """Bring estimates under the rules in force, all tables together.

    Parameters
    ----------
    content : CalibrationSet
    estimates : mapping of table id to Estimate
    options : FitOptions
    against : sequence of CalibrationSet
    """
    for id, found in estimates.items():
        _refuse_flat(content[id], found)
    named = [*estimates, *(id for id in options.also if id not in estimates)]
    allowed = {
        id: (e.coverage > 1e-9).reshape(e.table.shape)
        for id, e in estimates.items()
        if options.elsewhere == "keep"
    }
    sets = (content, *against)
    first: RuleSystem | None = None
    for turn in range(PASSES):
        system = gather(sets[0], named, against=sets[1:], allowed=allowed, without=options.without)
        for place, start in zip(system.places, system.starts, strict=False):
            if place[1] not in estimates:  # an empty cell that nothing speaks of stays empty
                part = slice(start, start + content[place[1]].values.size)
                system.allowed[part] &= np.isfinite(system.values[part])
        first = system if first is None else first
        hessian, gradient = _forms(first, estimates)
        solution = minimise(system, hessian, gradient)
        stored = (
            to_storage(system, solution.values)
            if options.on_raster
            else Stored(solution.values, np.empty(0, dtype=np.int64), "as it is")
        )
        new_sets = with_values(system, stored.values)
        # Rules that use a fitted table's values as factors are brought up to date with them.
        same = all(new_sets[0].tables[id] == sets[0].tables[id] for id in named)
        if turn == PASSES - 1 or same or not system.read_as_factor:
            break
        sets = new_sets
    assert first is not None
    return _proposal(first, system, estimates, options, solution, stored, new_sets)


def _forms(system: RuleSystem, estimates: Mapping[str, Estimate]) -> tuple[Any, FloatArray]:
    """The sum of squares of all tables as one quadratic form over the stacked cells."""
    from scipy.sparse import block_diag, csr_array, eye_array

    blocks, pulls = [], []
    per_node = [float(e.normal.diagonal().max()) / e.sigma**2 for e in estimates.values()]
    for place, table in zip(system.places, system.tables, strict=True):
        found = estimates.get(place[1]) if place[0] == 0 else None
        if found is None:
            weight = ALONG_PULL * max(per_node) if per_node else 1.0
            blocks.append(weight * eye_array(table.values.size, format="csr"))
            pulls.append(-weight * np.nan_to_num(table.values.reshape(-1)))
            continue
        share = 1.0 / found.sigma**2
        form = csr_array((found.normal + found.rough) * share)
        size = float(form.diagonal().max())
        blocks.append(csr_array(form + 1e-13 * size * eye_array(form.shape[0])))
        pulls.append(-found.right * share)
    return csr_array(block_diag(blocks, format="csr")), np.concatenate(pulls)


def _refuse_flat(table: Table, found: Estimate) -> None:
    if not found.screening.constant:
        return
    strict = [r for r in table.rules_in_force if isinstance(r, Monotone) and r.strict]
    if strict:
        value = with_unit(float(found.samples.values[found.samples.use][0]), table.unit)
        raise SamplesRefused(
            f"Every value is {value}, but {table.label} {strict[0].statement(table)}.",
            "Check which column was chosen for the value.",
        )


def _proposal(
    first: RuleSystem,
    system: RuleSystem,
    estimates: Mapping[str, Estimate],
    options: FitOptions,
    solution: Solution,
    stored: Stored,
    sets: Sequence[CalibrationSet],
) -> FitProposal:
    before, after = before_and_after(first, stored.values)
    ordered = [estimates.get(p[1]) if p[0] == 0 else None for p in system.places]
    errors = standard_errors(system, ordered, solution.active)
    fits: dict[str, TableFit] = {}
    notes: list[str] = []
    for place, error in zip(system.places, errors, strict=True):
        if place[0] or place[1] not in estimates:
            continue
        fits[place[1]] = _table_fit(estimates[place[1]], after[place], error, options)
        notes += _notes(fits[place[1]], after[place], len(estimates) > 1)
    names = " and ".join(content_label(after, id) for id in estimates)
    source = next((e.samples.source for e in estimates.values()), "")
    broken = np.concatenate([stored.broken, system.reduced.beyond])
    some = next(iter(fits.values()))
    return FitProposal(
        f"Fit {names} from {source or 'measurements'}",
        before,
        after,
        _settings(options, some.samples),
        Diagnostics(
            solver=solution.solver,
            residual=solution.residual,
            active=parts_of(system, solution.active.tolist()),
            broken=parts_of(system, broken.tolist()),
            not_stated=not_stated(system),
            strength=some.strength,
            edf=sum(f.edf for f in fits.values()),
            figures={
                "stored": stored.method,
                "samples": sum(len(f.samples) for f in fits.values()),
            },
        ),
        (
            *dict.fromkeys(notes),
            *saturated(system, solution.values, stored),
            *remarks(system, stored, sets, "fitted"),
        ),
        {
            p: ideal
            for p, ideal in first.unstacked(solution.values).items()
            if not np.array_equal(ideal, after[p].values, equal_nan=True)
        },
        fits,
    )


def _settings(options: FitOptions, samples: Samples) -> dict[str, Any]:
    """The settings for the history, the weights among them."""
    said = options.plain()
    if samples.weight.size:
        said["weights"] = f"column {samples.weight_name}" if samples.weight_name else "as given"
    return said


def content_label(after: Mapping[Any, Table], id: str) -> str:
    """Name of a table that moves."""
    return after[(0, id)].label


def _table_fit(found: Estimate, after: Table, error: FloatArray, options: FitOptions) -> TableFit:
    state = found.state(options.least)
    moved = after.values.reshape(-1) - found.values
    pull = float(np.sqrt(max(moved @ (found.plain @ moved), 0.0) / found.samples.total))
    rest = joined_residuals(
        [
            residuals(
                after.axes,
                part.samples,
                # A unit under test is held against its own table: its distance from the nominal
                # one is no noise.
                part.values if found.parts else after.values.reshape(-1),
                options.outlier,
                ordered=part.samples.line.size > 0,
                floor=noise_floor(after),
            )
            for part in found.parts or (found,)
        ]
    )
    return TableFit(
        after.id,
        found.samples,
        found.screening,
        state,
        found.coverage.reshape(after.shape),
        np.where(state == NodeState.MEASURED, error, np.nan),
        found.values.reshape(after.shape),
        found.strength,
        found.chosen,
        found.edf,
        # What goes into the standard error of a robust fit is a little more than the noise.
        found.sigma if options.loss == "squares" else found.scale,
        pull,
        found.rounds,
        rest,
    )


def _notes(found: TableFit, table: Table, named: bool) -> list[str]:
    start = f"{table.label}: " if named else ""
    said = [start + n for n in found.screening.notes]
    total = found.state.size
    none, thin = found.count(NodeState.NO_DATA), found.count(NodeState.THIN)
    if none or thin:
        parts = []
        if none:
            parts.append(f"{none} of {total} nodes have no data")
        if thin:
            parts.append(f"{thin} of {total} have thin data")
        said.append(f"{start}{' and '.join(parts)}: their values are not measured.")
    if found.pull > max(found.sigma, 2 * noise_floor(table)):
        said.append(
            f"{start}The rules in force pull the values {with_unit(found.pull, table.unit, 3)} "
            f"away from the samples on average, against a noise of "
            f"{with_unit(found.sigma, table.unit, 3)}. Check the columns, the branch and the rules."
        )
    return [*said, *residual_notes(found.residuals, start)]


def residual_notes(found: Residuals, start: str = "") -> list[str]:
    """Say what the residuals show."""
    said = []
    if found.outlier_count:
        count = found.outlier_count
        said.append(
            f"{start}{count} sample{' lies' if count == 1 else 's lie'} far from the fit and "
            f"{'is' if count == 1 else 'are'} listed."
        )
    if found.correlation > ALIKE:
        rho = min(found.correlation, 0.99)
        factor = float(np.sqrt((1 + rho) / (1 - rho)))
        said.append(
            f"{start}Residuals that follow each other are alike (correlation {short(rho, 2)}): the "
            f"standard error is about {short(factor, 2)} times too small."
        )
    return said
