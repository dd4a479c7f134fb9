"""Checks that run alike on CPython and on MicroPython, without pytest.

A module of them, run as a script, prints a line for each check and ends with 1 if one fails.
On MicroPython they also prove what allocates nothing; the 32-bit build tells most, for its
small integers end at 2^30 as on a board.
"""

import sys

from record_format import Line

# On CPython this name may belong to the package that brings the unix port.
if sys.implementation.name == "micropython":
    import micropython
else:
    micropython = None


def written(write):
    """The numbers that `write` adds to a record."""
    line = Line()
    line.begin(b"dp 1", 0)
    write(line)
    length = line.end()
    return tuple(int(word) for word in bytes(line.buffer[:length]).split()[3:-1])


def raises(kind, function, *args):
    """The message of the exception that function raises, which must be of that kind."""
    try:
        function(*args)
    except kind as error:
        return str(error)
    raise AssertionError("no " + kind.__name__)


def allocates(function):
    """Whether function allocates; None where the runtime cannot tell."""
    if micropython is None:
        return None
    micropython.heap_lock()
    try:
        function()
    except MemoryError:
        return True
    finally:
        micropython.heap_unlock()
    return False


def names(module):
    """The checks among the names of a module."""
    return sorted(name for name in module if name.startswith("check_"))


def run(module):
    """Run the checks of a module, given as its globals: the exit code."""
    failed = 0
    for name in names(module):
        try:
            module[name]()
            sys.stdout.write(f"ok {name}\n")
        except Exception as error:  # noqa: BLE001
            failed += 1
            sys.stdout.write(f"FAILED {name}: {error!r}\n")
            if hasattr(sys, "print_exception"):
                sys.print_exception(error)
    return 1 if failed else 0
