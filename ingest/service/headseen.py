"""A head on a wheel as whoever watches over it sees it, and what may have happened to it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from calibration.measured import Measured

Lacks = Literal["head", "run-out", "sightline"]


@dataclass(frozen=True, slots=True)
class HeadSeen:
    """A head on a wheel, at one moment.

    ``lean_rad``, ``sights_rad``: of its present rest, the shaft and by channel the sightlines;
    None and empty while it moves. ``hidden`` are channels whose newest value is missing.
    ``partners``: the wheel at the other end, by channel. ``turns``: its axle is being turned on a
    jack, or is still to come down. ``gained``: by how much the camber at rest, rad, is more than
    while the wheel was turned; None where either is not known, or the wheel is steered.
    """

    name: str
    axle: int
    side: str
    mounting: int
    now_ns: int
    online: bool
    why: str
    compensated: bool
    turns: bool
    lean_rad: float | None
    sights_rad: Mapping[str, float]
    hidden: frozenset[str]
    partners: Mapping[str, tuple[int, str]]
    gained: Measured | None = None

    @property
    def where(self) -> str:
        """Name it and its wheel."""
        return f"head {self.name} (axle {self.axle} {self.side})"


@dataclass(frozen=True, slots=True)
class Upsetting:
    """Something that happened to a head. ``lacks``: what has to come again, and of which wheel."""

    axle: int
    side: str
    lacks: Lacks
    reason: str
    todo: str
    knocked: bool = False
