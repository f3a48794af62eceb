"""Templates filled from Python, one by one or by the list."""
