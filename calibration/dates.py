"""Days that a paper states, held against the day that the clock of this machine says."""

from datetime import date, timedelta

EASTWARD = timedelta(days=1)
"""Where people are ahead of UTC it is tomorrow already."""


def ahead(day: date, today: date) -> str | None:
    """Say in words that a paper's day is yet to come (``today`` in UTC); None where it is not."""
    if day <= today + EASTWARD:
        return None
    return (
        f"is dated {day.isoformat()}, and this machine's clock says {today.isoformat()}: "
        "one of the two is wrong; put it right"
    )
