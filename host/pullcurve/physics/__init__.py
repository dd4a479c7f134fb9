"""Pure functions over NumPy arrays in SI: air, meters, machine. No files, no clock, no state."""
