"""A simulated suction machine whose truth is known, and the parts that measure it."""
