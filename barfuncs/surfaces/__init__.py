"""Where the functions appear: one module for each spreadsheet program, all generated from the catalogue."""
