"""Layers over two axes: marks with bars, curves, bands and levels, as SVG.

Every series differs from the others in shape or dashes, not in colour alone; no red, no green.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain

from calibration.document.drawing import BLUE, HAIR, INK, ORANGE, SOFT, Drawing, Shape, Spot
from calibration.document.scales import Axis

FULL_WIDTH = 482.0
HALF_WIDTH = 233.0
"""Points: the width of a page's text, and of one of two columns of it."""
HEIGHT = 190.0
TOP, BOTTOM = 22.0, 34.0
TITLE_ROOM = 24.0
EDGE = 12.0
ROOM_PER_TICK = 44.0
LABEL_SIZE = 8.5
SIGN_WIDTH = 4.4
"""Of a letter of a label, on average and a little more."""
CAP = 2.2
"""Half the width of the bar at either end of an uncertainty."""
DODGE = 3.0
"""How far two series at the same angles are set apart."""


@dataclass(frozen=True, slots=True)
class Marks:
    """Measured values, with the half-widths of their bars where there are any."""

    name: str
    x: Sequence[float]
    y: Sequence[float]
    bar: Sequence[float] = ()
    joined: bool = False
    hollow: bool = False
    """Drawn as an open square, beside the filled discs of other series."""

    @property
    def look(self) -> tuple[Shape, str]:
        """Shape and colour."""
        return ("square", ORANGE) if self.hollow else ("disc", BLUE)


@dataclass(frozen=True, slots=True)
class Curve:
    """A computed line."""

    name: str
    x: Sequence[float]
    y: Sequence[float]
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Band:
    """What lies between two lines."""

    name: str
    x: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]


@dataclass(frozen=True, slots=True)
class Level:
    """A value that the others are held against."""

    name: str
    y: float
    dashed: bool = True


Layer = Marks | Curve | Band | Level


def draw(
    layers: Sequence[Layer], x: Axis, y: Axis, description: str, width: float = FULL_WIDTH
) -> str:
    """Return layers over two axes, the first at the back, as SVG."""
    sheet = Drawing(width, HEIGHT, y.title, description)
    labels = max((len(label) for _, label in y.ticks), default=0)
    names = max((len(layer.name) for layer in layers if isinstance(layer, Level)), default=0)
    plot = _Plot(sheet, x, y, TITLE_ROOM + SIGN_WIDTH * labels, EDGE + SIGN_WIDTH * names)
    plot.grid()
    shift = iter(_dodges(layers))
    for layer in layers:
        if isinstance(layer, Level):
            plot.level(layer)
        elif isinstance(layer, Band):
            plot.band(layer)
        elif isinstance(layer, Curve):
            plot.curve(layer)
        else:
            plot.marks(layer, next(shift))
    plot.legend(layers)
    return sheet.svg()


