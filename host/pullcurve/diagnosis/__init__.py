"""From a run to its machine: flow ledger and verdict."""
