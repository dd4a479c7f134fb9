"""What spoils a measurement, and what is odd about a rig."""
