"""Whether surfaces can be drawn here: tried once, in a process of its own.

Without OpenGL nothing raises: pictures stay empty, or the process ends.  So a child draws a
small picture out of sight and looks at it, and only its answer counts.  As a script this file
is that child; nothing of the project is imported there.
"""

from __future__ import annotations

import atexit
import json
import os
import subprocess
import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path

TIME_LIMIT = 20.0
PLATFORMS_WITHOUT = ("offscreen", "minimal", "minimalegl", "vnc", "linuxfb")
"""Platforms of Qt on which OpenGL aborts the process or draws nothing."""

# Names of renderers without a graphics card, as they give themselves (common practice).
_SOFTWARE = ("llvmpipe", "softpipe", "swrast", "software", "swiftshader", "basic render", "generic")


@dataclass(frozen=True)
class Answer:
    """What was found.

    Parameters
    ----------
    works : bool
    missing : str
        What is missing, as a sentence; empty if it works.
    details : str
        Version and renderer, as the system tells them.
    binding : str
        How PyOpenGL must reach OpenGL for it to work (``PYOPENGL_PLATFORM``); empty: as it does
        by itself.
    """

    works: bool
    missing: str = ""
    details: str = ""
    binding: str = ""

    @property
    def accelerated(self) -> bool:
        """Whether a graphics card draws, as far as the renderer's name tells."""
        name = self.details.lower()
        return self.works and not any(word in name for word in _SOFTWARE)


class Probe:
    """One try, running beside the window.

    Parameters
    ----------
    platform : str
        Qt's platform in this process; the child uses the same.
    command : list of str, optional
        Another child, for tests.
    limit : float
        Seconds after which it is given up.
    """

    def __init__(
        self, platform: str, command: list[str] | None = None, limit: float = TIME_LIMIT
    ) -> None:
        # -P: the folder of this file is no place to import from.
        self._command = command or [sys.executable, "-P", str(Path(__file__).resolve())]
        self._platform = platform
        self._limit = limit
        self._end = time.monotonic() + limit
        self._answer: Answer | None = None
        # Qt and PyOpenGL each choose by themselves between X11's and the newer way to OpenGL;
        # where they choose differently nothing is drawn, so the other way is tried as well.
        self._bindings = [""]
        if sys.platform.startswith("linux") and "PYOPENGL_PLATFORM" not in os.environ:
            self._bindings += ["egl", "glx"]
        self._process: subprocess.Popen[bytes] | None = None
        self._start()

    def _start(self) -> None:
        self._binding = self._bindings.pop(0)
        env = {**os.environ, "QT_QPA_PLATFORM": self._platform}
        if self._binding:
            env["PYOPENGL_PLATFORM"] = self._binding
        try:
            self._process = subprocess.Popen(
                self._command,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                env=env,
                creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
            )
        except OSError as error:
            self._answer = Answer(False, f"The try could not be started ({error.strerror}).")

    def poll(self) -> Answer | None:
        """Return the answer, or None while there is none yet."""
        process = self._process
        if self._answer is not None or process is None:
            return self._answer
        if process.poll() is None:
            if time.monotonic() >= self._end:
                self.stop()
                self._answer = Answer(
                    False, f"The try picture was not drawn within {self._limit:g} s."
                )
            return self._answer
        assert process.stdout is not None
        text = process.stdout.read()
        process.stdout.close()
        answer = _read(text, process.returncode)
        # Details tell that there is a context, so that another binding may do.
        if not answer.works and answer.details and self._bindings:
            self._start()
            return None
        self._answer = replace(answer, binding=self._binding) if answer.works else answer
        return self._answer

    def wait(self) -> Answer:
        """Return the answer; takes as long as it takes."""
        while (answer := self.poll()) is None:
            time.sleep(0.02)
        return answer

    def stop(self) -> None:
        """End the child."""
        process = self._process
        if process is not None and process.poll() is None:
            process.kill()
            process.wait()
        if process is not None and process.stdout is not None:
            process.stdout.close()


_known: dict[str, Answer] = {}
_running: dict[str, Probe] = {}


