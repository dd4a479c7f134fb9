"""The shared checks of the firmware, on CPython and on two builds of real MicroPython."""

from pathlib import Path
from types import ModuleType

import ble_checks
import board_json_checks
import differential_part_checks
import driver_checks
import header_checks
import link_checks
import memory_checks
import pytest
import sampling_checks
import tach_checks
from checking import names

from on_micropython import needs_unix, needs_wasm, run_unix, run_wasm

FIRMWARE = Path(__file__).parents[2] / "firmware"
PATH = [Path(__file__).parent, FIRMWARE, FIRMWARE / "lib"]
MODULES = (
    ble_checks,
    board_json_checks,
    differential_part_checks,
    driver_checks,
    header_checks,
    link_checks,
    memory_checks,
    sampling_checks,
    tach_checks,
)

each_module = pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__)


@pytest.mark.parametrize(
    "check",
    [
        pytest.param(vars(module)[name], id=f"{module.__name__}-{name}")
        for module in MODULES
        for name in names(vars(module))
    ],
)
def test_on_cpython(check) -> None:
    check()


@needs_unix
@each_module
def test_on_the_unix_port(module: ModuleType) -> None:
    passes(module, run_unix)


@needs_wasm
@each_module
def test_on_the_32_bit_build(module: ModuleType) -> None:
    passes(module, run_wasm)


def passes(module: ModuleType, run) -> None:
    done = run(Path(module.__file__), path=PATH)
    said = "".join(f"ok {name}\n" for name in names(vars(module)))
    assert (done.stdout, done.stderr, done.returncode) == (said, "", 0)
