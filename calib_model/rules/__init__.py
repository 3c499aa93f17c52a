"""Rules of shape, limits, relations and plausibility, and the checks that evaluate them."""

from . import limits, plausibility, relations, shape, step

__all__ = ["limits", "plausibility", "relations", "shape", "step"]
