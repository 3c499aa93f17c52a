"""The panels around signing: who may sign, the signature itself, new keys."""

from __future__ import annotations

from collections.abc import Callable
from html import escape

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QGuiApplication, QTextOption
from PySide6.QtWidgets import QFrame, QLineEdit, QPushButton, QTextBrowser, QTextEdit

from app.forms import Form, PathField
from app.look.parts import TextLabel, quiet
from app.needs import Memory
from app.plain import PlainLabel, plain_tip
from app.quiet import QuietCombo
from calib_model.errors import BitepointError
from calib_model.foreign_text import plain_lines
from calib_model.session.document import Document
from calib_model.signoff.confirmed import Claim, claim_of, confirm
from calib_model.signoff.gate import counted
from calib_model.signoff.statement import AUTHOR, REVIEWER
from calib_model.signoff.verification import State, Verification

from .keys_kept import keep_key, key_of
from .lines import EN, when
from .service import Standings
from .signing import NewKey
from .standing import Known, Standing


class BrokenText(QTextEdit):
    """Text as high as it is, broken anywhere: a fingerprint is one long word, and never cut."""

    def __init__(self) -> None:
        super().__init__()
        self.setReadOnly(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setFocusPolicy(Qt.FocusPolicy.ClickFocus)
        self.setWordWrapMode(QTextOption.WrapMode.WrapAtWordBoundaryOrAnywhere)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.viewport().setAutoFillBackground(False)
        self.document().setDocumentMargin(0)
        fits = self.document().documentLayout().documentSizeChanged
        fits.connect(lambda size: self.setFixedHeight(max(round(size.height()), 1)))

    def text(self) -> str:
        """Return what it says."""
        return self.toPlainText()

    def setText(self, text: str) -> None:
        """Show a text as it is, control characters spelt out."""
        self.setPlainText(plain_lines(text))

    def minimumSizeHint(self) -> QSize:
        """Ask for no width."""
        return QSize(0, super().minimumSizeHint().height())


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
        self.used = BrokenText()
        self.used.setAccessibleName("What the files say of who may sign")
        self.column.addWidget(self.used)
        self.confirm = QPushButton("Confirm these signers")
        self.confirm.setToolTip(
            "They may sign and accept then, on this machine. A programme file lies with the sets, "
            "so whoever sends the folder writes it. Compare names and fingerprints with what the "
            "team says by another way."
        )
        self.confirm.clicked.connect(lambda _checked=False: self._confirm())
        self.confirm.installEventFilter(self)  # Enter presses it, Esc goes back
        self.confirm.hide()
        self.column.addWidget(self.confirm, 0, Qt.AlignmentFlag.AlignRight)
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

    Signals
    -------
    key_wanted
        A key is to be made.
    """

    key_wanted = Signal()

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
        self.new_key = quiet(QPushButton("Make a key…"))
        self.new_key.clicked.connect(lambda _checked=False: self.key_wanted.emit())
        self.why = TextLabel(second=True)
        self.why.setWordWrap(True)
        self.why.setAccessibleName("Why it cannot be signed now")
        self.submit_button: QPushButton | None = None
        self._standing: Standing | None = None
        self._document: Document | None = None
        self.role.currentTextChanged.connect(lambda _text: self._say_why())
        self.name.textChanged.connect(self._on_name)
        self.key.line.textChanged.connect(lambda text: self.new_key.setVisible(not text.strip()))
        self.name.setText(memory.remembered("release/name") or memory.author)
        if self.key.path is None:
            self.key.show_path(memory.remembered("release/key"))

    def place_button(self, act: Callable[[], None]) -> None:
        """Add the button, with the reason beside it while it is off."""
        self.column.addWidget(self.new_key, 0, Qt.AlignmentFlag.AlignLeft)
        self.column.addWidget(self.why)
        self.submit_button = self.button("Sign", act)
        self._say_why()

    def _on_name(self, name: str) -> None:
        """Show the key and role that this person signed with last."""
        kept = key_of(self._memory, name)
        if kept.path:
            self.key.show_path(kept.path)
        if kept.role:
            self.role.setCurrentText(kept.role)

    def show_standing(self, standing: Standing | None, document: Document | None) -> None:
        """Turn the button off where signing would be refused, and say why."""
        self._standing, self._document = standing, document
        self.setEnabled(document is not None)
        self._say_why()

    def reason(self) -> str:
        """Return why it cannot be signed now; empty if it can."""
        if self._document is None:
            return "No set is open."
        if self._document.read_only:
            return "The set is open read-only: save a copy to sign it."
        if self._standing is None:
            return "Looking at what is to do…"
        to_do = self._standing.gate.blocking(self.role.currentText().strip())
        if not to_do:
            return ""
        return f"Still to do before this role signs: {counted(to_do)}."

    def _say_why(self) -> None:
        why = self.reason()
        self.why.setText(why)
        self.why.setVisible(bool(why))
        if self.submit_button is not None:
            self.submit_button.setEnabled(not why)
            self.submit_button.setToolTip(
                plain_tip(why or "Signs the set as it is, and saves it. Cannot be undone.")
            )

    def keep(self) -> None:
        """Remember the person's name, key file and role; never the passphrase."""
        name, path = self.name.text().strip(), str(self.key.path or "")
        self._memory.remember("release/name", name)
        self._memory.remember("release/key", path)
        keep_key(self._memory, name, path, self.role.currentText().strip())


def state_words(found: Verification) -> str:
    """Return how a set stands in one line, nothing said twice."""
    said_by_reason = found.state in (State.ALTERED, State.UNSIGNED)
    return found.reason if said_by_reason and found.reason else found.words


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
        self.viewport().setAutoFillBackground(False)
        self.setMinimumHeight(60)

    def sizeHint(self) -> QSize:
        """A few lines; it grows where there is room."""
        return QSize(240, 72)

    def show_standing(self, standing: Standing | None) -> None:
        """Show how a set stands."""
        if standing is None:
            self.setHtml("<p>Looking…</p>")
            return
        found = standing.verification
        parts = []
        if found.state is not State.UNSIGNED:  # the head of the page says so already
            parts.append(f"<p><b>{escape(state_words(found))}</b></p>")
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
        self.again = self.secret_field("Repeat it", "New passphrase, again")
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
