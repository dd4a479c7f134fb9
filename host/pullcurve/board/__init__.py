"""The firmware on a connected board: put there, read back, tested."""
