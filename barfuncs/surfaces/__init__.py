"""The catalogue's functions inside spreadsheet programs."""
