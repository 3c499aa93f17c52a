"""What the reading process refuses: a place, a reason and a remedy, without the file's name."""

from __future__ import annotations


class Refused(Exception):
    """A file that is not read."""

    def __init__(self, place: str, problem: str, remedy: str) -> None:
        self.place, self.problem, self.remedy = place, problem, remedy
        super().__init__(place, problem, remedy)
