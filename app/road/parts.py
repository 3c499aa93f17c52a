"""The table of Road's parts: one row each, from which its buttons, menu and keys are made."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module

from app.desk import Desk
from app.needs import Memory
from app.work.jobs import Jobs

from .part import RoadPart


@dataclass(frozen=True)
class PartRow:
    """One part.

    Parameters
    ----------
    name : str
        Permanent; actions refer to it.
    title, menu_text : str
        As it is shown; with its mnemonic.
    key : str
        Key sequence in portable text.
    about : str
        What it is for, in one sentence.
    home : str
        Module and class, imported when the part is first shown: it brings its plots.
    icon : str
        Name of its icon.
    """

    name: str
    title: str
    menu_text: str
    key: str
    about: str
    home: tuple[str, str]
    icon: str

    def make(self, desk: Desk, jobs: Jobs, memory: Memory) -> RoadPart:
        """Return the part."""
        module, kind = self.home
        part: RoadPart = getattr(import_module(module), kind)(desk, jobs, memory)
        return part


PARTS = (
    PartRow("recordings", "Recordings", "&Show recordings", "Ctrl+5",
            "Look at what was driven, replayed through the tables.",
            ("app.road.recordings.panel", "RecordingsPanel"), "route"),
    PartRow("complaints", "Complaints", "&Show complaints", "Ctrl+6",
            "List what drivers complained of, and what answers it.",
            ("app.road.complaints.panel", "ComplaintsPanel"), "message-square"),
    PartRow("manoeuvres", "Manoeuvres", "&Show manoeuvres", "Ctrl+7",
            "Drive desk manoeuvres with the open sets.",
            ("app.road.manoeuvres.panel", "ManoeuvresPanel"), "gauge"),
    PartRow("campaign", "Campaign", "&Show campaign", "Ctrl+8",
            "Drive many variants of a set through many manoeuvres.",
            ("app.road.campaign.panel", "CampaignPanel"), "layers"),
)  # fmt: skip
"""Every part, in the order of its buttons."""
