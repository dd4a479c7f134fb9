"""What changed from run to run."""
