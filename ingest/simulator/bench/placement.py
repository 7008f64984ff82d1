"""Where a head lies for what the technician was asked to do, exactly, as a turn in space.

Columns of a turn are the head's forward, left and up axes in a level world (X, Y, Z up).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from ingest.core.blocks import F64
from ingest.simulator.bench.things import Repeats, Things, rotation

Columns = Mapping[str, str]
SIDES = {"forward": (0, 1), "backward": (0, -1), "left": (1, 1), "right": (1, -1), "up": (2, 1)}
SIDES["down"] = (2, -1)
ROUGH_RAD = math.radians(3.0)
"""A head that is set down by hand lies about as asked."""


@dataclass(frozen=True, slots=True)
class Lying:
    """A head at rest: its turn, its encoders' true angles, where it sees its partner."""

    turn: F64
    rotation_rad: float = 0.0
    azimuth: Mapping[str, float] = field(default_factory=dict)


def on_plate(
    things: Things,
    place: str,
    axis: int,
    height_mm: float,
    sign: float,
    turned: bool,
    random: np.random.Generator,
    repeats: Repeats,
) -> Lying:
    """Return a head on the sine bar (flat, at no height) on a place of the plate.

    ``turned``: bar and head half round about the plate's upright.
    """
    along, across = things.plates[place]
    bed = repeats.bed_rad * random.standard_normal(2)
    plate = rotation(1, -along) @ rotation(0, across)
    plate = plate @ rotation(1, -float(bed[0])) @ rotation(0, float(bed[1]))
    raised = sign * math.asin(height_mm / things.sine_bar_mm)
    lift = rotation(1, -raised) if axis == 0 else rotation(0, raised)
    askew = things.square_rad + repeats.square_rad * float(random.standard_normal())
    about = rotation(2, math.pi if turned else 0.0)
    return Lying(plate @ about @ lift @ rotation(2, askew))


def tumbled(name: str, random: np.random.Generator) -> Lying:
    """Return a head set down with the named sides uppermost, about so."""
    upward = np.zeros(3)
    for side in name.split("+"):
        axis, sign = SIDES[side]
        upward[axis] = sign
    upward = upward / np.linalg.norm(upward) + ROUGH_RAD * random.standard_normal(3)
    upward /= np.linalg.norm(upward)
    aside = np.cross(upward, random.standard_normal(3))
    aside /= np.linalg.norm(aside)
    # Rows of the turn's transpose: the world's axes in the head's body; the last is up.
    return Lying(np.array([aside, np.cross(upward, aside), upward]))


def on_spindle(
    things: Things,
    channel: str,
    angle_rad: float,
    down: bool,
    seat_rad: float,
    random: np.random.Generator,
    repeats: Repeats,
) -> Lying:
    """Return a level head one of whose encoders the indexing spindle turns.

    ``seat_rad``: where that encoder truly stands when the spindle is at its zero.
    """
    cos, sin = things.index_rad
    error = cos * math.cos(angle_rad) + sin * math.sin(angle_rad)
    error += repeats.index_rad * float(random.standard_normal())
    error += things.backlash_rad if down else 0.0
    error += seat_rad
    if channel == "rotation":
        return Lying(np.eye(3), rotation_rad=angle_rad + error)
    return Lying(np.eye(3), azimuth={channel: angle_rad + error})


@dataclass(frozen=True, slots=True)
class Port:
    """Where a sightline leaves a head: forward and outward, m."""

    forward_m: float
    outward_m: float


def on_bar(
    things: Things,
    columns: Columns,
    ports: Mapping[str, Port],
    channel: str,
    random: np.random.Generator,
    repeats: Repeats,
) -> dict[str, Lying]:
    """Return both heads on the bar, which may be turned, rolled and with its heads exchanged."""
    turned, rolled, exchanged = (columns.get(f) == "1" for f in ("turned", "rolled", "exchanged"))
    along, across = things.stand
    stand = rotation(0, along) @ rotation(1, -across)
    bar = stand @ rotation(2, math.pi if turned else 0.0)
    turns, starts = {}, {}
    for end, letter in enumerate("BA" if exchanged else "AB"):
        side = 1.0 if end == 0 else -1.0
        turns[letter] = bar @ _seat(things, end, side, rolled, random, repeats)
        place = bar @ np.array([0.0, side * things.bar_m / 2, 0.0])
        port = ports[letter]
        starts[letter] = place + turns[letter] @ np.array(
            [port.forward_m, side * port.outward_m, 0.0]
        )
    return {
        letter: Lying(turns[letter], azimuth={channel: _sight(turns[letter], starts, letter)})
        for letter in "AB"
    }


def _seat(
    things: Things,
    end: int,
    side: float,
    rolled: bool,
    random: np.random.Generator,
    repeats: Repeats,
) -> F64:
    spigot = things.spigots[end]
    noise = repeats.spigot_rad * random.standard_normal(3)
    own = (
        rotation(2, spigot.swing_rad)
        @ rotation(0, side * spigot.rise_rad)
        @ rotation(1, -spigot.twist_rad)
    )
    if rolled:
        own = rotation(1, math.pi + things.faces_rad) @ own @ rotation(1, -math.pi)
    sagged = rotation(0, -side * things.sag_rad)
    shaken = rotation(2, float(noise[0])) @ rotation(0, float(noise[1]))
    seat: F64 = sagged @ own @ shaken @ rotation(1, float(noise[2]))
    return seat


def _sight(turn: F64, starts: Mapping[str, F64], letter: str) -> float:
    way = starts["B" if letter == "A" else "A"] - starts[letter]
    return math.atan2(float(way @ turn[:, 1]), float(way @ turn[:, 0]))