def known(platform: str) -> Answer | None:
    """Return what this session knows already; None if it must be tried."""
    if platform in PLATFORMS_WITHOUT:
        return Answer(False, f"There is no real screen here (Qt platform {platform}).")
    return _known.get(platform)


def ask(platform: str) -> Answer | None:
    """Return what is known, or None while it is being tried: ask again a little later."""
    answer = known(platform)
    if answer is not None:
        return answer
    if platform not in _running:
        _running[platform] = Probe(platform)
        atexit.register(_running[platform].stop)
    answer = _running[platform].poll()
    if answer is not None:
        remember(platform, answer)
    return answer


def remember(platform: str, answer: Answer) -> None:
    """Keep an answer for the rest of the session, and do as it says."""
    _known[platform] = answer
    if answer.works and answer.binding:
        os.environ["PYOPENGL_PLATFORM"] = answer.binding  # read when OpenGL is first imported


def forget() -> None:
    """Try again the next time."""
    for running in _running.values():
        running.stop()
    _running.clear()
    _known.clear()


def _read(text: bytes, status: int) -> Answer:
    try:
        plain = json.loads(text.decode().strip().splitlines()[-1])
        return Answer(bool(plain["works"]), str(plain["missing"]), str(plain["details"]))
    except (ValueError, IndexError, KeyError, TypeError, UnicodeDecodeError):
        how = f"signal {-status}" if status < 0 else f"status {status}"
        return Answer(False, f"Drawing a try picture ended the process ({how}).")


def _try() -> Answer:
    """Draw a small surface out of sight and look at its middle."""
    try:
        import numpy as np
        from PySide6.QtCore import QCoreApplication, Qt
        from PySide6.QtWidgets import QApplication

        QCoreApplication.setAttribute(Qt.ApplicationAttribute.AA_ShareOpenGLContexts)
        app = QApplication(["probe"])
        from pyqtgraph import opengl
    except ImportError as error:
        return Answer(False, f"A library is missing ({error}).")
    except (AttributeError, TypeError, OSError) as error:  # PyOpenGL, without a library to load
        return Answer(False, f"The system's OpenGL library cannot be loaded ({error}).", "none")
    view = opengl.GLViewWidget()
    view.setAttribute(Qt.WidgetAttribute.WA_DontShowOnScreen)
    view.resize(64, 64)
    view.setBackgroundColor("k")
    corners = np.array([[-9, -9, 0], [9, -9, 0], [9, 9, 0], [-9, 9, 0]], dtype=np.float32)
    faces = np.array([[0, 1, 2], [0, 2, 3]], dtype=np.uint32)
    colours = np.tile(np.array([[0.0, 1.0, 0.0, 1.0]], dtype=np.float32), (4, 1))
    item = opengl.GLMeshItem(
        vertexes=corners, faces=faces, vertexColors=colours, computeNormals=False
    )
    view.addItem(item)
    view.setCameraPosition(distance=4, elevation=90)
    view.show()
    app.processEvents()
    if not view.isValid():
        return Answer(False, "The system gives no OpenGL context.")
    image = view.grabFramebuffer()
    context = view.context()
    if context is None or image.isNull():
        return Answer(False, "The system gives no OpenGL context.")
    version = ".".join(map(str, context.format().version()))
    view.makeCurrent()
    renderer = ""
    try:
        from OpenGL import GL

        renderer = (GL.glGetString(GL.GL_RENDERER) or b"").decode(errors="replace")
    finally:
        view.doneCurrent()
    details = f"OpenGL {version}, {renderer}"
    middle = image.pixelColor(image.width() // 2, image.height() // 2)
    if middle.green() < 200 or middle.red() > 60:
        return Answer(False, f"OpenGL is there, but draws nothing right ({details}).", details)
    return Answer(True, "", details)


def main() -> None:
    """Print the answer as one line of JSON."""
    answer = _try()
    print(
        json.dumps({"works": answer.works, "missing": answer.missing, "details": answer.details}),
        flush=True,
    )
    # Some drivers crash while the process is taken down: the answer is given already.
    os._exit(0)


if __name__ == "__main__":
    main()
