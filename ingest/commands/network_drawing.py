"""A drawing of a network in plan: stations, sightlines, tapes, and 95 % ellipses of error.

X runs to the right and Y upward, so a vehicle drives to the right and its left side is on top.
Black and white will do: wheels are discs, pins diamonds, fixed stations squares; tapes are dashed.
"""

import math
from dataclasses import dataclass

import numpy as np

from calibration.document.drawing import BLUE, HAIR, INK, ORANGE, SOFT, Drawing, Shape, Spot
from calibration.document.plot import FULL_WIDTH
from ingest.commands.network_answer import Answer
from ingest.geometry.network.stations import Line, Reading, Station
from ingest.geometry.network.unknowns import F64

MARGIN = 46.0
FOOT = 40.0
LEAST_HEIGHT = 110.0
MOST_HEIGHT = 560.0
CHI_95 = math.sqrt(-2.0 * math.log(0.05))
"""Half axes of an ellipse that holds 95 % of a plane normal distribution, in sigmas: 2.45."""

ELLIPSE_SIZE = 0.06
"""Of the network's extent: the largest ellipse is drawn no larger."""

ROUND = (1.0, 2.0, 5.0)
CORNERS = 48


@dataclass(frozen=True, slots=True)
class _Sheet:
    """Where the plan lies on the paper."""

    left_m: float
    bottom_m: float
    per_m: float
    height: float

    def spot(self, xy: F64) -> Spot:
        x = MARGIN + (float(xy[0]) - self.left_m) * self.per_m
        return x, self.height - FOOT - MARGIN / 2 - (float(xy[1]) - self.bottom_m) * self.per_m


def drawn(found: Answer, *, design: bool) -> str:
    """Return the drawing as SVG text."""
    xy = _positions(found)
    sheet = _sheet(np.vstack((xy, *_ports(found))))
    drawing = Drawing(
        FULL_WIDTH,
        sheet.height,
        "Sightline network" + (" (design)" if design else ""),
        f"{len(xy)} stations and {len(found.adjusted.rows)} readings in plan",
    )
    for row, number in enumerate(found.adjusted.rows):
        reading = found.adjusted.network.readings[number]
        _reading(drawing, sheet, found, reading, distrusted=row == found.judgement.suspect)
    times = _ellipses(drawing, sheet, found, xy)
    for station, place in zip(found.adjusted.network.stations, xy, strict=True):
        _station(drawing, sheet, station, place)
    _legend(drawing, sheet, found, times)
    return drawing.svg()


def _positions(found: Answer) -> F64:
    n = found.adjusted.unknowns.count
    return found.adjusted.state[: 2 * n].reshape(n, 2)


def _ports(found: Answer) -> list[F64]:
    """Return every place where a line starts or ends."""
    readings = [found.adjusted.network.readings[i] for i in found.adjusted.rows]
    return [end for reading in readings for line in reading.lines() for end in _ends(found, line)]


def _sheet(xy: F64) -> _Sheet:
    low, high = xy.min(axis=0), xy.max(axis=0)
    wide, deep = (max(float(each), 1e-3) for each in high - low)
    per_m = min((FULL_WIDTH - 2 * MARGIN) / wide, (MOST_HEIGHT - FOOT - MARGIN) / max(deep, 1e-3))
    height = max(LEAST_HEIGHT, deep * per_m + MARGIN + FOOT)
    return _Sheet(float(low[0]), float(low[1]), per_m, height)


def _reading(
    drawing: Drawing, sheet: _Sheet, found: Answer, reading: Reading, *, distrusted: bool
) -> None:
    colour = ORANGE if distrusted else (BLUE if reading.is_angular else SOFT)
    width = 2.2 if distrusted else 0.7
    for line in reading.lines():
        a, b = (sheet.spot(end) for end in _ends(found, line))
        for hub, port in ((line.at, a), (line.to, b)):
            x = found.adjusted.unknowns.x(hub)
            drawing.line(sheet.spot(found.adjusted.state[x : x + 2]), port, HAIR, 0.6)
        drawing.line(a, b, colour, width, "" if reading.is_angular else "4 3")
    if distrusted:
        middle = ((a[0] + b[0]) / 2 + 4.0, (a[1] + b[1]) / 2 - 4.0)
        drawing.words(middle, "distrust", 8.5, ORANGE)


