"""How much of a list from outside is read: at the first row, column or cell too many the reading ends."""

MOST_ROWS = 50_000
"""Rows of a sheet, blank ones too."""
MOST_COLUMNS = 500
MOST_CELLS = 400_000
"""Cells with something in them."""
MOST_CHARACTERS = 10_000_000
LONGEST_CELL = 32_767


class Counter:
    """Counts what was read of one list. Raises ValueError with the reason, without the file's name."""

    def __init__(self) -> None:
        self.rows = self.cells = self.characters = 0

    def row(self) -> None:
        self.rows += 1
        if self.rows > MOST_ROWS:
            raise ValueError(f"has more than {MOST_ROWS:,} rows, blank ones counted; delete what is not needed, or split it")

    def filled(self, row: int, columns: int, cells: int, characters: int, longest: int) -> None:
        """Count one row: where its last filled cell stands, how many are filled, and the characters of its texts."""
        self.cells += cells
        self.characters += characters
        if columns > MOST_COLUMNS:
            raise ValueError(f"has more than {MOST_COLUMNS:,} columns (row {row})")
        if longest > LONGEST_CELL:
            raise ValueError(f"has a cell with more than {LONGEST_CELL:,} characters (row {row})")
        if self.cells > MOST_CELLS:
            raise ValueError(f"has more than {MOST_CELLS:,} filled cells; split it")
        if self.characters > MOST_CHARACTERS:
            raise ValueError(f"has more than {MOST_CHARACTERS:,} characters; split it")
