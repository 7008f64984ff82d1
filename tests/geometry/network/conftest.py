"""Vehicles drawn from a seed, in the complex plane: X forward is real, Y left imaginary.

Nothing of the program is used: where hubs stand, wheels point and ports lie, and what heads and
tapes read of it, is a few lines of complex numbers, with noise from the file's own sigmas.
"""

import cmath
import math
from dataclasses import dataclass, field

import numpy as np
import pytest

DEG = math.pi / 180.0
AHEAD, BEHIND = (0.6, 0.28), (-0.6, 0.28)
"""Ports before and behind the tyre, forward and outward, m."""


@dataclass
class Truth:
    """Where everything really is: hubs as complex numbers, headings and zeros in rad."""

    hub: dict
    heading: dict
    side: dict
    axle: dict
    zero: dict = field(default_factory=dict)
    seat: dict = field(default_factory=dict)
    """How much farther out a head sits than its ports say, m."""

    def port(self, station, port):
        outward = port[1] + self.seat.get(station, 0.0)
        own = complex(port[0], outward * self.side.get(station, 1))
        return self.hub[station] + cmath.rect(1.0, self.heading.get(station, 0.0)) * own

    def bearing(self, at, to, at_port=(0.0, 0.0), to_port=(0.0, 0.0)):
        return cmath.phase(self.port(to, to_port) - self.port(at, at_port))

    def middle(self, end):
        if isinstance(end, str):
            return self.hub[end]
        return sum(self.hub[s] for s in self.axle if self.axle[s] == end) / 2.0

    def results(self, centre_line, reference_axle):
        """Return every quantity by its label in the plain-file answer, rad (offsets in m)."""
        line = cmath.phase(self.middle(centre_line[0]) - self.middle(centre_line[1]))
        told = {f"toe_deg {s}": -self.side[s] * (h - line) for s, h in self.heading.items()}
        mean = {}
        for axle in sorted(set(self.axle.values())):
            left, right = (next(s for s in self.axle if self._is(s, axle, d)) for d in (1, -1))
            mean[axle] = (self.heading[left] + self.heading[right]) / 2.0 - line
            total = self.heading[right] - self.heading[left]
            across = cmath.phase((self.hub[left] - self.hub[right]) * cmath.rect(1.0, -line))
            offset = ((self.middle(axle) - self.middle(centre_line[1])) * cmath.rect(1, -line)).imag
            told[f"heading_deg axle {axle}"] = mean[axle]
            told[f"total_toe_deg axle {axle}"] = total
            told[f"setback_deg axle {axle}"] = math.pi / 2.0 - across
            told[f"lateral_offset_mm axle {axle}"] = offset
        for axle, value in mean.items():
            told[f"scrub_deg axle {axle}"] = value - mean[reference_axle]
        return told | {"thrust_deg": mean[reference_axle]}

    def _is(self, station, axle, side):
        return self.axle[station] == axle and self.side[station] == side


@dataclass
class Rig:
    """A vehicle with its readings: ``document`` is the network file, ``truth`` what is behind."""

    truth: Truth
    document: dict
    rng: np.random.Generator

    def direction(self, at, to, at_port, to_port, sigma_deg=0.01):
        true = self.truth.bearing(at, to, at_port, to_port) - self.truth.heading[at]
        self._add("direction", at, to, true + self.truth.zero[at], sigma_deg, at_port, to_port)

    def angle(self, at, back, to, port, back_port, sigma_deg=0.014):
        true = self.truth.bearing(at, to, port, port) - self.truth.bearing(
            at, back, back_port, back_port
        )
        self._add("angle", at, to, true, sigma_deg, port, port)
        own = {"from": back, "at_from_port_m": list(back_port), "from_port_m": list(back_port)}
        self.document["observations"][-1] |= own

    def distance(self, at, to, sigma_m=0.005, into="observations"):
        read = abs(self.truth.hub[at] - self.truth.hub[to]) + sigma_m * self.rng.standard_normal()
        entry = {"at": at, "to": to, "distance_m": read, "sigma_m": sigma_m}
        kind = {"type": "distance"} if into == "observations" else {}
        self.document.setdefault(into, []).append(kind | entry)

    def _add(self, kind, at, to, true, sigma_deg, at_port, to_port):
        read = true / DEG + sigma_deg * self.rng.standard_normal()
        entry = {"type": kind, "at": at, "to": to, "angle_deg": math.remainder(read, 360.0)}
        ports = {"at_port_m": list(at_port), "to_port_m": list(to_port)}
        self.document["observations"].append(entry | {"sigma_deg": sigma_deg} | ports)


