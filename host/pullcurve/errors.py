"""What can go wrong, as sentences for the person at the machine.

    PullcurveError
    ├── RigError          the rig file: which line, which key, what would be right
    ├── LogError          the run log: unreadable, foreign, damaged beyond use
    ├── LinkError         the way to the board: port missing, taken, lost
    ├── BoardError        the board itself: no MicroPython, no room, files that cannot be written
    ├── ScenarioError     the bench's scenario file
    ├── ReportError       a report that cannot be written where it was wanted
    ├── ResultError       a JSON file that is no result of this version
    └── PageError         a live page that cannot be served where it was wanted

A message says what is wrong, where, and what to do. The command line prints it and ends
with a non-zero code; nothing else catches it.
"""


class PullcurveError(Exception):
    """Base of all errors that are meant for the user."""


class RigError(PullcurveError):
    """A rig file that cannot be used, or that contradicts the log."""


class LogError(PullcurveError):
    """A run log that cannot be read or written."""


class LinkError(PullcurveError):
    """The way to the board failed."""


class BoardError(PullcurveError):
    """A board that cannot run the firmware, or does not take it."""


class ScenarioError(PullcurveError):
    """A bench scenario that cannot be simulated."""


class ReportError(PullcurveError):
    """A report that cannot be written where it was wanted."""


class ResultError(PullcurveError):
    """A JSON file that holds no result of the kind and version that is read."""


class PageError(PullcurveError):
    """A live page that cannot be served where it was wanted."""
