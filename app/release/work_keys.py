"""Signing, making keys, trials and hand-over: work in the background, told in words."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject

from app.forms import Form
from calib_model.core.record import SignOff
from calib_model.editing.change import record_change
from calib_model.errors import BitepointError
from calib_model.exchange.marking import mark_of
from calib_model.formats.registry import Format
from calib_model.session.document import Document
from calib_model.signoff.verification import State

from .leaving import Leaving, Written, hand_over, write_trial
from .panels import ReleasePanels
from .signing import NewKey, Signing, new_key, sign
from .standing import Past, Standing


class KeyWork(QObject):
    """Signs, makes keys, writes files.

    Parameters
    ----------
    panels : ReleasePanels
    """

    def __init__(self, panels: ReleasePanels) -> None:
        super().__init__(panels)
        self._panels, self._desk = panels, panels.desk
        panels.sign.place_button(self.sign)
        panels.keys._submit = self.make_key
        panels.trial._submit = self.write_trial
        panels.hand_over._submit = self.hand_over
        panels.keys.made.connect(self._on_key)

    # -- signing ---------------------------------------------------------------------------------

    def sign(self) -> None:
        """Sign the set, if nothing is left to do."""
        form, document = self._panels.sign, self._desk.current
        secret = form.secret.take()
        if document is None:
            return
        if document.read_only:
            form.say("The set is open read-only: save a copy to sign it.", refused=True)
            return
        if form.key.path is None:
            form.say("Name the file of your private key.", refused=True)
            form.key.setFocus()
            return
        form.keep()
        content, role = document.content, form.role.currentText().strip()
        order = Signing(
            content,
            self._panels.standings.others(),
            self._panels.standings.asked,
            Past(document.history, document.pending),
            form.key.path,
            secret,
            form.name.text(),
            role,
            form.comment.text(),
        )

        def done(made: SignOff) -> None:
            if document.content is not content or document not in self._desk.documents:
                form.say("The set was edited meanwhile; nothing was signed.", refused=True)
                return
            try:
                document.sign(made, f"Sign as {role}")
            except BitepointError as error:
                form.say(str(error), refused=True)
                return
            form.comment.clear()
            text = f"Signed as {role} by {form.name.text().strip()}."
            if document.path is not None:
                self._panels.save_wanted.emit(document)
                text += " The set is being saved."
            else:
                text += " Save the set to keep it."
            form.say(text)
            self._desk.tell(text)

        self._run("Signing", sign, order, form=form, done=done)

    def make_key(self) -> None:
        """Make a key and its two files."""
        form = self._panels.keys
        secret, again = form.secret.take(), form.again.take()
        if form.path.path is None:
            form.say("Name the file to make.", refused=True)
            return
        if secret != again:
            form.say("The two passphrases differ. Type both again.", refused=True)
            form.secret.setFocus()
            return
        owner = " ".join(form.owner.text().split())
        self._run(
            "Making a key", new_key, form.path.path, secret, owner, form=form, done=form.show_key
        )

    def _on_key(self, key: NewKey) -> None:
        self._panels.sign.key.show_path(key.path)
        self._desk.tell(f"The key {key.path.name} is made.")

    # -- leaving the desk ------------------------------------------------------------------------

    def propose_folders(self) -> None:
        """Propose the set's own folder where none was chosen."""
        document = self._desk.current
        folder = document.path.parent if document is not None and document.path else None
        self._panels.trial.set_folder(folder)
        self._panels.hand_over.set_folder(folder)

    def show_standing(self, standing: Standing | None) -> None:
        """Say what exports will say of themselves."""
        label = self._panels.hand_over.state
        if standing is None:
            label.setText("")
            return
        mark = mark_of(standing.content, standing.verification)
        if standing.verification.state is State.SIGNED_OFF and not mark.word:
            label.setText(
                "The set is signed off. Every file of a release goes into a new folder, unmarked."
            )
        else:
            label.setText(
                f"\N{WARNING SIGN} Every file will say {mark.word}, in the file and in its name. "
                f"{mark.status.removeprefix(f'{mark.word}. ')}"
            )

    def write_trial(self) -> None:
        """Write the files of a trial, and note the trial in the set's record."""
        form, document = self._panels.trial, self._desk.current
        order = self._leaving(form.folder.path, form.chosen, form)
        if order is None or document is None:
            return
        form.keep()

        def done(written: Written) -> None:
            names = "\n".join(written.files)
            text = f"Written to {written.folder}:\n{names}"
            if written.left_out:
                text += f"\n{written.left_out}"
            if not self._note(document, written):
                text += "\nThe set is read-only, so the trial is not noted in it."
            form.say(text)
            self._desk.tell(
                f"Trial for {form.vehicle.text().strip()}: {len(written.files)} files are in "
                f"{written.folder}."
            )
            self._panels.went_back.emit()

        self._run("Writing the trial", write_trial, order, form=form, done=done)

    def _note(self, document: Document, written: Written) -> bool:
        """Add the trial to the record of the set that it was made of."""
        if written.trial is None or document.read_only or document not in self._desk.documents:
            return False
        t = written.trial
        title = f"Trial for {t.vehicle}, {t.trip}, until {t.expires}"
        try:
            document.do(record_change(None, t, title))
        except BitepointError:
            return False
        return True

    def hand_over(self) -> None:
        """Write a release into a folder of its own."""
        form = self._panels.hand_over
        order = self._leaving(form.folder.path, form.chosen, form)
        if order is None:
            return
        form.keep()

        def done(written: Written) -> None:
            said = written.mark.status
            names = "\n".join([*written.files, *[written.left_out] * bool(written.left_out)])
            form.say(f"{said}\nWritten to {written.folder}:\n{names}")
            self._desk.tell(f"Handed over: {len(written.files)} files are in {written.folder}.")

        self._run("Handing over", hand_over, order, form=form, done=done)

    def _leaving(
        self, folder: Path | None, formats: tuple[Format, ...], form: Form
    ) -> Leaving | None:
        document = self._desk.current
        if document is None:
            form.say("No set is open.", refused=True)
            return None
        if folder is None:
            form.say("Name a folder to write to.", refused=True)
            return None
        trial, stored = self._panels.trial, document.stored
        return Leaving(
            document.content,
            Past(document.history, document.pending),
            self._panels.standings.others(),
            self._panels.standings.asked,
            _stem(document),
            document.path,
            folder,
            formats,
            tuple(stored.records) if stored is not None else (),
            trial.vehicle.text(),
            trial.trip.text(),
            trial.expires.text(),
            self._panels.memory.author,
        )

    def _run(
        self,
        title: str,
        function: Callable[..., Any],
        *arguments: Any,
        form: Form,
        done: Callable[[Any], None],
    ) -> None:
        """Run a job; its form waits, and says what came of it."""
        form.busy = True
        form.say(f"{title}…")

        def finished(result: Any) -> None:
            form.busy = False
            form.say("")
            done(result)

        def failed(error: BitepointError) -> None:
            form.busy = False
            form.say(str(error), refused=True)
            self._desk.tell(str(error), refused=True)
            self._panels.show_panel(form)

        self._panels.jobs.start(title, function, *arguments, done=finished, failed=failed)


def _stem(document: Document) -> str:
    name = document.path.stem if document.path else document.content.label.lower()
    kept = "".join(c if c.isalnum() or c in "_-." else "_" for c in name)
    return kept.strip("._") or "set"
