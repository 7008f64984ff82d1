"""A drawing of a network in plan: stations, sightlines, tapes, and 95 % ellipses of error.

X runs to the right and Y upward, so a vehicle drives to the right and its left side is on top.
Black and white will do: wheels are discs, pins diamonds, fixed stations squares; tapes are dashed.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from calibration.document.drawing import BLUE, HAIR, INK, ORANGE, SOFT, Drawing, Shape, Spot
from calibration.document.plot import FULL_WIDTH
from ingest.commands.network_answer import Answer
from ingest.commands.network_labels import Places
from ingest.geometry.network.stations import Line, Station
from ingest.geometry.network.unknowns import F64

MARGIN = 46.0
FOOT = 40.0
LEAST_HEIGHT = 110.0
MOST_HEIGHT = 560.0
CHI_95 = math.sqrt(-2.0 * math.log(0.05))
"""Half axes of an ellipse that holds 95 % of a plane normal distribution, in sigmas: 2.45."""

ELLIPSE_SIZE, ELLIPSE_ROOM = 0.1, 0.4
"""Of the network's extent, and of the way to the next station: no half axis is drawn larger."""

SAME_PLACE_M = 1e-6

ROUND = (1.0, 2.0, 3.0, 5.0)
MARK_SIZE = 2.0
NUMBER_SIZE = 6.5
MOST_NUMBERED = 48
"""Lines on the paper; with more, numbers would hide what they name."""

MM_PER_M = 1e3
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
    strokes = [stroke for i in found.adjusted.rows for stroke in _strokes(sheet, found, i)]
    for stroke in strokes:
        _line(drawing, sheet, found, stroke)
    times, edges = _ellipses(found, xy)
    rounds = [[sheet.spot(each) for each in edge] for edge in edges]
    for edge in rounds:
        drawing.path(edge, INK, 0.9)
    lines = [(each.a, each.b) for each in strokes]
    lines += [pair for edge in rounds for pair in pairwise(edge)]
    places = Places(np.array(lines).reshape(-1, 2, 2))
    for station, place in zip(found.adjusted.network.stations, xy, strict=True):
        _station(drawing, places, station, sheet.spot(place))
    _numbers(drawing, places, strokes)
    _legend(drawing, sheet, found, times)
    return drawing.svg()


@dataclass(frozen=True, slots=True)
class _Stroke:
    """A line on the paper, between which stations, and for which observation."""

    number: int
    line: Line
    a: Spot
    b: Spot
    tape: bool
    distrusted: bool

    @property
    def colour(self) -> str:
        return ORANGE if self.distrusted else SOFT if self.tape else BLUE


def _strokes(sheet: _Sheet, found: Answer, number: int) -> Iterator[_Stroke]:
    reading = found.adjusted.network.readings[number]
    for line in reading.lines():
        a, b = (sheet.spot(end) for end in _ends(found, line))
        yield _Stroke(number, line, a, b, not reading.is_angular, number == found.suspect)


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


def _line(drawing: Drawing, sheet: _Sheet, found: Answer, stroke: _Stroke) -> None:
    for hub, port in ((stroke.line.at, stroke.a), (stroke.line.to, stroke.b)):
        x = found.adjusted.unknowns.x(hub)
        drawing.line(sheet.spot(found.adjusted.state[x : x + 2]), port, HAIR, 0.6)
    width = 2.2 if stroke.distrusted else 0.7
    drawing.line(stroke.a, stroke.b, stroke.colour, width, "4 3" if stroke.tape else "")


def _numbers(drawing: Drawing, places: Places, strokes: Sequence[_Stroke]) -> None:
    """Number the lines as the file does; lines there and back share a place. Few enough to read."""
    shared: dict[tuple[frozenset[Spot], str], list[_Stroke]] = {}
    for stroke in strokes:
        ends = frozenset((round(x), round(y)) for x, y in (stroke.a, stroke.b))
        shared.setdefault((ends, stroke.colour), []).append(stroke)
    for same in shared.values():
        first = same[0]
        said = ["distrust"] if first.distrusted else []
        if len(shared) <= MOST_NUMBERED or first.distrusted:
            said.append(", ".join(map(str, dict.fromkeys(each.number for each in same))))
        for text in said:
            at = places.beside_line(first.a, first.b, text, NUMBER_SIZE)
            drawing.words(at, text, NUMBER_SIZE, first.colour, "middle")


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


