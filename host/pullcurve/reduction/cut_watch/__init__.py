"""Watching a cut: one sample at a time, with nothing from the future."""
