"""Text files and characters. Knows nothing of bars."""
