"""The pinned versions cover what is installed, and what each system needs is followed rightly."""

from __future__ import annotations

import importlib.util
import sys
from importlib import metadata
from pathlib import Path
from types import ModuleType

import pytest
from packaging.requirements import Requirement

CI = Path(__file__).resolve().parents[2] / ".ci"


@pytest.fixture
def scripts(monkeypatch: pytest.MonkeyPatch) -> dict[str, ModuleType]:
    """The scripts of `.ci`, which import each other as neighbours."""
    monkeypatch.setattr(sys, "path", [str(CI), *sys.path])
    loaded = {}
    for name in ("pins", "renew_constraints", "wheels"):
        spec = importlib.util.spec_from_file_location(name, CI / f"{name}.py")
        assert spec is not None
        assert spec.loader is not None
        loaded[name] = importlib.util.module_from_spec(spec)
        monkeypatch.setitem(sys.modules, name, loaded[name])
        spec.loader.exec_module(loaded[name])
    return loaded


def test_all_that_this_environment_needs_is_pinned_in_a_version_that_suits(
    scripts: dict[str, ModuleType],
) -> None:
    pins = scripts["pins"]
    here = scripts["renew_constraints"].installed()
    system = {"win32": 0, "darwin": 1}.get(sys.platform, 2)
    python = f"{sys.version_info[0]}.{sys.version_info[1]}"
    (machine,) = [
        m
        for m in pins.machines()
        if m.python == python and m.markers == pins.SYSTEMS[system].markers
    ]
    found = pins.needed(
        pins.asked_for(), machine, lambda name: here[name].requires if name in here else None
    )
    have = pins.read_pins()
    assert len(found) > 60
    assert set(found) - set(have) == set()
    for name, asked in found.items():
        for one in asked:
            assert one.specifier.contains(have[name], prereleases=True), (name, str(one))


def test_requirements_are_followed_with_the_other_machine_s_markers(
    scripts: dict[str, ModuleType],
) -> None:
    pins = scripts["pins"]
    library = {
        "plot": ["Colour_Names>=2; sys_platform=='win32'", "numbers[fast]", "old; extra=='doc'"],
        "numbers": ["core", "speed; extra == 'fast'", "docs; extra == 'doc'"],
        "speed": ["arm-only; platform_machine == 'arm64'"],
    }  # fmt: skip
    found = {
        machine.name: set(pins.needed([Requirement("plot")], machine, library.get))
        for machine in pins.machines()
        if machine.python == "3.12"
    }
    common = {"plot", "numbers", "core", "speed"}
    assert found == {
        "Windows": common | {"colour-names"},
        "macOS arm64": common | {"arm-only"},
        "Linux": common,
    }


def test_what_is_not_a_pin_is_refused(scripts: dict[str, ModuleType], tmp_path: Path) -> None:
    path = tmp_path / "constraints.txt"
    path.write_text("# why\nSome_Thing==1.2.post1  # a remark\n\n")
    assert scripts["pins"].read_pins(path) == {"some-thing": "1.2.post1"}
    path.write_text("some-thing>=1\n")
    with pytest.raises(ValueError, match="NAME==VERSION"):
        scripts["pins"].read_pins(path)


def test_renewing_pins_what_is_installed_and_asks_for_what_other_systems_need(
    scripts: dict[str, ModuleType], monkeypatch: pytest.MonkeyPatch
) -> None:
    renew = scripts["renew_constraints"]
    asked = [Requirement("pytest"), Requirement("win-thing>=2; sys_platform == 'win32'")]
    monkeypatch.setattr(renew, "asked_for", lambda: asked)
    given: list[str] = []

    def offered(wanted: list[Requirement]) -> dict[str, object]:
        given.extend(str(one) for one in wanted)
        return {"name": wanted[0].name, "version": "2.5", "requires_dist": ["pluggy"]}

    monkeypatch.setattr(renew, "offered", offered)
    lines = renew.lines(renew.installed())
    assert f"pytest=={metadata.version('pytest')}" in lines
    assert f"pluggy=={metadata.version('pluggy')}" in lines
    assert not any(line.startswith("numpy==") for line in lines)  # nothing asked for it
    assert "win-thing==2.5" in lines
    assert {one.split(">")[0] for one in given} >= {"win-thing"}
    assert lines == sorted(lines, key=str.casefold)


def test_renewing_from_an_environment_with_pinned_versions_is_refused(
    scripts: dict[str, ModuleType],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    renew = scripts["renew_constraints"]
    monkeypatch.setattr(renew, "FILE", tmp_path / "constraints.txt")
    monkeypatch.setattr(sys, "prefix", str(tmp_path))
    assert renew.main() == 2
    assert "tests/run.py --newest" in capsys.readouterr().err
    assert not (tmp_path / "constraints.txt").exists()
    (tmp_path / "bitepoint-stamp.json").write_text('{"newest": true, "extras": ["test"]}')
    monkeypatch.setattr(renew, "lines", lambda here: ["a==1"])
    assert renew.main() == 0
    assert (tmp_path / "constraints.txt").read_text().endswith(".ci/wheels.py`.\na==1\n")
