"""What a function is and how its arguments are read: entries, formulas, kinds, units, materials, the reading room."""
