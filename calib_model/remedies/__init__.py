"""Remedies: for each kind of finding, the edits that suit it.

The nearest values that obey the rules are often the wrong remedy (a slipped digit, exchanged
branches, an axis in a wrong unit), so each finding offers what fits its kind, best first.
"""

from .offers import Remedy, remedies_for
from .suited import Suited, mended, suited

__all__ = ["Remedy", "Suited", "mended", "remedies_for", "suited"]
