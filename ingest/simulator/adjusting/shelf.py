"""What lies on the shelf: shims and wedges, told apart by what is stamped on them."""

import math
from collections.abc import Sequence

import numpy as np

from ingest.simulator.adjusting.errors import NotAtHand, Stuck

SAME_SHIM_M = 1e-6
OFF = 0.01
"""How far from its stamp a shim may be: each size off alike."""


class Shelf:
    """Pieces by their stamped size; ``same`` is what a person takes to be the same size."""

    def __init__(self, pieces: Sequence[float], same: float) -> None:
        self._pieces = list(pieces)
        self._same = same

    def exchange(self, out: Sequence[float], sizes: Sequence[float]) -> tuple[float, ...]:
        """Put pieces back and take others of those sizes; nothing changes where one is missing.

        Raises: ``NotAtHand``.
        """
        left = [*self._pieces, *out]
        taken = []
        for size in sizes:
            piece = min(left, key=lambda each: abs(each - size), default=None)
            if piece is None or abs(piece - size) > self._same:
                raise NotAtHand(f"there is none of {size:g}")
            left.remove(piece)
            taken.append(piece)
        self._pieces = left
        return tuple(taken)


class Shims:
    """The shims of one axle: a shelf, and what each stamped size truly measures."""

    def __init__(
        self, stock_m: Sequence[float], fitted_m: Sequence[float], random: np.random.Generator
    ) -> None:
        self.shelf = Shelf(stock_m, SAME_SHIM_M)
        sizes = sorted({*stock_m, *fitted_m})
        self._true_m = {size: size * (1.0 + float(random.uniform(-OFF, OFF))) for size in sizes}

    def thickness_m(self, pack: Sequence[float]) -> float:
        """Return what a pack truly measures."""
        return math.fsum(self._true_m[size] for size in pack)


class Pack:
    """A pack of shims, as found and now."""

    def __init__(self, shims: Shims, fitted_m: Sequence[float], most_m: float) -> None:
        self._shims, self._most_m = shims, most_m
        self.fitted_m = tuple(fitted_m)
        self._first_m = shims.thickness_m(fitted_m)

    @property
    def thicker_m(self) -> float:
        """How much thicker than as found it truly is."""
        return self._shims.thickness_m(self.fitted_m) - self._first_m

    def fit(self, sizes_m: Sequence[float]) -> None:
        """Make it of shims of those sizes. Raises ``NotAtHand``, ``Stuck`` where too thick."""
        if math.fsum(sizes_m) > self._most_m + SAME_SHIM_M:
            raise Stuck("the pack is thicker than fits in")
        self.fitted_m = self._shims.shelf.exchange(self.fitted_m, sizes_m)