def _ellipses(found: Answer, xy: F64) -> tuple[float, list[F64]]:
    """Return how many times enlarged the ellipses of stations with a place are, and their edges."""
    covariance = found.adjusted.covariance
    blocks = []
    for station, place in zip(found.adjusted.network.stations, xy, strict=True):
        x = found.adjusted.unknowns.x(station.id)
        if station.id in found.placed and not station.fixed:
            blocks.append((place, covariance[x : x + 2, x : x + 2]))
    largest = max((math.sqrt(float(np.trace(block))) for _, block in blocks), default=0.0)
    if not largest > 0.0:
        return 0.0, []
    apart = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
    nearest = float(apart[apart > SAME_PLACE_M].min(initial=np.inf))
    room = min(ELLIPSE_SIZE * float(np.ptp(xy, axis=0).max()), ELLIPSE_ROOM * nearest)
    times = _round(room / (CHI_95 * largest))
    turn = np.linspace(0.0, math.tau, CORNERS + 1)
    circle = np.array([np.cos(turn), np.sin(turn)])
    edges = []
    for place, block in blocks:
        values, vectors = np.linalg.eigh(block)
        axes = vectors * np.sqrt(np.maximum(values, 0.0)) * CHI_95 * times
        edges.append(place + (axes @ circle).T)
    return times, edges


def _round(value: float) -> float:
    """Return the largest 1, 2, 3 or 5 times a power of ten that is not above ``value``."""
    power = 10.0 ** math.floor(math.log10(value))
    return max(step * power for step in ROUND if step * power <= value)


def _station(drawing: Drawing, places: Places, station: Station, at: Spot) -> None:
    shape: Shape = "square" if station.fixed else ("disc" if station.is_wheel else "diamond")
    drawing.mark(at, shape, INK, MARK_SIZE)
    drawing.words(places.beside_spot(at, station.id, 9.0, 10.0), station.id, 9.0, INK, "middle")


def _legend(drawing: Drawing, sheet: _Sheet, found: Answer, times: float) -> None:
    network = found.adjusted.network
    y = sheet.height - 22.0
    step = _round(0.2 * (FULL_WIDTH - 2 * MARGIN) / sheet.per_m)
    right = _scale(drawing, MARGIN, y, step * sheet.per_m, f"{step:g} m")
    if times:
        per_mm = times * sheet.per_m / MM_PER_M
        step = _round(0.1 * (FULL_WIDTH - 2 * MARGIN) / per_mm)
        _scale(drawing, right + 26.0, y, step * per_mm, f"{step:g} mm of an ellipse")
    datum = "fixed stations" if any(s.fixed for s in network.stations) else "inner constraints"
    ellipses = f"ellipses 95 %, {times:g} times enlarged, datum: {datum}" if times else ""
    kinds = "line: sightline; dashed: tape; number: of the observation"
    drawing.words((FULL_WIDTH - 8.0, y), ellipses, 8.5, SOFT, "end")
    drawing.words((FULL_WIDTH - 8.0, y + 12.0), kinds, 8.5, SOFT, "end")
    if any(network.wheels()):
        _forward(drawing)


def _scale(drawing: Drawing, left: float, y: float, long: float, text: str) -> float:
    """Draw a bar that is so long, and return where it ends."""
    drawing.line((left, y), (left + long, y), INK, 1.0)
    for x in (left, left + long):
        drawing.line((x, y - 3.0), (x, y + 3.0), INK, 1.0)
    drawing.words((left, y + 12.0), text, 8.5)
    return left + long


def _forward(drawing: Drawing) -> None:
    """Say which way the vehicle drives."""
    tip = (FULL_WIDTH - 8.0, 9.0)
    drawing.line((tip[0] - 26.0, tip[1]), tip, SOFT, 0.8)
    for side in (-2.5, 2.5):
        drawing.line((tip[0] - 5.0, tip[1] + side), tip, SOFT, 0.8)
    drawing.words((tip[0] - 30.0, tip[1] + 3.0), "forward", 8.5, SOFT, "end")
