"""Workbook files: their parts, cells, calculation. Knows nothing of bars."""
