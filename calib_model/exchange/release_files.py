"""A set as files for hand-over: canonical text, set file, and everything a sign-off consists of."""

from __future__ import annotations

import shlex
from dataclasses import replace
from pathlib import Path

from ..core.calibration_set import CalibrationSet
from ..core.canonical import canonical_text
from ..core.record import Trial
from ..signoff.statement import NAMESPACE, chain_of, part_text
from ..store import write_whole
from ..store.whole_folder import whole_folder
from .canonical_reader import COMMENT
from .marking import Mark

CONTENT, WAIVERS, DECISIONS, MATURITY = (
    "content.txt", "waivers.json", "decisions.json", "maturity.json",
)  # fmt: skip
HOW = "HOW_TO_VERIFY.txt"


def text_bytes(content: CalibrationSet, mark: Mark) -> bytes:
    """Return a set as canonical text; a mark stands in comment lines before it.

    Notes
    -----
    Without a mark the SHA-256 of these bytes is the set's digest.
    """
    if not mark.word:
        return canonical_text(content)
    lines = [" ".join(line.split()) for line in mark.lines]
    head = "".join(f"{COMMENT} {line}\n" for line in lines)
    return head.encode() + canonical_text(content)


def marked_set(content: CalibrationSet, mark: Mark, trial: Trial | None) -> CalibrationSet:
    """Return the set to write as a set file: a mark is in its description, and in its name.

    The content, and so the digest, stays the same.  A trial is added to the record.  The name of
    a set with sign-offs is left alone: it is part of what was signed.
    """
    if trial is not None:
        record = content.record
        content = content.with_record(replace(record, trials=(*record.trials, trial)))
    if not mark.word:
        return content
    text = "\n".join([*mark.lines, content.description]).strip()
    if len(text.encode()) > 20_000:  # an attribute of the file has a limit; the trial has it all
        text = "\n".join([*mark.lines[:2], "(cut: see the record)", content.description])[:5000]
    name = content.name
    if not content.record.sign_offs:
        name = f"{mark.word.split('_')[0]}: {content.called}"
    return replace(content, name=name, description=text)


def sign_off_files(content: CalibrationSet) -> dict[str, bytes]:
    """Return everything a set's sign-offs consist of, by file name.

    The canonical text, the waivers, decisions and maturity levels that the statements hold the
    digests of, each statement with its signature, and how to verify them with OpenSSH.

    Raises
    ------
    SignatureProblem
        If the sign-offs are damaged.
    """
    record = content.record
    files = {
        CONTENT: canonical_text(content),
        WAIVERS: part_text(record.waivers).encode(),
        DECISIONS: part_text(record.decisions).encode(),
        MATURITY: part_text(record.maturities).encode(),
    }
    steps = []
    for number, (statement, item) in enumerate(
        zip(chain_of(record.sign_offs), record.sign_offs, strict=True), start=1
    ):
        name = f"sign_off_{number}.json"
        files[name] = item.statement.encode()
        files[f"{name}.sig"] = item.signature.encode()
        steps.append(
            f"ssh-keygen -Y verify -f allowed_signers -I {shlex.quote(statement.name)} "
            f"-n {NAMESPACE} -s {name}.sig < {name}"
        )
    files[HOW] = _how(steps).encode()
    return files


def write_sign_off_files(content: CalibrationSet, folder: Path) -> list[Path]:
    """Write `sign_off_files` into a new folder.

    Raises
    ------
    FileProblem
        If there is such a folder or file already, or it cannot be written.
    """
    files = sign_off_files(content)
    with whole_folder(folder) as partial:
        for name, data in files.items():
            write_whole(partial / name, data)
    return [folder / name for name in files]


def _how(steps: list[str]) -> str:
    commands = "\n".join(f"   {step}" for step in steps) or "   (there is no sign-off)"
    return f"""\
How to verify these files without Bitepoint: with OpenSSH and sha256sum.

1. Get the list of allowed signers (allowed_signers) from your team, never from this folder.
2. Each sign-off was signed by somebody on that list:

{commands}

   Each must answer: Good "{NAMESPACE}" signature for ...
3. The values are the signed ones: the first number that

   sha256sum {CONTENT}

   prints must be the one behind "content" in the last sign_off_N.json.
4. The same for {WAIVERS}, {DECISIONS} and {MATURITY}: "waivers", "decisions" and "maturity".
5. No sign-off is missing: "previous" in each sign_off_N.json must be what sha256sum prints for
   the one before it, and empty in the first.
6. A release has the last sign-offs, for the same "content", by two people: an author and a
   reviewer.
"""
