"""The figures of a set of limits as CSV: one line a limit, every cell as it was entered."""

from collections.abc import Iterator

from pydantic import ValidationError

from calibration.files.table import NotCsv, csv_lines
from ingest.core.errors import InputError
from ingest.job.limits.faults import LimitsError
from ingest.job.limits.limit import Limit
from ingest.job.limits.limitset import LimitSet
from ingest.payload.limits_file import COLUMNS, LimitEntry, cells_of, first_fault

NEEDED = ("axle", "quantity", "load", "unit", "source", "date", "author")


def parse_figures(text: str, where: str) -> tuple[Limit, ...]:
    """Read the limits of a CSV file. Raises ``InputError`` naming file and line."""
    rows = _csv(text, where)
    _, header = next(rows, (1, []))
    titles = [cell.strip() for cell in header]
    for title in NEEDED:
        if title not in titles:
            raise InputError(where, 1, f"no column {title}; the header needs {', '.join(NEEDED)}")
    for title in titles:
        if title not in COLUMNS or titles.count(title) > 1:
            what = "there twice" if title in COLUMNS else "not known"
            reason = f"column {title[:24]!r} is {what}; columns are {', '.join(COLUMNS)}"
            raise InputError(where, 1, reason)
    found = []
    for line, cells in rows:
        if len(cells) != len(titles):
            hint = " (decimal commas? use points)" if len(cells) > len(titles) else ""
            reason = f"{len(cells)} cells, the header has {len(titles)}{hint}"
            raise InputError(where, line, reason)
        found.append(_from_cells(where, line, dict(zip(titles, cells, strict=True))))
    if not found:
        raise InputError(where, None, "no limits after the header")
    return tuple(found)


def dump_figures(limits: LimitSet) -> str:
    """Return the limits of a set as CSV, which ``parse_figures`` reads back as the same limits."""
    rows = [",".join(COLUMNS)]
    rows += [",".join(_cell(text) for text in cells_of(each).values()) for each in limits.limits]
    return "\n".join(rows) + "\n"


def _cell(text: str) -> str:
    plain = not any(sign in text for sign in '",\r\n') and text == text.strip()
    return text if plain else '"' + text.replace('"', '""') + '"'


def _csv(text: str, where: str) -> Iterator[tuple[int, list[str]]]:
    try:
        yield from csv_lines(text)
    except NotCsv as error:
        raise InputError(where, error.line, error.reason) from error


def _from_cells(where: str, line: int, cells: dict[str, str]) -> Limit:
    given = {title: cell for title, cell in cells.items() if cell}
    try:
        return LimitEntry.model_validate(given).limit()
    except ValidationError as error:
        key, value, allowed = first_fault(error, given, LimitEntry)
        shown = "is empty" if value is None else f"is {value!r}"
        raise InputError(where, line, f"{key} {shown}: {allowed}") from error
    except LimitsError as error:
        raise InputError(where, line, str(error)) from error
