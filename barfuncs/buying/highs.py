"""HiGHS as this package uses it: models that say nothing and keep to one thread, which are built column by column and row by row."""

from collections.abc import Sequence

import highspy
import numpy as np


def quiet_model() -> highspy.Highs:
    """An empty model, to be made least."""
    model = highspy.Highs()  # type: ignore[no-untyped-call]
    model.silent()
    model.setOptionValue("threads", 1)
    return model


def add_column(model: highspy.Highs, cost: float, lower: float, upper: float, rows: Sequence[int] = (), values: Sequence[float] = ()) -> int:
    """Add a column with its values in rows that are there; its number."""
    model.addCol(cost, lower, upper, len(rows), np.array(rows, dtype=np.int32), np.array(values, dtype=np.float64))
    return int(model.getNumCol()) - 1


def add_row(model: highspy.Highs, lower: float, upper: float, columns: Sequence[int] = (), values: Sequence[float] = ()) -> int:
    """Add a row with its values in columns that are there; its number."""
    model.addRow(lower, upper, len(columns), np.array(columns, dtype=np.int32), np.array(values, dtype=np.float64))
    return int(model.getNumRow()) - 1
