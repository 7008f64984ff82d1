"""How a reading of a fit is named to people: its file and its row, as they look for it."""

from pathlib import PurePath

from calibration.files.series import Series
from calibration.files.table import Row

LONGEST_NAME = 48
"""A longer file name is cut in front: a record keeps the names of distrusted rows."""


def row_name(file: Series, row: Row) -> str:
    """Return the file's own name and the row's number."""
    return f"{PurePath(file.where).name[-LONGEST_NAME:]}, row {row.number}"
