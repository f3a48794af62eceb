"""The colours of workbooks and PDFs, which need no spreadsheet package to be known."""

ACCENT = "5B3A56"
INK = "262226"
SOFT = "6B656B"
RULE = "C9C2C9"
