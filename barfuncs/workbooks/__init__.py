"""Template workbooks: built with openpyxl, calculated by `engine`, filled by `fill`."""
