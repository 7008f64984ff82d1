"""How a head hangs on its shaft: a damped pendulum, disturbed now and then."""

from dataclasses import dataclass

import numpy as np

from ingest.core.blocks import F64

FORGOTTEN = 30.0
"""A swing is over after this many decay times (it has fallen below 1e-13)."""


@dataclass(frozen=True, slots=True)
class Pendulum:
    """How one head hangs: ``hang_rad`` off the vertical at rest (positive leans its top
    forward), swinging at ``swing_hz``, dying away in ``decay_s``; friction of the shaft drags
    it by ``drag_s`` radians for each radian per second of the wheel."""

    hang_rad: float = 0.0
    swing_hz: float = 1.5
    decay_s: float = 0.25
    drag_s: float = 0.0


def draw_pendulum(random: np.random.Generator) -> Pendulum:
    """Draw how a head happens to hang."""
    return Pendulum(
        hang_rad=random.uniform(-0.012, 0.012),
        swing_hz=random.uniform(1.2, 1.9),
        decay_s=random.uniform(0.2, 0.3),
        drag_s=random.uniform(0.002, 0.008),
    )


class Swing:
    """The swing of one head over time, from the knocks that it received."""

    def __init__(self, pendulum: Pendulum) -> None:
        self.pendulum = pendulum
        self._knocks: list[tuple[float, float]] = []

    def knock(self, at_s: float, amplitude_rad: float) -> None:
        """Set the head swinging at a moment, present or planned."""
        self._knocks.append((at_s, amplitude_rad))

    def at(self, t_s: F64, spin_rad_per_s: F64) -> F64:
        """Return the head's turn about its shaft from hanging plumb, shape (n,) or (1,)."""
        hanging = self.pendulum
        rest: F64 = hanging.hang_rad + hanging.drag_s * spin_rad_per_s
        memory_s = FORGOTTEN * hanging.decay_s
        live = [k for k in self._knocks if k[0] <= t_s[-1] and t_s[0] < k[0] + memory_s]
        for at_s, amplitude in live:
            since = np.maximum(t_s - at_s, 0.0)
            wave = np.sin(2.0 * np.pi * hanging.swing_hz * since)
            rest = rest + amplitude * np.exp(-since / hanging.decay_s) * wave
        return rest