@dataclass(frozen=True, slots=True)
class _Plot:
    """A sheet with its two axes."""

    sheet: Drawing
    x: Axis
    y: Axis
    left: float
    right: float

    def at(self, x: float, y: float) -> Spot:
        """Return where a pair of values lies on the sheet."""
        across = self.sheet.width - self.left - self.right
        up = self.sheet.height - TOP - BOTTOM
        return self.left + across * self.x.share(x), TOP + up * (1.0 - self.y.share(y))

    def grid(self) -> None:
        """Draw the axes with ticks, labels and titles."""
        sheet, left = self.sheet, self.left
        bottom, right = sheet.height - BOTTOM, sheet.width - self.right
        for value in self.y.fine:
            height = self.at(self.x.low, value)[1]
            sheet.line((left, height), (left + 3, height), SOFT, 0.5)
        for value in self.x.fine:
            across = self.at(value, self.y.low)[0]
            sheet.line((across, bottom), (across, bottom - 3), SOFT, 0.5)
        for value, label in self.y.ticks:
            height = self.at(self.x.low, value)[1]
            sheet.line((left, height), (right, height), HAIR, 0.5)
            sheet.words((left - 5, height + 3), label, LABEL_SIZE, anchor="end")
        for value, label in self.x.ticks:
            across = self.at(value, self.y.low)[0]
            sheet.line((across, bottom), (across, bottom + 3), INK)
            sheet.words((across, bottom + 13), label, LABEL_SIZE, anchor="middle")
        sheet.line((left, bottom), (right, bottom), INK)
        middle = (left + right) / 2
        sheet.words((middle, sheet.height - 6), self.x.title, anchor="middle")
        sheet.words((10, (TOP + bottom) / 2), self.y.title, anchor="middle", upward=True)

    def level(self, level: Level) -> None:
        """Draw a line across, its name at its right end."""
        left, right = self.at(self.x.low, level.y), self.at(self.x.high, level.y)
        self.sheet.line(left, right, INK, 0.9 if level.dashed else 0.6, _dash(level.dashed))
        if level.name:
            self.sheet.words((right[0] + 5, right[1] + 3), level.name, LABEL_SIZE)

    def band(self, band: Band) -> None:
        """Fill between two lines."""
        there = list(_spots(self, band.x, band.high))
        back = list(_spots(self, band.x, band.low))
        self.sheet.area([*there, *reversed(back)], BLUE, 0.16)

    def curve(self, curve: Curve) -> None:
        """Draw a line."""
        spots = list(_spots(self, curve.x, curve.y))
        self.sheet.path(spots, BLUE if not curve.dashed else INK, 1.3, _dash(curve.dashed))

    def marks(self, marks: Marks, shift: float) -> None:
        """Draw measured values and their bars."""
        shape, colour = marks.look
        spots = [(x + shift, y) for x, y in _spots(self, marks.x, marks.y)]
        if marks.joined:
            self.sheet.path(spots, colour, 0.8)
        for across, y, half in zip((s[0] for s in spots), marks.y, marks.bar, strict=False):
            low, high = self.at(self.x.low, y - half)[1], self.at(self.x.low, y + half)[1]
            self.sheet.line((across, low), (across, high), colour, 0.9)
            for end in (low, high):
                self.sheet.line((across - CAP, end), (across + CAP, end), colour, 0.9)
        for spot in spots:
            self.sheet.mark(spot, shape, colour)

    def legend(self, layers: Sequence[Layer]) -> None:
        """Name what is drawn, above the plot."""
        across = self.left
        for layer in layers:
            if isinstance(layer, Level) or not layer.name:
                continue
            self._key(layer, (across + 8, 9.0))
            self.sheet.words((across + 20, 12), layer.name, LABEL_SIZE)
            across += 34 + SIGN_WIDTH * len(layer.name)

    def _key(self, layer: Layer, at: Spot) -> None:
        x, y = at
        if isinstance(layer, Marks):
            self.sheet.mark(at, *layer.look)
        elif isinstance(layer, Band):
            self.sheet.area(
                [(x - 8, y - 4), (x + 8, y - 4), (x + 8, y + 4), (x - 8, y + 4)], BLUE, 0.16
            )
        elif isinstance(layer, Curve):
            colour = BLUE if not layer.dashed else INK
            self.sheet.path([(x - 8, y), (x + 8, y)], colour, 1.3, _dash(layer.dashed))


def _spots(plot: _Plot, xs: Sequence[float], ys: Sequence[float]) -> Iterator[Spot]:
    for x, y in zip(xs, ys, strict=True):
        if not plot.y.logarithmic or (x > 0 and y > 0):
            yield plot.at(x, y)


def _dash(dashed: bool) -> str:
    return "5 3" if dashed else ""


def _dodges(layers: Sequence[Layer]) -> list[float]:
    n = sum(isinstance(layer, Marks) for layer in layers)
    return [DODGE * (i - (n - 1) / 2) for i in range(n)]


def ticks_across(width: float) -> int:
    """Return how many labels fit beneath a chart of this width."""
    return max(3, int((width - 2 * TITLE_ROOM) / ROOM_PER_TICK))


def places(layers: Sequence[Layer]) -> list[float]:
    """Return every place along the chart that a layer needs to be seen."""
    return list(chain.from_iterable(layer.x for layer in layers if not isinstance(layer, Level)))


def heights(layers: Sequence[Layer]) -> list[float]:
    """Return every height that a layer needs to be seen, ends of bars and bands included."""
    return list(chain.from_iterable(map(_reach, layers)))


def _reach(layer: Layer) -> Iterator[float]:
    if isinstance(layer, Level):
        yield layer.y
    elif isinstance(layer, Band):
        yield from (*layer.low, *layer.high)
    else:
        yield from layer.y
        bars = layer.bar if isinstance(layer, Marks) else ()
        for y, half in zip(layer.y, bars, strict=False):
            if math.isfinite(half):
                yield from (y - half, y + half)


def with_room(values: Sequence[float]) -> list[float]:
    """Return the values and a little beyond their ends, so that none lies on the frame."""
    if not values:
        return []
    room = (max(values) - min(values)) / 20
    return [*values, min(values) - room, max(values) + room]
