"""A board from power-on to its prompt, on MicroPython's unix port started with -i.

Arguments: its terminal, the folder of board_side.py, the file that stands for the flash, its
blocks, and if it is not to tell the truth what sys.implementation says: name, and version with
dots.

Its flash holds a LittleFS as on a board with an RP2040. The bus has nobody on it. Time passes
as it does, in the firmware as well.
"""

import os
import sys
import time
import vfs

BLOCK = 4096
TERMINAL = open(sys.argv[1])  # which makes it the one whose Ctrl-C is heard
sys.path[:] = [sys.argv[2]]
board_side = __import__("board_side")


class Flash:
    """A block device on a file of the computer."""

    def __init__(self, path, blocks):
        self._blocks = blocks
        self._file = open(path, "r+b")

    def readblocks(self, block, buffer, offset=0):
        self._file.seek(BLOCK * block + offset)
        self._file.readinto(buffer)

    def writeblocks(self, block, buffer, offset=0):
        self._file.seek(BLOCK * block + offset)
        self._file.write(buffer)
        self._file.flush()

    def ioctl(self, request, argument):
        return {4: self._blocks, 5: BLOCK}.get(request, 0)


class Clock(board_side.Clock):
    """Virtual time that keeps pace with the true one."""

    def sleep_us(self, us):
        super().sleep_us(us)
        while time.ticks_us() < self.now_us + BEGAN:
            time.sleep_us(500)


class NobodyThere:
    def transact(self, now_us, bus, address, data, length):
        return None

    def happenings(self, from_us, to_us):
        return []


class Sys:
    """The module sys with another MicroPython in it."""

    def __init__(self, name, version):
        self.implementation = (name, tuple(int(part) for part in version.split(".")))

    def __getattr__(self, name):
        return getattr(sys, name)


def machine(clock):
    module = type("machine", (), {})
    board_side.make_machine(clock, NobodyThere(), module)
    module.Timer = lambda period, callback: None
    module.reset = sys.exit
    return module


BEGAN = time.ticks_us()
flash = Flash(sys.argv[3], int(sys.argv[4]))
try:
    files = vfs.VfsLfs2(flash)
except OSError:
    vfs.VfsLfs2.mkfs(flash)
    files = vfs.VfsLfs2(flash)
vfs.umount("/")
vfs.mount(files, "/")
os.chdir("/")
sys.path[:] = ["", "/lib"]
sys.stdout.write("flash mounted\n")
clock = Clock(NobodyThere())
sys.modules["machine"] = machine(clock)
sys.modules["time"] = clock
sys.modules["micropython"] = type("micropython", (), {"alloc_emergency_exception_buf": id})
if sys.argv[5:]:
    sys.modules["sys"] = Sys(sys.argv[5], sys.argv[6])
if "main.py" in os.listdir():
    __import__("main")
