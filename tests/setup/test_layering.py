"""The model stands without a screen, and the Qt that is installed is a sound one."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SCREEN = ("PySide6", "shiboken6", "pyqtgraph", "OpenGL", "app")


def test_every_model_module_imports_without_qt() -> None:
    code = f"""
import importlib, pkgutil, sys
import calib_model
names = [m.name for m in pkgutil.walk_packages(calib_model.__path__, "calib_model.")]
for name in names:
    importlib.import_module(name)
assert len(names) > 5, names
print(sorted(n for n in sys.modules if n.split(".")[0] in {SCREEN!r}))
"""
    ran = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.strip() == "[]"


def test_the_model_itself_imports_nothing_heavy() -> None:
    heavy = ("numba", "scipy", "pint", "pandas", "xarray", "h5py", "cryptography")
    code = f"""
import sys, calib_model
print(sorted({{n.split(".")[0] for n in sys.modules}} & set({heavy!r})))
"""
    ran = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.strip() == "[]"


def test_import_contracts_hold() -> None:
    linter = Path(sys.executable).with_name("lint-imports")
    ran = subprocess.run([linter, "--no-cache"], cwd=ROOT, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert "4 kept, 0 broken" in ran.stdout


def test_five_thousand_emits_do_not_abort() -> None:
    """PySide6 6.12.0 aborts within a few hundred emits; a later bad wheel shows here.

    In its own process, since what is looked for takes the process with it.
    """
    code = """
from PySide6 import QtCore
class Source(QtCore.QObject):
    changed = QtCore.Signal(bool, int)
heard = []
source = Source()
source.changed.connect(lambda flag, number: heard.append((flag, number)))
for number in range(5000):
    source.changed.emit(True, number)
    source.changed.emit(False, number)
assert len(heard) == 10_000 and heard[-1] == (False, 4999)
print("sound")
"""
    env = {**os.environ, "QT_QPA_PLATFORM": "offscreen"}
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=env)
    assert (ran.returncode, ran.stdout.strip()) == (0, "sound"), ran.stderr


def test_tests_see_their_own_settings_folders(tmp_path: Path) -> None:
    for name in ("BITEPOINT_CONFIG_DIR", "BITEPOINT_STATE_DIR"):
        assert Path(os.environ[name]).parent == tmp_path


def test_text_is_drawn_with_the_bundled_font(qapp) -> None:  # type: ignore[no-untyped-def]
    from PySide6 import QtGui

    info = QtGui.QFontInfo(qapp.font())
    assert info.family() == "Inter"
    metrics = QtGui.QFontMetrics(qapp.font())
    assert all(metrics.inFontUcs4(ord(sign)) for sign in "Δ°Ω·²→")


@pytest.mark.window
def test_real_windows_are_shown_by_a_real_window_system(qtbot) -> None:  # type: ignore[no-untyped-def]
    from PySide6 import QtGui, QtWidgets

    label = QtWidgets.QLabel("ready")
    qtbot.addWidget(label)
    label.show()
    qtbot.waitExposed(label)
    assert QtGui.QGuiApplication.platformName() != "offscreen"
    assert QtGui.QGuiApplication.primaryScreen().size().width() >= 1600


@pytest.mark.gl
def test_the_virtual_screen_renders_opengl(qtbot) -> None:  # type: ignore[no-untyped-def]
    from PySide6 import QtGui, QtOpenGLWidgets

    class Red(QtOpenGLWidgets.QOpenGLWidget):
        def paintGL(self) -> None:
            functions = self.context().functions()
            functions.glClearColor(1.0, 0.0, 0.0, 1.0)
            functions.glClear(0x4000)  # GL_COLOR_BUFFER_BIT, OpenGL registry gl.xml

    view = Red()
    qtbot.addWidget(view)
    view.resize(80, 60)
    view.show()
    qtbot.waitExposed(view)
    qtbot.waitUntil(view.isValid)
    assert view.grabFramebuffer().pixelColor(40, 30) == QtGui.QColor(255, 0, 0)


def test_the_optional_compiler_is_here() -> None:
    if sys.platform == "darwin" and os.uname().machine == "x86_64":
        pytest.skip("no numba wheels for Intel macOS")
    assert importlib.util.find_spec("numba") is not None
