"""The panels around signing: who may sign, the signature itself, new keys."""

from __future__ import annotations

from html import escape

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QFrame, QLineEdit, QPushButton, QTextBrowser

from app.forms import Form, PathField
from app.needs import Memory
from app.plain import PlainLabel
from app.quiet import QuietCombo
from calib_model.errors import BitepointError
from calib_model.signoff.confirmed import Claim, claim_of, confirm
from calib_model.signoff.statement import AUTHOR, REVIEWER
from calib_model.signoff.verification import State, Verification

from .lines import EN, when
from .service import Standings
from .signing import NewKey
from .standing import Known, Standing


class TrustForm(Form):
    """Which list of signers, programme and milestone count.

    Parameters
    ----------
    standings : Standings
    """

    def __init__(self, standings: Standings) -> None:
        super().__init__("Who may sign, and what is asked")
        self._standings = standings
        self.signers = PathField("List of allowed signers")
        self.add(
            "Signers", self.signers,
            tip="The team's list (OpenSSH's format). It comes from the team, never with a set.",
        )  # fmt: skip
        self.programme = PathField("Programme file")
        self.add(
            "Programme", self.programme,
            tip="Names the sets that belong together, owners, milestones, signers (TOML).",
        )  # fmt: skip
        self.milestone = QuietCombo()
        self.add("Milestone", self.milestone, "Milestone", "Which maturity levels are asked for.")
        self.used = PlainLabel()
        self.used.setWordWrap(True)
        self.used.setTextFormat(Qt.TextFormat.PlainText)
        self.column.addWidget(self.used)
        self.confirm = QPushButton("These may sign and accept: confirm on this machine")
        self.confirm.setToolTip(
            "A programme file lies with the sets, so whoever sends the folder writes it. Compare "
            "names and fingerprints with what the team says by another way."
        )
        self.confirm.clicked.connect(lambda _checked=False: self._confirm())
        self.confirm.hide()
        self.column.addWidget(self.confirm)
        self._claim: Claim | None = None
        trust = standings.trust
        self.signers.show_path(trust.signers)
        self.programme.show_path(trust.programme)
        self.signers.changed.connect(lambda: standings.choose(signers=self.signers.path))
        self.programme.changed.connect(lambda: standings.choose(programme=self.programme.path))
        self.milestone.activated.connect(
            lambda _row: standings.choose(milestone=self.milestone.currentData() or "")
        )

    def show_standing(self, standing: Standing | None) -> None:
        """Show what the files say."""
        known = standing.known if standing is not None else None
        names = list(known.programme.milestones) if known and known.programme else []
        self.milestone.blockSignals(True)
        self.milestone.clear()
        self.milestone.addItem("none", "")
        for name in names:
            self.milestone.addItem(name, name)
        chosen = known.milestone if known else ""
        self.milestone.setCurrentIndex(max(self.milestone.findData(chosen), 0))
        self.milestone.blockSignals(False)
        self.milestone.setEnabled(bool(names))
        text = ""
        self._show_claim(known)
        named = known.programme if known is not None else None
        beside = named is not None and self._standings.trust.programme is None
        self.programme.show_hint(f"{named.path.name}, beside the set" if named and beside else "")
        if known is not None:
            if self._claim is not None:
                text = "\n".join([*known.notes, *self._claim.words])
            elif known.notes:
                text = "\n".join(known.notes)
            elif known.problems:
                text = "\n".join(f"\N{WARNING SIGN} {problem}" for problem in known.problems)
            elif known.signers is None:
                text = "Without a list nobody's signature counts as genuine."
            else:
                listed = dict.fromkeys(p for s in known.signers.signers for p in s.principals)
                text = f"Listed: {', '.join(listed) or 'nobody'}."
                if known.signers.ignored:
                    text += f" Left out: {'; '.join(known.signers.ignored)}"
        self.used.setText(text)

    def _show_claim(self, known: Known | None) -> None:
        """Offer to confirm what the programme claims, if that is to be done."""
        self._claim = None
        if known is not None and known.claimed is not None:
            try:
                self._claim = claim_of(known.claimed)
            except BitepointError:
                self._claim = None  # its list cannot be read: the note says so
        self.confirm.setVisible(self._claim is not None)

    def _confirm(self) -> None:
        """Remember what is shown; what changed since it was shown is asked for again."""
        if self._claim is None:
            return
        try:
            confirm(self._claim)
        except BitepointError as error:
            self.say(str(error), refused=True)
            return
        self._standings.again()


