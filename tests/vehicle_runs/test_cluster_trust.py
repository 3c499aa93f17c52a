"""A Dask scheduler can run programs here: said before its first use, and tls:// is supported."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from app.__main__ import main
from calib_model.errors import BitepointError
from calib_model.vehicle.cluster_trust import FILE, Certificates, confirm, is_confirmed, risk
from calib_model.vehicle.executors import NoWorkers, executor

PLAIN, SAFE = "tcp://127.0.0.1:9", "tls://127.0.0.1:9"
ROOT = Path(__file__).resolve().parents[2]


def test_an_address_that_nobody_confirmed_is_not_called() -> None:
    with pytest.raises(NoWorkers, match="run any program on this machine"), executor(None, PLAIN):
        pass


def test_an_address_is_confirmed_once_and_for_itself_only() -> None:
    confirm(f" {PLAIN} ")
    confirm(PLAIN)
    assert is_confirmed(PLAIN)
    assert not is_confirmed(SAFE)
    assert not is_confirmed("tcp://127.0.0.1:90")
    assert not is_confirmed("")
    for address in ("", " ", f"{SAFE}\n{SAFE}0"):
        with pytest.raises(BitepointError, match="no address"):
            confirm(address)
    confirm(SAFE)
    listed = (Path(os.environ["BITEPOINT_CONFIG_DIR"]) / FILE).read_text(encoding="utf-8")
    assert listed.split() == [PLAIN, SAFE]


def test_the_risk_is_said_and_encryption_recommended() -> None:
    assert "nothing is encrypted; use tls://" in risk(PLAIN)
    assert "nothing is encrypted" not in risk(SAFE)
    assert "\\x1b" in risk("tcp://\x1b[2J")


def test_certificates_always_ask_for_encryption() -> None:
    assert Certificates().options() == {"require_encryption": True}
    assert Certificates(ca=Path("ca.pem")).options()["tls_ca_file"] == "ca.pem"


def test_the_command_line_says_it_once(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    words = ["campaign", str(tmp_path / "no.h5"), "--out", str(tmp_path / "x.h5")]
    assert main([*words, "--scheduler", PLAIN]) == 2
    assert "run any program on this machine" in capsys.readouterr().err
    assert not is_confirmed(PLAIN)
    assert main([*words, "--scheduler", PLAIN, "--trust-scheduler"]) == 2
    assert "no.h5" in capsys.readouterr().err  # it went on to the next thing that is wrong
    assert main([*words, "--scheduler", PLAIN]) == 2
    assert "no.h5" in capsys.readouterr().err
    assert main([*words, "--scheduler", PLAIN, "--tls-ca", "ca.pem"]) == 2
    assert "tls://" in capsys.readouterr().err


_OVER_TLS = """
import sys
from pathlib import Path
import distributed
from calib_model.vehicle.cluster_trust import Certificates, confirm
from calib_model.vehicle.executors import NoWorkers, executor

if __name__ == "__main__":
    made = distributed.Security.temporary()
    folder = Path(sys.argv[1])
    files = {}
    for name, text in (("ca", made.tls_ca_file), ("cert", made.tls_client_cert),
                       ("key", made.tls_client_key)):
        files[name] = folder / f"{name}.pem"
        files[name].write_text(text)
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None,
        protocol="tls://", security=made, host="127.0.0.1",
    ) as cluster:
        address = cluster.scheduler_address
        assert address.startswith("tls://"), address
        confirm(address)
        with executor(None, address, Certificates(**files)) as workers:
            print("sum", workers.submit(sum, [1, 2, 3]).result())
        try:
            with executor(None, address):
                print("let in without certificates")
        except NoWorkers as error:
            print(error)
"""


def test_a_cluster_is_reached_over_tls_with_certificates_only(tmp_path: Path) -> None:
    # Outside check: Dask's own cluster, with certificates that it made.
    script = tmp_path / "over_tls.py"
    script.write_text(_OVER_TLS, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, str(script), str(tmp_path)],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        cwd=tmp_path, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "sum 6" in done.stdout
    assert "let in" not in done.stdout
    assert "does not answer" in done.stdout
