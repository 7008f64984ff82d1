"""What tests of the bench's files share: a sheet's two heads, and rows with their numbers."""

TWO_HEADS = """[[head]]
head_id = "00a1b2c3d4e5f607"
record_id = "cal-2026-0001"
[[head]]
letter = "B"
head_id = "00a1b2c3d4e5f608"
record_id = "cal-2026-0002"
"""


def table(header, rows):
    """The text of a CSV file whose rows are counted from 1."""
    lines = [f"row,{header}", *(f"{i},{row}" for i, row in enumerate(rows, 1))]
    return "\n".join(lines) + "\n"