def _ends(found: Answer, line: Line) -> tuple[F64, F64]:
    """Return the ports that a line runs between, in plan."""
    ends = []
    for station_id, port in ((line.at, line.at_port_m), (line.to, line.to_port_m)):
        station = found.adjusted.network.station(station_id)
        x = found.adjusted.unknowns.x(station_id)
        heading = float(found.adjusted.state[found.adjusted.unknowns.heading(station_id)])
        left = port[1] * (station.side.sign if station.side else 1)
        c, s = math.cos(heading), math.sin(heading)
        turned = np.array([c * port[0] - s * left, s * port[0] + c * left])
        ends.append(found.adjusted.state[x : x + 2] + turned)
    return ends[0], ends[1]


def _ellipses(drawing: Drawing, sheet: _Sheet, found: Answer, xy: F64) -> float:
    """Draw the ellipses of stations that have a place; return how many times enlarged."""
    covariance = found.adjusted.covariance
    blocks = {}
    for station, place in zip(found.adjusted.network.stations, xy, strict=True):
        x = found.adjusted.unknowns.x(station.id)
        if station.id in found.placed and not station.fixed:
            blocks[station.id] = (place, covariance[x : x + 2, x : x + 2])
    largest = max((math.sqrt(float(np.trace(block))) for _, block in blocks.values()), default=0.0)
    if not largest > 0.0:
        return 0.0
    extent = float(np.ptp(xy, axis=0).max())
    times = _round(ELLIPSE_SIZE * extent / (CHI_95 * largest))
    turn = np.linspace(0.0, math.tau, CORNERS + 1)
    circle = np.array([np.cos(turn), np.sin(turn)])
    for place, block in blocks.values():
        values, vectors = np.linalg.eigh(block)
        axes = vectors * np.sqrt(np.maximum(values, 0.0)) * CHI_95 * times
        drawing.path([sheet.spot(place + each) for each in (axes @ circle).T], INK, 0.9)
    return times


def _round(value: float) -> float:
    """Return the largest 1, 2 or 5 times a power of ten that is not above ``value``."""
    power = 10.0 ** math.floor(math.log10(value))
    return max(step * power for step in ROUND if step * power <= value)


def _station(drawing: Drawing, sheet: _Sheet, station: Station, place: F64) -> None:
    at = sheet.spot(place)
    shape: Shape = "square" if station.fixed else ("disc" if station.is_wheel else "diamond")
    drawing.mark(at, shape, INK)
    drawing.words((at[0] + 14.0, at[1] - 8.0), station.id, 9.0)


def _legend(drawing: Drawing, sheet: _Sheet, found: Answer, times: float) -> None:
    y = sheet.height - 22.0
    step = _round(0.25 * (FULL_WIDTH - 2 * MARGIN) / sheet.per_m)
    right = MARGIN + step * sheet.per_m
    drawing.line((MARGIN, y), (right, y), INK, 1.0)
    for x in (MARGIN, right):
        drawing.line((x, y - 3.0), (x, y + 3.0), INK, 1.0)
    drawing.words((MARGIN, y + 12.0), f"{step:g} m", 8.5)
    datum = (
        "fixed stations"
        if any(s.fixed for s in found.adjusted.network.stations)
        else ("inner constraints")
    )
    ellipses = f"ellipses 95 %, {times:g} times enlarged, datum: {datum}" if times else ""
    kinds = "line: sightline; dashed: tape"
    drawing.words((FULL_WIDTH - 8.0, y), ellipses, 8.5, SOFT, "end")
    drawing.words((FULL_WIDTH - 8.0, y + 12.0), kinds, 8.5, SOFT, "end")
