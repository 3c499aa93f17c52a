"""Commands as the documents write them, turned into commands that can be run.

Signs of a synopsis: ``[...]`` may be left out, ``a|b`` is one of them, ``...`` may be repeated,
words in capitals stand for what the tables here say.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator

STARTS = ("bitepoint ", "python3 ", "bash ", "ssh-keygen ", "sha256sum ", "cd ", ".venv/bin/")
WORDS = re.compile(r"\[[^\]]*\](?:\.\.\.)?|\"[^\"]*\"|\S+")

PLACEHOLDERS = {
    "SET": "sample_sets/larch_normal.h5",
    "SET...": "sample_sets/larch_normal.h5 sample_sets/larch_low_grip.h5",
    "A": "sample_sets/larch_normal.h5",
    "B": "sample_sets/larch_low_grip.h5",
    "TABLE": "pre_engage_torque",
    "TABLE...": "pre_engage_torque pre_engage_fade",
    "TABLE_2": "current_for_clamp_release",
    "RECORDING": "short.csv",
    "RECORDING...": "short.csv",
    "sweep.csv": "sample_sets/larch_bench_sweep.csv",
    "mine.h5": "sample_sets/larch_normal.h5",
    "SHEET": "rules.toml",
    "TEXT": "handover/content.txt",
    "content.txt": "handover/content.txt",
    "OUT": "out.h5",
    "NOTE": "Judders",
    "NAME": '"Ada Berg"',
    "VEHICLE": '"Van 7"',
    "DATE": "2099-02-28",
    "N": "1",
    "VERB": "check",
    "NEW": "renamed",
    "VALUE": "*1.1",
    "AXIS=PLACE": "pedal=20..60",
}
"""What stands for a word of the documents."""

OF_A_VERB = {
    ("manoeuvre", "NAME|all"): "launch_snow",
    ("manoeuvre", "FILE"): "sample_sets/larch_vehicle.toml",
    ("campaign", "FILE"): "runs.h5",
    ("import", "-o SET"): "new.h5",
    ("import", "FILES..."): "handover/content.txt",
    ("import", "--into SET"): "sample_sets/larch_normal_signed.h5",
    ("keys", "FILE"): "key",
    ("programme", "FILE"): "sample_sets/larch.toml",
    ("sign", "SET"): "sample_sets/larch_towing.h5",  # sound beside the sets of its programme
    ("accept", "SET"): "sample_sets/larch_towing.h5",
    ("sign", "FILE"): "ada",
    ("sign", "ROLE"): "author",
    ("verify", "FILE"): "sample_sets/allowed_signers",
    ("verify", "SET"): "sample_sets/larch_normal_signed.h5",
    ("waive", "SET"): "sample_sets/larch_practice.h5",
    ("waive", "KIND"): "monotone",
    ("waive", "TEXT"): '"Driven so for years"',
    ("waive", "--approver NAME"): '"Ines Roth"',
    ("fit", "TABLE"): "current_for_clamp_apply",
    ("fit", "CSV"): "sample_sets/larch_bench_sweep.csv --column value=motor_current --branch up",
    ("breakpoints", "N"): "6",
    ("invert", "N"): "6",
    ("invert", "TABLE"): "pre_engage_fade",
    ("invert", "ID"): "speed_of_fade",
    ("reaxis", "--to X,..."): "-40,-10,0,10,50",
    ("export", "OUT"): "out",
    ("compare", "OUT"): "out.html",
    ("summary", "OUT"): "out.html",
    ("replay", "OUT"): "out",
}
"""The same where a verb needs another one, by the verb and the word (with an option before it)."""


NEEDED = {
    "rules.toml": "bitepoint rules sample_sets/larch_normal.h5 > rules.toml",
    "handover/content.txt": (
        "bitepoint export sample_sets/larch_normal_signed.h5 --to signoff handover "
        "--signers sample_sets/allowed_signers"
    ),
    "ada": 'bitepoint keys new ada --name "Ada Berg"',
}
"""What makes a file that a command needs."""


def blocks(text: str) -> list[list[str]]:
    """Return the commands of every block, comments and descriptions cut off.

    Parameters
    ----------
    text : str
        A document in Markdown.
    """
    found: list[list[str]] = []
    fenced = plain = False
    for line in text.replace("\\\n", " ").splitlines():
        if line.startswith("```"):
            fenced, plain = not fenced, not fenced and line == "```"
            if plain:
                found.append([])
            continue
        # What describes a command stands at least two spaces after it, or behind a hash.
        parts = re.split(r"\s+#\s|\s{2,}(?![-<\s])", line.strip(), maxsplit=1)
        if plain and line.startswith(STARTS):
            found[-1].append(parts[0])
        elif plain and line.lstrip().startswith("["):  # a synopsis goes on
            found[-1][-1] += f" {line.strip()}"
    return [block for block in found if block]


def inline(text: str) -> list[str]:
    """Return the commands within sentences and tables of a document."""
    sentences = re.sub(r"^```.*?^```", "", text, flags=re.DOTALL | re.MULTILINE)
    codes = [" ".join(code.split()) for code in re.findall(r"`([^`]+)`", sentences)]
    return [code for code in codes if code.startswith(STARTS)]


def variants(command: str) -> Iterator[str]:
    """Yield what a synopsis stands for: every choice, without the optional parts and with them."""
    words = WORDS.findall(command)
    plain = [word for word in words if not word.startswith("[")]
    yield from _choices(plain)
    if len(plain) < len(words):
        whole = [part for word in words for part in WORDS.findall(_without_brackets(word))]
        yield from _choices(whole)


def _without_brackets(word: str) -> str:
    return word.removesuffix("...")[1:-1] if word.startswith("[") else word


def _choices(words: list[str]) -> Iterator[str]:
    """Yield every choice of ``a|b``, words in capitals replaced."""
    if words[0] != "bitepoint":
        yield " ".join(words)
        return
    sets = []
    verb = words[1]
    before = ""
    for word in words:
        known = OF_A_VERB.get((verb, f"{before} {word}")) or OF_A_VERB.get((verb, word))
        if before == "--against":
            known = PLACEHOLDERS["B"]
        known = known or PLACEHOLDERS.get(word)
        sets.append([known] if known else word.split("|"))
        before = word
    yield from (" ".join(choice) for choice in itertools.product(*sets))
