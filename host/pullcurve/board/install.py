"""The firmware onto a board: what differs is written, all of it is read back."""

import hashlib
import re
from collections.abc import Callable
from typing import Final

from pullcurve.bench.firmware_files import firmware_folder
from pullcurve.board.prompt import Prompt
from pullcurve.errors import BoardError

MAIN: Final = "main.py"
SETTINGS: Final = "board.json"
_SPARE_BLOCKS: Final = 4  # what a file system needs beside the files: a judgement
_TRIES: Final = 2  # for a file that reads back otherwise than it was written

Say = Callable[[str], None]


def firmware_files() -> dict[str, bytes]:
    """The programs of the firmware by their name on the board, main.py last."""
    folder = firmware_folder()
    names = sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*.py"))
    names.sort(key=lambda name: name == MAIN)
    return {name: (folder / name).read_bytes() for name in names}


def firmware_revision() -> str:
    """The revision that the firmware of this package says it is."""
    text = (firmware_folder() / "streamer.py").read_text(encoding="utf-8")
    found = re.search(r'^FIRMWARE = "(.+)"$', text, re.MULTILINE)
    if found is None:
        raise BoardError("the firmware in this package has no revision; install pullcurve again")
    return found[1]


def install(board: Prompt, settings: bytes | None, say: Say) -> None:
    """Make the board's files those of the firmware, and restart it.

    settings: what to write as board.json; None keeps the board's own, and a board without one
    gets the shipped one. main.py goes first and comes last, so a board on which this was broken
    off runs nothing rather than a mixture. Raises BoardError and LinkError.
    """
    wanted = firmware_files()
    if settings is None and board.size(SETTINGS) is None:
        settings = (firmware_folder() / SETTINGS).read_bytes()
        say(f"the board has no {SETTINGS}: it gets the shipped one, which must fit the wiring")
    elif settings is None:
        say(f"{SETTINGS} is the board's own and stays as it is")
    if settings is not None:
        wanted = {SETTINGS: settings} | wanted
    differing = [name for name in wanted if not _is(board, name, wanted[name])]
    if differing:
        _make_room(board, {name: wanted[name] for name in differing})
        if board.size(MAIN) is not None:
            board.remove(MAIN)
            differing = [name for name in differing if name != MAIN] + [MAIN]
        for name in differing:
            _write(board, name, wanted[name], say)
        for name, content in wanted.items():
            if not _is(board, name, content):
                raise BoardError(_damaged(board, name))
    say(f"{len(wanted)} files read back from the board: all as they should be, to the byte")
    board.restart()


def _is(board: Prompt, name: str, content: bytes) -> bool:
    return board.digest(name) == hashlib.sha256(content).digest()


def _make_room(board: Prompt, contents: dict[str, bytes]) -> None:
    """Raises BoardError before anything is written when it would not all fit."""
    space = board.space()
    if space is None:
        return

    def blocks(size: int) -> int:
        return -(-size // space.block)

    needed = _SPARE_BLOCKS + sum(
        blocks(len(content)) - blocks(board.size(name) or 0) for name, content in contents.items()
    )
    if needed > space.free:
        free, more = (blocks * space.block // 1024 for blocks in (space.free, needed))
        raise BoardError(
            f"{board.port}: the board has {free} kB free for files, and the firmware needs {more} "
            "kB more: take files that are not the firmware's off it. Nothing was written"
        )


def _write(board: Prompt, name: str, content: bytes, say: Say) -> None:
    say(f"writing {name}, {len(content)} bytes")
    for _ in range(_TRIES):
        board.write(name, content)
        if _is(board, name, content):
            return
        say(f"{name} reads back otherwise than it was written")
    board.remove(name)
    raise BoardError(_damaged(board, name))


def _damaged(board: Prompt, name: str) -> str:
    return (
        f"{board.port}: {name} reads back otherwise than it was written: give the same command "
        "again; if that does not help, the board's memory is worn out, or the cable is bad"
    )
