"""The charts of a calibration: error over angle or a turn, Allan deviation, control chart."""

from collections.abc import Sequence

from calibration.document.plot import (
    FULL_WIDTH,
    Band,
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
from calibration.document.scales import linear_axis, log_axis, turn_axis

MOST_TICKS_UP = 9


def error_chart(
    series: Sequence[Marks],
    limits: Sequence[Level],
    x_title: str,
    y_title: str,
    description: str,
    *,
    curve: Curve | None = None,
    turn: bool = False,
    width: float = FULL_WIDTH,
) -> str:
    """Return errors over the angle, with their uncertainties and the limits, as SVG.

    ``turn``: the angle is one of a turn, in degrees. ``curve``: an error that was corrected.
    """
    layers: list[Layer] = [Level("", 0.0, dashed=False), *limits]
    layers += [curve] if curve is not None else []
    layers += series
    over = turn_axis if turn else linear_axis
    ends = (0.0, 360.0) if turn else ()
    x = over(x_title, [*places(layers), *ends], ticks_across(width))
    return draw(
        layers,
        x,
        linear_axis(y_title, with_room(heights(layers)), MOST_TICKS_UP),
        description,
        width,
    )


def allan_chart(
    curve: Curve,
    band: Band,
    x_title: str,
    y_title: str,
    description: str,
    width: float = FULL_WIDTH,
) -> str:
    """Return an Allan deviation over the averaging time, both logarithmic, as SVG."""
    layers: tuple[Layer, ...] = (band, curve)
    x, y = log_axis(x_title, places(layers)), log_axis(y_title, heights(layers))
    return draw(layers, x, y, description, width)


def control_chart(
    checks: Marks,
    levels: Sequence[Level],
    x_title: str,
    y_title: str,
    description: str,
    width: float = FULL_WIDTH,
) -> str:
    """Return checks in their order with centre line and control limits, as SVG."""
    layers: tuple[Layer, ...] = (*levels, checks)
    x = linear_axis(x_title, places(layers), ticks_across(width))
    return draw(
        layers,
        x,
        linear_axis(y_title, with_room(heights(layers)), MOST_TICKS_UP),
        description,
        width,
    )