def drawn(seed, *, rich=False):
    """Draw a vehicle: 2 to 4 axles or a trailer with a kingpin, ports, some sightlines missing.

    A ``rich`` one has every cross line and both diagonals between axles.
    """
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 5))
    trailer = count < 4 and rng.random() < 0.25
    x = np.cumsum(rng.uniform(1.3, 4.5, count))[::-1] - 1.3
    truth = Truth({}, {}, {}, {})
    zero_deg, seat_m = float(rng.choice([0.0, 0.01, 0.02])), float(rng.choice([0.0, 0.002]))
    for axle in range(1, count + 1):
        skew, half = rng.normal(0.0, 0.2), rng.uniform(0.9, 1.05)
        for name, side in (("L", 1), ("R", -1)):
            station = f"{name}{axle}"
            wander = complex(rng.normal(0.0, 0.006), rng.normal(0.0, 0.006))
            truth.hub[station] = complex(x[axle - 1], side * half) + wander
            truth.heading[station] = DEG * (skew + rng.normal(0.0, 0.15))
            truth.side[station], truth.axle[station] = side, axle
            truth.zero[station] = DEG * zero_deg * rng.standard_normal()
            truth.seat[station] = seat_m * rng.standard_normal()
    centre_line = [1, count]
    if trailer:
        truth.hub["P"] = complex(x[0] + rng.uniform(5.0, 7.0), rng.normal(0.0, 0.02))
        centre_line = ["P", count]
    turn = cmath.rect(1.0, DEG * rng.normal(0.0, 1.0))  # it does not stand along X
    truth.hub = {s: turn * at for s, at in truth.hub.items()}
    truth.heading = {s: h + cmath.phase(turn) for s, h in truth.heading.items()}
    document = _document(truth, rng, zero_deg, seat_m) | {
        "centre_line": centre_line,
        "reference_axle": count,
    }
    rig = Rig(truth, document, rng)
    _read(rig, count, trailer, rich)
    return rig


def _document(truth, rng, zero_deg, seat_m=0.0):
    stations = []
    for station, at in truth.hub.items():
        near = at + complex(*rng.normal(0.0, 0.03, 2))
        entry = {"id": station, "x_m": round(near.real, 2), "y_m": round(near.imag, 2)}
        if station in truth.side:
            side = "left" if truth.side[station] > 0 else "right"
            entry |= {"axle": truth.axle[station], "side": side}
            entry |= {"zero_sigma_deg": zero_deg, "seat_sigma_m": seat_m}
        stations.append(entry)
    return {"stations": stations, "observations": []}


def _read(rig, count, trailer, rich):
    rng = rig.rng
    for axle in range(1, count + 1):
        left, right = f"L{axle}", f"R{axle}"
        port = AHEAD if axle == 1 else BEHIND
        if rich or axle in (1, count) or rng.random() < 0.6:
            rig.direction(left, right, port, port)
            rig.direction(right, left, port, port)
        else:
            rig.document.setdefault("blocked", []).append([left, right])
        rig.distance(left, right)
    for front in range(1, count):
        for side in "LR":
            one, other = f"{side}{front}", f"{side}{front + 1}"
            rig.direction(one, other, BEHIND, AHEAD)
            rig.direction(other, one, AHEAD, BEHIND)
            rig.distance(one, other)
        if rich or rng.random() < 0.5:
            rig.direction(f"L{front}", f"R{front + 1}", BEHIND, AHEAD)
        if rich:
            rig.direction(f"R{front}", f"L{front + 1}", BEHIND, AHEAD)
        blocked = [f"L{front + 1}", f"R{front + 1}"] in rig.document.get("blocked", [])
        if not blocked and rng.random() < 0.3:
            rig.angle(f"R{front + 1}", f"R{front}", f"L{front + 1}", BEHIND, AHEAD)
    if trailer:
        for station in ("L1", "R1"):
            rig.direction(station, "P", AHEAD, (0.0, 0.0))
            rig.distance("P", station, 0.003)
        rig.distance("P", f"L{count}", 0.003)


@pytest.fixture(scope="session")
def drawn_vehicle():
    """Return the function that draws a vehicle from a seed."""
    return drawn


