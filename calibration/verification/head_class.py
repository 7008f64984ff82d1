"""What a head is held to: limits of the figures of each channel, under one name.

The built-in classes are our own choice: ``H0.02`` allows 0.02 degrees of error on whatever
camber and toe come from directly, and ten times that on an angle that only says where the wheel
stands (a run-out of one degree, turned by 0.2 degrees, moves camber by 0.0035 degrees).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calibration.errors import CalibrationFileError
from calibration.files.points import CHANNELS, TILT

FIGURES = {
    "max-error": "deg",
    "zero": "deg",
    "hysteresis": "deg",
    "linearity": "deg",
    "cross-axis": "%",
}
"""Figures that can be held to a limit, with their units. A repeatability has no uncertainty of
its own to decide with; it is part of that of the others."""

SUFFIX = {"deg": "_deg", "%": "_percent"}
DIRECT = (*TILT, "azimuth_cross", "azimuth_track")
LOOSER = 10.0
PERCENT_PER_DEG = 25.0


@dataclass(frozen=True, slots=True)
class HeadClass:
    """Largest sizes allowed, by channel and figure; limits lie on both sides of zero."""

    name: str
    limits: Mapping[tuple[str, str], float]


def class_of(permitted_deg: float) -> HeadClass:
    """Return the built-in class that allows errors of ``permitted_deg``.

    Hysteresis and linearity may take half of it each; the cross-axis of a tilt axis 25 % for
    each degree (0.5 % in ``H0.02``).
    """
    limits: dict[tuple[str, str], float] = {}
    for channel in CHANNELS:
        size = permitted_deg if channel in DIRECT else LOOSER * permitted_deg
        limits[channel, "max-error"] = size
        limits[channel, "hysteresis"] = size / 2.0
        if channel in DIRECT:
            limits[channel, "zero"] = size
        if channel in TILT:
            limits[channel, "linearity"] = size / 2.0
            limits[channel, "cross-axis"] = PERCENT_PER_DEG * permitted_deg
    return HeadClass(f"H{permitted_deg:g}", limits)


BUILT_IN = {c.name: c for c in (class_of(0.01), class_of(0.02), class_of(0.05))}


def head_class_named(name: str, where: str) -> HeadClass:
    """Return a built-in class. Raises ``CalibrationFileError`` where there is no such class."""
    if name in BUILT_IN:
        return BUILT_IN[name]
    reason = f"no head class {name!r}; built in: {', '.join(BUILT_IN)}; or define limits"
    raise CalibrationFileError(where, reason)


def parse_head_class(table: Mapping[str, Any], where: str) -> HeadClass:
    """Return a class from ``name`` and a table of limits for each channel.

    Keys are figures with their unit: ``max-error_deg``, ``cross-axis_percent``.

    Raises:
        CalibrationFileError: an unknown channel, figure or unit, or a limit not above zero.
    """
    rest = dict(table)
    name = rest.pop("name", None)
    if not isinstance(name, str) or not name.strip():
        raise CalibrationFileError(where, "head class: name is missing")
    limits: dict[tuple[str, str], float] = {}
    for channel, figures in rest.items():
        if channel not in CHANNELS or not isinstance(figures, Mapping):
            reason = f"head class {name}: no channel {channel}; known: {', '.join(CHANNELS)}"
            raise CalibrationFileError(where, reason)
        for key, size in figures.items():
            limits[channel, _figure(name, key, where)] = _size(f"{name}: {key}", size, where)
    return HeadClass(name, limits)


def _figure(name: str, key: str, where: str) -> str:
    keys = {figure + SUFFIX[unit]: figure for figure, unit in FIGURES.items()}
    if key in keys:
        return keys[key]
    reason = f"head class {name}: no limit {key}; known: {', '.join(keys)}"
    raise CalibrationFileError(where, reason)


def _size(what: str, size: Any, where: str) -> float:
    try:
        number = math.nan if isinstance(size, bool) else float(size)
    except (TypeError, ValueError):
        number = math.nan
    if not (math.isfinite(number) and number > 0):
        raise CalibrationFileError(where, f"head class {what} = {size!r} is not a size above 0")
    return number
