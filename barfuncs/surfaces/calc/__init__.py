"""The functions in LibreOffice Calc: an add-in in plain Python, built from the catalogue."""