class SignForm(Form):
    """Sign the set as it is.

    Parameters
    ----------
    memory : Memory
    """

    def __init__(self, memory: Memory) -> None:
        super().__init__("Sign")
        self._memory = memory
        self.role = QuietCombo()
        self.role.setEditable(True)
        self.role.addItems([AUTHOR, REVIEWER])
        self.role.setMinimumContentsLength(14)
        self.add("Role", self.role, "Role of who signs", "Author, reviewer, or another.")
        self.name = self.text_field("Name", "Who signs", "As on the list of signers.")
        self.key = PathField("Private key file")
        self.add("Key file", self.key, tip="An Ed25519 key in OpenSSH's format, without .pub.")
        self.secret = self.secret_field("Passphrase", "Passphrase of the key")
        self.comment = self.text_field("Comment", "Comment of the sign-off", "", "Optional")
        self.name.setText(memory.remembered("release/name") or memory.author)
        self.key.show_path(memory.remembered("release/key"))

    def keep(self) -> None:
        """Remember name and key file; never the passphrase."""
        self._memory.remember("release/name", self.name.text().strip())
        self._memory.remember("release/key", str(self.key.path or ""))


def state_words(found: Verification) -> str:
    """Return how a set stands in one line, nothing said twice."""
    return found.reason if found.state is State.ALTERED else found.words


class StateView(QTextBrowser):
    """How the set's signatures stand, in words."""

    def __init__(self) -> None:
        super().__init__()
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setAccessibleName("State of the signatures")
        self.setTextInteractionFlags(
            Qt.TextInteractionFlag.TextSelectableByMouse
            | Qt.TextInteractionFlag.TextSelectableByKeyboard
        )
        self.setMinimumHeight(90)

    def sizeHint(self) -> QSize:
        """A few lines; it grows where there is room."""
        return QSize(240, 110)

    def show_standing(self, standing: Standing | None) -> None:
        """Show how a set stands."""
        if standing is None:
            self.setHtml("<p>Looking…</p>")
            return
        found = standing.verification
        parts = [f"<p><b>{escape(state_words(found))}</b></p>"]
        for one in found.signed_by:
            said = f" {EN} {escape(one.comment)}" if one.comment else ""
            parts.append(
                f"<p>{escape(one.name)} as {escape(one.role)}, {when(one.time)}{said}<br>"
                f"<small>{escape(one.key)}</small></p>"
            )
        parts += [f"<p>{escape(hint)}</p>" for hint in found.hints]
        if found.changed_since:
            parts.append("<p>Changed since the last sign-off:</p><ul>")
            for changed in found.changed_since[:50]:
                lines = standing.since.get(changed.what, ())[:8]
                told = "".join(f"<br>{escape(line)}" for line in lines)
                parts.append(f"<li><b>{escape(changed.what)}</b>: {escape(changed.how)}{told}</li>")
            parts.append("</ul>")
        parts.append(f"<p><small>Digest {found.digest}</small></p>")
        self.setHtml("".join(parts))


class KeysForm(Form):
    """Make a key.

    Signals
    -------
    made : NewKey
    """

    made = Signal(object)

    def __init__(self, memory: Memory) -> None:
        super().__init__("Make a key to sign with")
        about = PlainLabel(
            "The private half stays with its owner, protected by a passphrase. The public half "
            "(.pub) goes on the team's list of allowed signers."
        )
        about.setWordWrap(True)
        self.column.insertWidget(1, about)
        self.path = PathField("Private key file to make", "save")
        self.add("Key file", self.path, tip="A new file; nothing is written over.")
        self.owner = self.text_field("Owner", "Owner of the key", "As on the list of signers.")
        self.owner.setText(memory.author)
        self.secret = self.secret_field("Passphrase", "New passphrase")
        self.again = self.secret_field("The same again", "New passphrase, again")
        self.write = self.button("Make the key", lambda: None)
        self.line = QLineEdit()
        self.line.setReadOnly(True)
        self.line.setAccessibleName("Line for the list of allowed signers")
        self.copy = QPushButton("Copy the line for the list of signers")
        self.copy.clicked.connect(
            lambda _checked=False: QGuiApplication.clipboard().setText(self.line.text())
        )
        for widget in (self.line, self.copy):
            widget.hide()
            self.column.insertWidget(self.column.count() - 1, widget)

    def show_key(self, key: NewKey) -> None:
        """Show what was made."""
        self.say(
            f"Made {key.path} (private, keep it to yourself) and {key.path.name}.pub. "
            f"Fingerprint {key.fingerprint}. Line for the team's list of allowed signers:"
        )
        self.line.setText(key.line)
        self.line.setCursorPosition(0)
        self.line.show()
        self.copy.show()
        self.made.emit(key)
