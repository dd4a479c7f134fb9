"""The wheel by itself: an editable install would find files that it lacks."""

import subprocess
import sys
from pathlib import Path
from zipfile import ZipFile

import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", folder, ROOT],
        check=True,
        capture_output=True,
    )
    (wheel,) = folder.glob("*.whl")
    with ZipFile(wheel) as archive:
        archive.extractall(folder / "unpacked")
    return folder / "unpacked"


def run(unpacked: Path, program: str) -> str:
    """Run a program that imports from the wheel before anything else."""
    ahead = f"import sys; sys.path.insert(0, {str(unpacked)!r})\n"
    done = subprocess.run(
        [sys.executable, "-I", "-c", ahead + program], check=True, capture_output=True, text=True
    )
    return done.stdout


def test_the_wheel_carries_the_firmware_for_a_board(unpacked: Path) -> None:
    program = """
from pullcurve.board.install import firmware_files, firmware_revision
from pullcurve.bench.firmware_files import firmware_folder
print(firmware_folder(), firmware_revision(), *firmware_files())
"""
    folder, revision, *names = run(unpacked, program).split()
    assert Path(folder) == unpacked / "pullcurve" / "_firmware"
    assert revision
    own = {p.relative_to(ROOT / "firmware").as_posix() for p in ROOT.glob("firmware/**/*.py")}
    assert set(names) == own
    assert names[-1] == "main.py"
    for name in [*names, "board.json"]:
        assert (Path(folder) / name).read_bytes() == (ROOT / "firmware" / name).read_bytes()


def test_the_wheel_reports_a_run(unpacked: Path, tmp_path: Path) -> None:
    program = f"""
import pullcurve, record_format
from pullcurve.cli import main
main(["report", {str(ROOT / "sample_logs/healthy_sweep.runlog")!r}, "--out",
      {str(tmp_path / "run")!r}], standalone_mode=False)
print(pullcurve.__file__, record_format.__file__)
"""
    said = run(unpacked, program)
    assert all(str(unpacked) in name for name in said.splitlines()[-1].split())
    assert (tmp_path / "run.report.html").stat().st_size > 10_000
