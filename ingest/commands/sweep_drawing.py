"""A drawing of a sweep: what each wheel's head read over the steering, and what the fit leaves."""

import math
from collections.abc import Iterable

import numpy as np

from calibration.document.drawing import grid
from calibration.document.plot import (
    HALF_WIDTH,
    Curve,
    Layer,
    Level,
    Marks,
    draw,
    heights,
    places,
    ticks_across,
    with_room,
)
from calibration.document.scales import linear_axis
from calibration.reporting import on_screen
from ingest.commands.sweep_answer import Answer
from ingest.core.units import DEG
from ingest.geometry.sweep.motion import observed
from ingest.geometry.sweep.steering import Steering

CHANNELS = ("incl_y", "incl_x")
SMOOTH = 61
"""Places along a fitted curve."""

MOST_MARKS = 200
"""A sweep of more readings is thinned on paper."""

LEAST_SPREAD_DEG = 1e-4
TICKS = 5


def drawn(answer: Answer) -> str:
    """Return the drawing as SVG text: a row for each wheel."""
    rows = [(_readings(one), _residuals(one)) for one in answer.steerings]
    sides = " and ".join(str(one.side) for one in answer.steerings)
    told = f"Tilts read, fitted, and read less fitted, {sides} wheel"
    return grid(rows, "Steering sweep", told)


def _readings(one: Steering) -> str:
    steer, read, _ = _thinned(one)
    smooth = np.linspace(float(steer.min()), float(steer.max()), SMOOTH)
    layers: list[Layer] = []
    for name, values in zip(CHANNELS, one.fitted(smooth) / DEG, strict=False):
        layers.append(Curve("", (smooth / DEG).tolist(), values.tolist(), dashed=name != "incl_y"))
    for name, values in zip(CHANNELS, read / DEG, strict=False):
        layers.append(_marks(name, steer, values))
    return _chart(layers, one, "read (marks) and fitted, °", _axis_told(one))


def _residuals(one: Steering) -> str:
    steer, read, fitted = _thinned(one)
    layers: list[Layer] = [Level("", 0.0)]
    for name, values in zip(CHANNELS, (read - fitted) / DEG, strict=False):
        layers.append(_marks(name, steer, values))
    spread = [-LEAST_SPREAD_DEG, LEAST_SPREAD_DEG]
    return _chart(layers, one, "read less fitted, °", "What the fit leaves", spread)


def _marks(name: str, steer_rad: np.ndarray, values_deg: np.ndarray) -> Marks:
    return Marks(name, (steer_rad / DEG).tolist(), values_deg.tolist(), hollow=name != "incl_y")


def _thinned(one: Steering) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return steering (n,), readings and fit (c, n) of the readings that are drawn, rad."""
    steer = one.used.steer_rad
    some = slice(None, None, math.ceil(len(steer) / MOST_MARKS))
    read, fitted = observed(one.used), one.fitted(steer)
    return steer[some], read[:, some], fitted[:, some]


def _chart(
    layers: list[Layer], one: Steering, title: str, told: str, more: Iterable[float] = ()
) -> str:
    x_title = f"{one.side} wheel steered, ° (to the left positive)"
    x = linear_axis(x_title, places(layers), ticks_across(HALF_WIDTH))
    y = linear_axis(title, with_room([*heights(layers), *more]), TICKS)
    return draw(layers, x, y, told, HALF_WIDTH)


def _axis_told(one: Steering) -> str:
    sai = "" if one.sai_rad is None else f", SAI {one.sai_rad / DEG:.2f}°"
    camber = f", camber {one.camber_rad / DEG:.2f}° straight ahead"
    return on_screen(f"Caster {one.caster_rad / DEG:.2f}°{sai}{camber}")
