"""A survey of a bay's standing points, invented: what a level file of three plates states."""


def level_file(bay, measured, valid_days):
    """Return a level file as an object; ``measured`` as text."""
    points = {"1L": (5.2, 1.0), "1R": (5.2, -1.0), "2L": (0.0, 0.9)}
    return {
        "format": "levelhead-level",
        "version": 1,
        "bay": bay,
        "measured": measured,
        "valid_days": valid_days,
        "by": "Ada Brindle",
        "instrument": "KL-LEVEL-1",
        "surface": "plates",
        "points": [{"id": name, "x_m": x, "y_m": y} for name, (x, y) in points.items()],
        "staff": [
            {"set_up": "A", "point": name, "reading_mm": 1412.0, "sigma_mm": 0.3} for name in points
        ],
    }
