"""What is no plain file is refused at once, by every reader of a file that somebody named."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.__main__ import main
from app.cli.secrets import loaded_key
from calib_model.core.plain_file import is_there, open_plain, read_plain
from calib_model.errors import FileProblem
from calib_model.exchange.measurements import inspect
from calib_model.session.programme import vehicle_beside
from calib_model.store import read_set

ROOT = Path(__file__).resolve().parents[2]
SET = str(ROOT / "sample_sets" / "larch_normal.h5")

pytestmark = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")


@pytest.fixture
def pipe(tmp_path: Path) -> Path:
    path = tmp_path / "pipe.toml"
    os.mkfifo(path)
    return path


@pytest.fixture
def odd(tmp_path: Path, pipe: Path) -> Iterator[dict[str, Path]]:
    """One of everything that is no plain file."""
    place = tmp_path / "socket"
    link = tmp_path / "link"
    link.symlink_to(pipe)
    circle = tmp_path / "circle"
    circle.symlink_to(circle)
    with socket.socket(socket.AF_UNIX) as bound:
        here = Path.cwd()
        os.chdir(tmp_path)  # a socket's path may have 108 bytes only
        try:
            bound.bind("socket")
        finally:
            os.chdir(here)
        yield {
            "pipe": pipe, "folder": tmp_path, "device": Path("/dev/zero"), "socket": place,
            "link": link, "circle": circle, "long": tmp_path / ("x" * 5000), "nul": Path("a\0b"),
        }  # fmt: skip


KINDS = ("pipe", "folder", "device", "socket", "link", "circle", "long", "nul")


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_no_plain_file_is_refused_in_words(odd: dict[str, Path], kind: str) -> None:
    with pytest.raises(OSError) as refused:
        open_plain(odd[kind])
    assert refused.value.strerror
    with pytest.raises(FileProblem, match=r"Cannot be read: .*Check the name") as told:
        read_plain(odd[kind], "a list", 10)
    assert told.value.path == odd[kind]
    with pytest.raises(FileProblem):
        read_set(odd[kind])
    with pytest.raises(FileProblem):
        inspect(odd[kind])
    assert is_there(odd[kind]) == (kind in ("pipe", "folder", "device", "socket", "link"))


def test_a_link_to_a_plain_file_is_one_and_its_size_is_bounded(tmp_path: Path) -> None:
    (tmp_path / "real").write_bytes(b"12345")
    (tmp_path / "link").symlink_to(tmp_path / "real")
    assert read_plain(tmp_path / "link", "a list", 5) == b"12345"
    with pytest.raises(FileProblem, match="too large for a list"):
        read_plain(tmp_path / "link", "a list", 4)


DRIVE = str(ROOT / "sample_sets" / "larch_snow_round.csv")
OPTIONS = {
    "--signers": ["verify", SET, "--signers"],
    "--passphrase-file": ["keys", "new", "made", "--passphrase-file"],
    "--apply": ["rules", SET, "--apply"],
    "--data": ["fit", SET, "pre_engage_fade", "--data"],
    "--map": ["replay", SET, DRIVE, "--map"],
    "--vehicle": ["manoeuvre", SET, "--vehicle"],
    "--programme": ["sign", SET, "--list", "--programme"],
    "--manoeuvres": ["manoeuvre", SET, "--manoeuvres"],
    "--weights": ["smooth", SET, "pre_engage_torque", "--weights"],
    "a recording": ["replay", SET],
    "a set": ["check"],
    "canonical text": ["import"],
    "a campaign": ["campaign", "--show"],
}


@pytest.mark.parametrize("option", OPTIONS)
@pytest.mark.timeout(60)
def test_no_option_of_the_command_line_waits_for_a_pipe(
    pipe: Path, option: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(pipe.parent)
    extra = ["-o", "made.h5"] if option in ("canonical text", "--apply") else []
    assert main([*OPTIONS[option], str(pipe), *extra]) == 2
    said = capsys.readouterr().err
    assert "not a plain file" in said
    assert said.splitlines()[-1].startswith("bitepoint: ")


@pytest.mark.timeout(60)
def test_no_key_is_waited_for(pipe: Path) -> None:
    with pytest.raises(FileProblem, match="not a plain file"):
        loaded_key(pipe, None)


@pytest.mark.timeout(60)
def test_a_pipe_beside_a_set_is_no_programme(pipe: Path, tmp_path: Path) -> None:
    assert vehicle_beside(tmp_path / "larch.h5") is None
    for name in ("y" * 5000, "pipe.toml"):
        (tmp_path / "programme.toml").write_text(f'vehicle = "{name}"\n')
        assert vehicle_beside(tmp_path / "larch.h5") is None


def test_every_reader_opens_files_in_the_one_place() -> None:
    """A new reader that opens a file by itself would wait for a pipe again."""
    own = {  # what is no file that a user names, or is written
        "calib_model/core/plain_file.py", "calib_model/lookup/source_key.py", "app/bootstrap.py",
        "app/shell/help_pages.py", "app/guide/pages.py", "app/look/icons.py",
    }  # fmt: skip
    found = subprocess.run(
        ["git", "grep", "-nE", r"""\.(read_text|read_bytes)\(|open\((encoding|"r?b|'r)""",
         "--", "app", "calib_model"],
        cwd=ROOT, capture_output=True, text=True,
    )  # fmt: skip
    if found.returncode not in (0, 1):
        pytest.skip("not a checkout")
    lines = [
        line for line in found.stdout.splitlines()
        if line.split(":", 1)[0] not in own and "def read_" not in line
    ]  # fmt: skip
    assert lines == [], "\n".join(lines)


def test_the_reading_process_can_use_it_without_the_model() -> None:
    code = (
        "import sys; from calib_model.store.source import read_bytes;"
        "print([n for n in sys.modules if n.startswith(('numpy', 'h5py'))])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout == "[]\n"
