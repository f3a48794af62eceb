"""The shop's own stock of bar: its history, what is there now, its worth, its workbook and labels."""
