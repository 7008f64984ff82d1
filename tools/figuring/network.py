"""The adjustment of a sightline network beside SciPy's general least-squares solver."""

import math

import numpy as np
from rows import rate, row
from scipy.optimize import least_squares

from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.network.adjusting import adjust
from ingest.geometry.network.judging import judge
from ingest.geometry.network.results import results
from ingest.geometry.network.stations import Kind, Line, Network, Reading, Station

SIGMA_RAD, SIGMA_M, ZERO_RAD = 0.01 * DEG, 0.005, 0.01 * DEG
AXLES = 8
"""Two stations each."""


def network(quick):
    """A network of 16 stations with its covariance, beside scipy least_squares, same readings."""
    seconds = 0.5 if quick else 3.0
    drawn = _drawn(np.random.default_rng(1))
    misfit, start, slopes = _for_scipy(drawn)
    adjusted = adjust(drawn)
    ours = 1e3 / rate(lambda: adjust(drawn), 1, seconds)
    told = 1e3 / rate(lambda: judge(adjusted, results(adjusted)), 1, seconds)
    by_differences = 1e3 / rate(lambda: least_squares(misfit, start), 1, seconds)
    by_slopes = 1e3 / rate(lambda: least_squares(misfit, start, jac=slopes), 1, seconds)
    far = abs(2.0 * least_squares(misfit, start, jac=slopes).cost - judge(adjusted, ()).chi2)
    what = f"levelhead: {len(drawn.stations)} stations, {len(drawn.readings)} readings, covariance"
    return [
        row("scipy least_squares, slopes by differences", by_differences, "ms"),
        row("scipy least_squares, exact slopes", by_slopes, "ms"),
        row(what, ours, "ms", ours / by_differences, "of it by differences"),
        row("the same", ours, "ms", ours / by_slopes, "of it with exact slopes"),
        row("results, tests and reliability on top", told, "ms"),
        row("chi-square apart from scipy's", far, "1"),
    ]


def _drawn(rng):
    """Eight axles, cross lines, lines to the next axle and diagonals, tapes; noise as stated."""
    hub, readings = {}, []
    for axle in range(AXLES):
        for name, y in (("L", 1.02), ("R", -1.02)):
            hub[name, axle] = complex(1.3 * (AXLES - 1 - axle), y) + complex(
                *rng.normal(0, 0.005, 2)
            )
    zero = {key: rng.normal(0.0, ZERO_RAD) for key in hub}

    def look(one, other):
        for at, to in ((one, other), (other, one)):
            away = hub[to] - hub[at]
            read = math.atan2(away.imag, away.real) + zero[at] + rng.normal(0.0, SIGMA_RAD)
            line = Line(f"{at[0]}{at[1]}", f"{to[0]}{to[1]}")
            readings.append(Reading(Kind.DIRECTION, line, SIGMA_RAD, read))

    def tape(one, other):
        read = abs(hub[one] - hub[other]) + rng.normal(0.0, SIGMA_M)
        line = Line(f"{one[0]}{one[1]}", f"{other[0]}{other[1]}")
        readings.append(Reading(Kind.DISTANCE, line, SIGMA_M, read))

    for axle in range(AXLES):
        look(("L", axle), ("R", axle))
        tape(("L", axle), ("R", axle))
        if axle + 1 < AXLES:
            for side in "LR":
                look((side, axle), (side, axle + 1))
                tape((side, axle), (side, axle + 1))
            look(("L", axle), ("R", axle + 1))
    stations = tuple(
        Station(
            *(f"{name}{axle}", round(at.real, 1), round(at.imag, 1)),
            axle=axle + 1,
            side=Side.LEFT if name == "L" else Side.RIGHT,
            zero_sigma_rad=ZERO_RAD,
        )
        for (name, axle), at in hub.items()
    )
    return Network(stations, tuple(readings))


def _for_scipy(drawn):
    """The same misfits and slopes in a few lines of NumPy: x, y, heading, zero of each station."""
    place = {station.id: i for i, station in enumerate(drawn.stations)}
    n = len(place)
    at = np.array([place[reading.line.at] for reading in drawn.readings])
    to = np.array([place[reading.line.to] for reading in drawn.readings])
    long = np.array([not reading.is_angular for reading in drawn.readings])
    read = np.array([reading.value for reading in drawn.readings])
    sigma = np.array([reading.sigma for reading in drawn.readings])
    rows, wide = np.arange(len(read)), np.flatnonzero(~long)

    def misfit(p):
        x, y, heading, zero = p.reshape(4, n)
        dx, dy = x[to] - x[at], y[to] - y[at]
        angle = np.arctan2(dy, dx) - heading[at] + zero[at] - read
        off = np.where(
            long, np.hypot(dx, dy) - read, np.remainder(angle + np.pi, 2 * np.pi) - np.pi
        )
        return np.concatenate((off / sigma, zero / ZERO_RAD))

    def slopes(p):
        x, y, _, _ = p.reshape(4, n)
        dx, dy = x[to] - x[at], y[to] - y[at]
        h = np.hypot(dx, dy)
        gx = np.where(long, dx / h, -dy / h**2) / sigma
        gy = np.where(long, dy / h, dx / h**2) / sigma
        j = np.zeros((len(read) + n, 4 * n))
        j[rows, to], j[rows, at] = gx, -gx
        j[rows, n + to], j[rows, n + at] = gy, -gy
        j[wide, 2 * n + at[wide]] = -1.0 / sigma[wide]
        j[wide, 3 * n + at[wide]] = 1.0 / sigma[wide]
        j[len(read) + np.arange(n), 3 * n + np.arange(n)] = 1.0 / ZERO_RAD
        return j

    x, y = zip(*((station.x_m, station.y_m) for station in drawn.stations), strict=True)
    return misfit, np.array([*x, *y, *[0.0] * (2 * n)]), slopes
