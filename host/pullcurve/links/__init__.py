"""The ways to a board. Each module is one, and each is a `sources.Source`."""
