"""Where names and numbers stand on a drawing: beside what they name, and off everything else."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from calibration.document.drawing import Spot
from ingest.geometry.network.unknowns import F64

SIGN_WIDTH = 0.52
"""Of a sign of text, in font sizes, on average and a little more."""

ALONG = (0.5, 0.36, 0.64, 0.22, 0.78)
"""Where along a line its number may stand, the best first."""

CROSSED, COVERED, LESS_WELL = 3.0, 10.0, 0.5
"""What a place costs: for each line through the text, each text under it, each better place."""

SAMPLES = np.linspace(0.0, 1.0, 65)


@dataclass(slots=True)
class Places:
    """The room that is left on a sheet: ``lines`` (n, 2, 2) run over it, ``taken`` are texts."""

    lines: F64
    taken: list[tuple[float, float, float, float]] = field(default_factory=list)

    def beside_line(self, a: Spot, b: Spot, text: str, size: float) -> Spot:
        """Return where the number of a line stands, as the middle of its baseline."""
        one, other = np.array(a), np.array(b)
        along = other - one
        length = float(np.hypot(*along)) or 1.0
        across = np.array([along[1], -along[0]]) / length
        half = np.array([SIGN_WIDTH * size * len(text) / 2.0, size / 2.0])
        out = float(np.abs(across) @ half) + 1.5
        middles = [one + share * along + way * out * across for share in ALONG for way in (1, -1)]
        return self._best([(float(m[0]), float(m[1])) for m in middles], text, size)

    def beside_spot(self, at: Spot, text: str, size: float, clear: float) -> Spot:
        """Return where a name stands around a mark, ``clear`` away from its middle."""
        half = SIGN_WIDTH * size * len(text) / 2.0
        return self._best(list(_around(at, half, size / 2.0, clear)), text, size)

    def _best(self, middles: Sequence[Spot], text: str, size: float) -> Spot:
        boxes = [_box(middle, text, size) for middle in middles]
        costs = [self._cost(box) + LESS_WELL * i for i, box in enumerate(boxes)]
        best = int(np.argmin(costs))
        self.taken.append(boxes[best])
        x, y = middles[best]
        return x, y + 0.35 * size

    def _cost(self, box: tuple[float, float, float, float]) -> float:
        low, high = np.array(box[:2]), np.array(box[2:])
        starts, ends = self.lines[:, 0, None], self.lines[:, 1, None]
        spots = starts + SAMPLES[None, :, None] * (ends - starts)
        crossed = np.any(np.all((spots > low) & (spots < high), axis=2), axis=1)
        covered = sum(
            box[0] < other[2] and other[0] < box[2] and box[1] < other[3] and other[1] < box[3]
            for other in self.taken
        )
        return CROSSED * float(crossed.sum()) + COVERED * covered


def _around(at: Spot, half_width: float, half_height: float, clear: float) -> Iterator[Spot]:
    """Yield places around a mark, those that people look at first before the others."""
    for ring in (1.0, 1.6):
        for right, down in ((1, -1), (-1, -1), (1, 1), (-1, 1), (1, 0), (-1, 0), (0, -1), (0, 1)):
            off = clear * ring * (0.75 if right and down else 1.0)
            yield at[0] + right * (off + half_width), at[1] + down * (off + half_height)


def _box(middle: Spot, text: str, size: float) -> tuple[float, float, float, float]:
    half = SIGN_WIDTH * size * len(text) / 2.0
    return middle[0] - half, middle[1] - size / 2.0, middle[0] + half, middle[1] + size / 2.0
