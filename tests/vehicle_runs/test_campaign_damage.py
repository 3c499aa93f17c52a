"""A damaged campaign file is refused, or holds what was written; older files have no check sum."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import h5py
import numpy as np
import pyarrow.parquet as pq
import pytest

from app.__main__ import main
from calib_model.errors import DamagedFile
from calib_model.vehicle.campaign import Campaign
from calib_model.vehicle.campaign_store import (
    NO_SUM,
    columns_of,
    content_sum,
    read_campaign,
    write_campaign,
)
from tests.cli.answers import strict_json

ROOT = Path(__file__).resolve().parents[2]
GOLDEN = Path(__file__).with_name("golden")
SUFFIXES = (".parquet", ".h5")

pytestmark = pytest.mark.timeout(400)  # reading the first plan may have to compile the model


@pytest.fixture(scope="module")
def campaign() -> Campaign:
    """Three runs, as an older version wrote them."""
    return replace(read_campaign(GOLDEN / "campaign_1.h5"), unchecked=False)


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_a_file_of_an_older_version_opens_and_says_that_it_has_none(
    suffix: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """The golden files were written by the last version without check sums, once."""
    old = GOLDEN / f"campaign_1{suffix}"
    found = read_campaign(old)
    assert found.unchecked
    assert len(found) == 3
    assert found.completed.all()
    assert main(["campaign", "--show", str(old)]) == 1  # an empty set plays no part
    assert NO_SUM in capsys.readouterr().out
    main(["campaign", "--show", str(old), "--json"])
    assert {"text": NO_SUM} in strict_json(capsys.readouterr().out)["notes"]


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_what_is_written_now_is_checked(tmp_path: Path, campaign: Campaign, suffix: str) -> None:
    path = tmp_path / f"runs{suffix}"
    write_campaign(path, campaign)
    assert not read_campaign(path).unchecked


def test_an_outsider_finds_the_same_sum(tmp_path: Path, campaign: Campaign) -> None:
    write_campaign(tmp_path / "runs.parquet", campaign)
    write_campaign(tmp_path / "runs.h5", campaign)
    notes = pq.read_schema(tmp_path / "runs.parquet").metadata
    with h5py.File(tmp_path / "runs.h5") as file:
        assert file.attrs["content_sha256"] == notes[b"content_sha256"]
    expected = content_sum(columns_of(campaign), campaign.plan.to_text())
    assert notes[b"content_sha256"].decode() == expected


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_another_value_in_a_sound_file_is_noticed(
    tmp_path: Path, campaign: Campaign, suffix: str
) -> None:
    path = tmp_path / f"runs{suffix}"
    write_campaign(path, campaign)
    name = next(iter(campaign.metrics))
    if suffix == ".h5":
        with h5py.File(path, "r+") as file:
            file[name][1] = 7.0
    else:
        table = pq.read_table(path)
        place = table.schema.get_field_index(name)
        values = table.column(name).to_numpy().copy()
        values[1] = 7.0
        table = table.set_column(place, table.schema.field(place), [values])
        out = io.BytesIO()
        pq.write_table(table, out)
        path.write_bytes(out.getvalue())
    with pytest.raises(DamagedFile, match="check sum is wrong"):
        read_campaign(path)


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_a_lost_check_sum_does_not_make_a_file_an_older_one(
    tmp_path: Path, campaign: Campaign, suffix: str
) -> None:
    path = tmp_path / f"runs{suffix}"
    write_campaign(path, campaign)
    data = path.read_bytes()
    if suffix == ".h5":
        with h5py.File(path, "r+") as file:
            del file.attrs["content_sha256"]
    else:
        table = pq.read_table(path)
        notes = {k: v for k, v in table.schema.metadata.items() if k != b"content_sha256"}
        pq.write_table(table.replace_schema_metadata(notes), path)
    with pytest.raises(DamagedFile, match="check sum"):
        read_campaign(path)
    if suffix == ".h5":
        with h5py.File(path, "w") as file:
            pass
        path.write_bytes(data)
        with h5py.File(path, "r+") as file:
            file.attrs["format"] = np.bytes_(b"bitepoint campaign 1")
        with_sum = read_campaign(path)
        assert not with_sum.unchecked


def damage(path: Path, first: int, count: int) -> Counter[str]:
    """Count what came of reading so many spoilt copies."""
    told: Counter[str] = Counter()
    done = 0
    while done < count:
        answer = subprocess.run(
            [sys.executable, "-m", "tests.vehicle_runs.spoilt_campaigns", str(path),
             str(first + done), str(count - done)],
            cwd=ROOT, capture_output=True, text=True, check=False,
            # pyarrow's own allocator reserves a gigabyte of addresses, all that there is.
            env={**os.environ, "PYTHONPATH": str(ROOT), "ARROW_DEFAULT_MEMORY_POOL": "system"},
        )  # fmt: skip
        lines = [line.split()[1] for line in answer.stdout.splitlines()]
        told.update(lines)
        done += len(lines)
        if done < count:  # a library broke down over one: in the app, the reading process did
            assert answer.returncode < 0, answer.stderr
            told["refused"] += 1
            done += 1
    return told


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_two_hundred_damaged_files(tmp_path: Path, campaign: Campaign, suffix: str) -> None:
    path = tmp_path / f"runs{suffix}"
    write_campaign(path, campaign)
    told = damage(path, 0, 200)
    assert told.keys() <= {"refused", "same"}, told
    assert told["refused"] > 100


@pytest.mark.slow
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("suffix", SUFFIXES)
def test_ten_thousand_damaged_files(tmp_path: Path, campaign: Campaign, suffix: str) -> None:
    path = tmp_path / f"runs{suffix}"
    write_campaign(path, campaign)
    told = damage(path, 10_000, 10_000)
    assert told.keys() <= {"refused", "same"}, told
