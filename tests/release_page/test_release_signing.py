"""Signing, verifying and making keys in the panels; bad input signs nothing."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from app.forms import Secret, SecretField
from app.release.lines import View
from calib_model.core.record import Outcome
from calib_model.editing.change import values_change
from calib_model.session.document import Document
from calib_model.signoff.decisions import decide
from calib_model.signoff.keys import load_key, make_key
from calib_model.signoff.signers import read_signers
from calib_model.signoff.signing import make_sign_off
from calib_model.signoff.verification import State, verify
from tests.release_page.conftest import AUTHOR, PASSPHRASE, REVIEWER, Bench, People


@pytest.fixture
def ready(with_set, people: People, quiet) -> Bench:
    """The normal set, every table accepted, the list of signers chosen."""
    bench = with_set("normal")
    bench.page.standings.choose(signers=people.signers)
    bench.desk.do(decide(bench.content, bench.content.tables, Outcome.ACCEPTED, by=REVIEWER))
    quiet()
    return bench


def sign(bench: Bench, quiet, role: str, name: str, key: Path, secret: str = PASSPHRASE) -> str:
    form = bench.page.sign
    form.role.setCurrentText(role)
    form.name.setText(name)
    form.key.show_path(key)
    form.secret.setText(secret)
    form.submit()
    quiet()
    assert form.secret.text() == "", "the passphrase stayed in its field"
    return form.answer.text()


def test_two_people_sign_off_and_the_state_is_said(ready, people: People, quiet) -> None:
    bench = ready
    assert "Signed as author" in sign(bench, quiet, "author", AUTHOR, people.author)
    assert "reviewer's sign-off is missing" in bench.page.words.text()
    assert bench.saved == [bench.desk.current]
    assert "Signed as reviewer" in sign(bench, quiet, "reviewer", REVIEWER, people.reviewer)
    found = verify(bench.content, people.signers)
    assert (found.genuine, found.state) == (True, State.SIGNED_OFF)
    assert f"Signed off by {AUTHOR} (author) and {REVIEWER} (reviewer)" in bench.page.words.text()
    assert found.digest in bench.page.state.toPlainText()
    # Signing cannot be undone; what was edited before can, and shows as a change.
    assert "decision" not in bench.desk.current.undo_title.lower()
    assert PASSPHRASE not in bench.settings.path.read_text(encoding="utf-8")


def test_later_edits_show_exactly_what_changed(ready, people: People, quiet) -> None:
    bench = ready
    sign(bench, quiet, "author", AUTHOR, people.author)
    sign(bench, quiet, "reviewer", REVIEWER, people.reviewer)
    table = bench.content["slip_target"]
    values = np.array(table.values)
    before = values[2, 1]
    values[2, 1] += 0.5
    bench.desk.do(values_change(table, values, "Raise"))
    quiet()
    assert "Changed since the sign-off of" in bench.page.words.text()
    bench.page.list.choose_view(View.SINCE)
    changed = [x for x in bench.lines() if x.key.startswith("since")]
    assert [x.table for x in changed] == ["slip_target"]
    (line_of_table,) = changed
    (line,) = bench.page.standings.standing.since["slip_target"]
    assert f"{before:g}" in line
    assert f"{before + 0.5:g}" in line
    bench.page.list.choose(line_of_table)
    assert line in bench.page.act.details.toPlainText()
    assert line in bench.page.state.toPlainText()
    bench.desk.current.undo()
    quiet()
    assert "Signed off by" in bench.page.words.text()


def test_what_is_to_do_stops_a_signature(with_set, people: People, quiet) -> None:
    bench = with_set("practice")
    answer = sign(bench, quiet, "author", AUTHOR, people.author)
    assert "Not signed: 18 to do" in answer
    assert not bench.content.record.sign_offs


def test_an_author_may_submit_before_the_decisions_a_reviewer_may_not(
    with_set, people: People, quiet
) -> None:
    bench = with_set("normal")
    assert "Signed as author" in sign(bench, quiet, "author", AUTHOR, people.author)
    answer = sign(bench, quiet, "reviewer", REVIEWER, people.reviewer)
    assert "Not signed: 42 to do" in answer
    assert len(bench.content.record.sign_offs) == 1


@pytest.mark.parametrize(
    ("case", "why"),
    [
        ("wrong passphrase", "passphrase is wrong"),
        ("no passphrase", "key is protected"),
        ("no key", "Cannot be read"),
        ("public half", "public half"),
        ("broken key", "damaged"),
        ("no key file", "no key file"),
        ("not listed", "not on the list"),
        ("another's name", f"is listed for {AUTHOR}, not for"),
        ("no name", "not for ."),
    ],
)
def test_bad_keys_and_names_sign_nothing(
    ready, people: People, tmp_path: Path, quiet, case: str, why: str
) -> None:
    bench = ready
    key, name, secret = people.author, AUTHOR, PASSPHRASE
    if case == "wrong passphrase":
        secret = "another one"
    elif case == "no passphrase":
        secret = ""
    elif case == "no key":
        key = tmp_path / "gone"
    elif case == "public half":
        key = people.author.with_name(people.author.name + ".pub")
    elif case == "broken key":
        key = tmp_path / "broken"
        text = people.author.read_text(encoding="ascii")
        key.write_text(text[:240] + text[280:], encoding="ascii")
        key.chmod(0o600)
    elif case == "no key file":
        key = people.signers
    elif case == "not listed":
        key = tmp_path / "stranger"
        make_key(key, PASSPHRASE)
    elif case == "another's name":
        name = REVIEWER
    else:
        name = "  "
    before = bench.content
    assert why in sign(bench, quiet, "author", name, key, secret)
    assert bench.content is before
    assert not bench.saved


def test_one_person_cannot_be_author_and_reviewer(ready, people: People, quiet) -> None:
    bench = ready
    sign(bench, quiet, "author", AUTHOR, people.author)
    answer = sign(bench, quiet, "reviewer", AUTHOR, people.author)
    assert "two people with two keys" in answer
    assert len(bench.content.record.sign_offs) == 1


def test_an_edit_while_signing_means_nothing_is_signed(ready, people: People, quiet) -> None:
    bench = ready
    form = bench.page.sign
    form.key.show_path(people.author)
    form.name.setText(AUTHOR)
    form.secret.setText(PASSPHRASE)
    form.submit()  # the work has only begun
    table = bench.content["slip_target"]
    bench.desk.do(values_change(table, table.values + 0.1, "Raise"))
    quiet()
    assert "edited meanwhile" in form.answer.text()
    assert not bench.content.record.sign_offs


def test_a_sign_off_from_the_future_is_not_genuine_and_nobody_signs_after_it(
    ready, people: People, quiet
) -> None:
    bench = ready
    early = make_sign_off(
        bench.content,
        load_key(people.author, PASSPHRASE),
        name=AUTHOR,
        role="author",
        now=datetime.now(UTC) + timedelta(days=2),
    )
    bench.desk.current.sign(early)
    quiet()
    assert "in the future" in bench.page.words.text()
    answer = sign(bench, quiet, "reviewer", REVIEWER, people.reviewer)
    assert "in the future" in answer
    assert len(bench.content.record.sign_offs) == 1


def test_an_altered_sign_off_is_not_genuine_and_is_to_do(
    with_set, signers_of_set: Path, quiet
) -> None:
    bench = with_set("normal_signed")
    bench.page.standings.choose(signers=signers_of_set)
    quiet()
    assert "Signed off by" in bench.page.words.text()
    content = bench.content
    first, second = content.record.sign_offs
    forged = replace(second, statement=second.statement.replace("reviewer A", "reviewer X"))
    record = replace(content.record, sign_offs=(first, forged))
    bench.desk.remove(bench.desk.current)
    bench.desk.add(Document(content.with_record(record)))
    quiet()
    assert "Not genuine" in bench.page.words.text()
    assert bench.lines()[0].kind == "Sign-offs"


def test_a_sign_off_replayed_from_another_set_is_not_genuine(
    with_set, samples, signers_of_set: Path, quiet
) -> None:
    from calib_model import open_set

    bench = with_set("low_grip")
    bench.page.standings.choose(signers=signers_of_set)
    stolen = open_set(samples["normal_signed"]).record.sign_offs
    content = bench.content
    bench.desk.remove(bench.desk.current)
    bench.desk.add(Document(content.with_record(replace(content.record, sign_offs=stolen))))
    quiet()
    assert not bench.page.standings.standing.verification.genuine
    assert "another set than this one" in bench.page.words.text()


def test_owners_accept_with_their_key(with_set, people: People, tmp_path: Path, quiet) -> None:
    bench = with_set("normal")
    programme = tmp_path / "owned.toml"
    programme.write_text(f'[owners]\n"Braking" = ["{REVIEWER}"]\n', encoding="utf-8")
    bench.page.standings.choose(signers=people.signers, programme=programme)
    quiet()
    (line,) = [x for x in bench.lines() if x.kind == "Right missing"]
    assert "not confirmed on this machine" in line.text
    assert f"may accept Braking: {REVIEWER}" in bench.page.trust.used.text()
    bench.page.trust.confirm.click()
    quiet()
    braking = [t.id for t in bench.content if t.function == "Braking"]
    assert braking
    # Accepted without a key (by a script): the right is missing.
    bench.desk.do(decide(bench.content, braking, Outcome.ACCEPTED, by=REVIEWER))
    quiet()
    missing = [x for x in bench.lines() if x.kind == "Right missing"]
    assert [x.table for x in missing] == braking
    assert REVIEWER in missing[0].more

    bench.choose(*braking, kind="Right missing")
    bench.page.acts.order("accept")
    form = bench.page.act.decide
    assert form.with_key
    assert form.secret.isVisible()
    before = bench.content
    for key, name, why in (
        (people.reviewer, AUTHOR, f"is listed for {REVIEWER}"),
        (tmp_path / "gone", REVIEWER, "Cannot be read"),
    ):
        form.key.show_path(key)
        form.by.setText(name)
        form.secret.setText(PASSPHRASE)
        form.submit()
        quiet()
        assert why in form.answer.text()
        assert form.secret.text() == ""
        assert bench.content is before
    form.key.show_path(people.reviewer)
    form.by.setText(REVIEWER)
    form.secret.setText(PASSPHRASE)
    form.submit()
    quiet()
    assert not [x for x in bench.lines() if x.kind == "Right missing"]
    assert f"{len(braking)} of 42" in bench.page.progress.text()


# -- keys ------------------------------------------------------------------------------------------


def make(bench: Bench, quiet, path: Path, first: str, second: str) -> str:
    form = bench.page.keys
    form.path.show_path(path)
    form.owner.setText("Uma")
    form.secret.setText(first)
    form.again.setText(second)
    form.submit()
    quiet()
    assert form.secret.text() == form.again.text() == ""
    return form.answer.text()


def test_a_key_is_made_and_its_line_reads_as_an_allowed_signer(
    bench: Bench, tmp_path: Path, quiet
) -> None:
    path = tmp_path / "uma"
    assert "differ" in make(bench, quiet, path, PASSPHRASE, "something else")
    assert "fewer than" in make(bench, quiet, path, "short", "short")
    assert not path.exists()
    assert "Fingerprint SHA256:" in make(bench, quiet, path, PASSPHRASE, PASSPHRASE)
    listed = tmp_path / "signers"
    listed.write_text(bench.page.keys.line.text() + "\n", encoding="utf-8")
    (signer,) = read_signers(listed).signers
    assert signer.principals == ("Uma",)
    assert signer.key == load_key(path, PASSPHRASE).public
    assert bench.page.sign.key.path == path
    kept = path.read_bytes()
    assert "such a file already" in make(bench, quiet, path, PASSPHRASE, PASSPHRASE)
    assert path.read_bytes() == kept


@pytest.mark.skipif(shutil.which("ssh-keygen") is None, reason="ssh-keygen is not installed")
def test_openssh_reads_a_key_made_here(bench: Bench, tmp_path: Path, quiet) -> None:
    import subprocess

    make(bench, quiet, tmp_path / "uma", PASSPHRASE, PASSPHRASE)
    done = subprocess.run(
        ["ssh-keygen", "-y", "-P", PASSPHRASE, "-f", str(tmp_path / "uma")],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.split()[:2] == (tmp_path / "uma.pub").read_text().split()[:2]


def test_a_passphrase_is_hidden_and_forgotten(qtbot) -> None:
    field = SecretField()
    qtbot.addWidget(field)
    field.setText(PASSPHRASE)
    assert PASSPHRASE not in field.displayText()
    secret = field.take()
    assert field.text() == ""
    assert secret.reveal() == PASSPHRASE
    assert PASSPHRASE not in f"{secret!r} {secret}"
    assert secret == Secret(PASSPHRASE)
