"""The version, below every floor: what writes it into a log imports nothing else."""

from typing import Final

__version__: Final = "0.1.0"
