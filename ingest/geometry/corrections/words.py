"""Amounts and directions as a technician reads them: millimetres, turns, degrees."""

from ingest.core.units import DEG

FULL_TURN_DEG = 360


def millimetres(length_m: float) -> str:
    """Return a length without its sign, to a hundredth."""
    return f"{abs(length_m) * 1e3:.2f} mm"


def plain_mm(length_m: float) -> str:
    """Return a length of a part as it is stamped on it, no zeros added."""
    return f"{round(length_m * 1e3, 4):g} mm"


def degrees(angle_rad: float) -> str:
    """Return an angle without its sign, to a hundredth."""
    return f"{abs(angle_rad) / DEG:.2f} degrees"


def turned(angle_rad: float) -> str:
    """Return how far to turn: whole turns, and degrees to the nearest one."""
    whole, rest = divmod(round(abs(angle_rad) / DEG), FULL_TURN_DEG)
    turns = f"{whole} turn{'' if whole == 1 else 's'}"
    if not whole:
        return f"{rest} degrees"
    return f"{turns} and {rest} degrees" if rest else turns


def lengthwise(move_m: float) -> str:
    """Return the word for a move along the vehicle, forward positive."""
    return "forward" if move_m > 0 else "rearward"


def crosswise(amount: float) -> str:
    """Return the word for a move or heading across the vehicle, left positive."""
    return "left" if amount > 0 else "right"
