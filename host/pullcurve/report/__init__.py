"""A run's result as JSON, CSV, page, picture and terminal summary."""