def predicted(document, unknowns):
    """Return what a file's observations would read, rad and m, from unknowns by name.

    ``unknowns`` has pairs of a station and x, y, heading, zero or seat.
    """
    side = {s["id"]: -1 if s.get("side") == "right" else 1 for s in document["stations"]}
    hub = {s: complex(unknowns[s, "x"], unknowns[s, "y"]) for s in side}
    truth = Truth(hub, {s: unknowns.get((s, "heading"), 0.0) for s in side}, side, {})
    truth.seat = {s: unknowns.get((s, "seat"), 0.0) for s in side}
    told = []
    for entry in document["observations"]:
        at, to, kind = entry["at"], entry["to"], entry["type"]
        ports = entry.get("at_port_m", (0.0, 0.0)), entry.get("to_port_m", (0.0, 0.0))
        if kind == "distance":
            told.append(abs(hub[at] - hub[to]))
            continue
        value = truth.bearing(at, to, *ports)
        if kind == "direction":
            value += unknowns.get((at, "zero"), 0.0) - truth.heading[at]
        if kind == "angle":
            back = entry.get("at_from_port_m", (0.0, 0.0)), entry.get("from_port_m", (0.0, 0.0))
            value -= truth.bearing(at, entry["from"], *back)
        told.append(value)
    return np.array(told)


class Whitened:
    """The readings of a file as whitened misfits of a vector, for SciPy's general solver.

    The zeros and seats of heads are held at nothing by their sigmas, in rows after the readings.
    """

    def __init__(self, document):
        self.document = document
        self.names, self.start, held = [], [], []
        for s in document["stations"]:
            self.names += [(s["id"], "x"), (s["id"], "y")]
            self.start += [s["x_m"], s["y_m"]]
            if "side" in s:
                self.names.append((s["id"], "heading"))
                self.start.append(0.0)
                held.append((s["id"], "zero", s["zero_sigma_deg"] * DEG))
                held.append((s["id"], "seat", s["seat_sigma_m"]))
        self.held = len(self.names)
        held = [each for each in held if each[2] > 0.0]
        self.names += [each[:2] for each in held]
        self.start += [0.0] * len(held)
        entries = document["observations"]
        self.angular = np.array([e["type"] != "distance" for e in entries])
        read = [e["angle_deg"] * DEG if "angle_deg" in e else e["distance_m"] for e in entries]
        own = [e["sigma_deg"] * DEG if "sigma_deg" in e else e["sigma_m"] for e in entries]
        self.read = np.array(read)
        self.sigma = np.array([*own, *(sigma for *_, sigma in held)])

    def __call__(self, vector):
        off = predicted(self.document, dict(zip(self.names, vector, strict=True))) - self.read
        off[self.angular] = np.remainder(off[self.angular] + math.pi, math.tau) - math.pi
        return np.concatenate((off, vector[self.held :])) / self.sigma


@pytest.fixture(scope="session")
def whitened():
    """Return the class."""
    return Whitened


@pytest.fixture(scope="session")
def four_heads():
    """Return a function: two axles 5.2 m apart, 2.04 m wide, true and square, without noise."""

    def make(
        *,
        zero_deg=0.0,
        rear_cross=True,
        tapes=True,
        diagonals=False,
        sigma_m=0.005,
        heading_deg=(0.0, 0.0, 0.0, 0.0),
        port=(0.0, 0.0),
    ):
        x = {1: 5.2, 2: 0.0}
        hub = {f"{s}{a}": complex(x[a], y) for a in (1, 2) for s, y in (("L", 1.02), ("R", -1.02))}
        side = {s: 1 if s[0] == "L" else -1 for s in hub}
        heading = {s: DEG * value for s, value in zip(hub, heading_deg, strict=True)}
        truth = Truth(hub, heading, side, {s: int(s[1]) for s in hub})
        truth.zero = dict.fromkeys(hub, 0.0)
        rig = Rig(truth, _document(truth, _Still(), zero_deg), _Still())
        rig.document |= {"centre_line": [1, 2], "reference_axle": 2}
        lines = [("L1", "R1"), ("R1", "L1")]
        lines += [("L2", "R2"), ("R2", "L2")] if rear_cross else []
        lines += [("L1", "L2"), ("L2", "L1"), ("R1", "R2"), ("R2", "R1")]
        lines += [("L1", "R2"), ("R2", "L1"), ("R1", "L2"), ("L2", "R1")] if diagonals else []
        for at, to in lines:
            rig.direction(at, to, port, port)
        if tapes:
            for at, to in (("L1", "R1"), ("L2", "R2"), ("L1", "L2"), ("R1", "R2")):
                rig.distance(at, to, sigma_m)
        return rig.document

    return make


class _Still:
    """A source of noise that makes none."""

    def standard_normal(self):
        return 0.0

    def normal(self, mean, sigma, n):
        return np.zeros(n)
