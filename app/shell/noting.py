"""What the history is told besides the edits: why, and by whom."""

from __future__ import annotations

from calib_model.session.document import Document

from .base import Shell
from .notes import NoteLine


class Noting:
    """Asks for reasons and for the user's name.

    Parameters
    ----------
    window : Shell
    line : NoteLine
        Where it asks.
    """

    def __init__(self, window: Shell, line: NoteLine) -> None:
        self._window, self._line = window, line
        self._desk, self._settings = window.desk, window.settings

    def ask_reason(self) -> None:
        """Let the user say why the last edit was made."""
        document = self._desk.current
        if document is None or document.last_reason is None:
            return
        title = document.pending[-1].title
        self._line.ask(
            f"Reason for “{title}”",
            document.last_reason,
            lambda text: self._give_reason(document, text),
        )

    def _give_reason(self, document: Document, text: str) -> None:
        if document.give_reason(text.strip()):
            self._desk.tell("The reason is noted in the history.")
        else:
            self._desk.tell(
                "The edit was saved meanwhile; its reason stays as it was.", refused=True
            )

    def ask_author(self) -> None:
        """Let the user choose the name that the history gives."""
        self._line.ask("Your name in the history", self._settings.author, self._set_author)

    def ask_author_quietly(self) -> None:
        """Offer the name that the history gives, once, if the user never chose one."""
        if self._settings.author_is_given or "author" in self._window.banners.banners:
            return
        name = self._settings.author
        self._window.banners.show_banner(
            "author",
            f"The history names you “{name}”.",
            ("Keep this name", lambda: self._set_author(name)),
            ("Change…", self.ask_author),
        )

    def set_author(self, name: str) -> None:
        """Give edits another name in the history; nothing typed gives the system's."""
        self._set_author(name)

    def _set_author(self, name: str) -> None:
        self._settings.author = name
        for document in self._desk.documents:
            document.author = self._settings.author
        self._window.banners.drop("author")
        self._desk.tell(f"The history gives your edits the name {self._settings.author}.")
