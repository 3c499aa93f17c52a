"""Every metric by name."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from ..errors import ModelError
from . import metrics_launch, metrics_shaft, metrics_turning
from .metrics import Metric

METRICS: Mapping[str, Metric] = MappingProxyType(
    {m.name: m for part in (metrics_launch, metrics_turning, metrics_shaft) for m in part.METRICS}
)


def metric(name: str) -> Metric:
    """Return a metric by name.

    Raises
    ------
    ModelError
        Naming those there are.
    """
    found = METRICS.get(name)
    if found is None:
        raise ModelError(f"There is no metric {name!r}.", f"Use one of {', '.join(METRICS)}.")
    return found
