"""Two heads on the ends of a reference bar: their zeros apart from the bar and the stand.

The bar lies along the heads' left axes, end 1 on their left. Three moves separate the causes:
``turned`` (bar with its heads half round on the stand) reverses the stand's tilt; ``rolled``
(bar half round about its own length, heads upright again) reverses the bar's own bend;
``exchanged`` puts head A on end 2. Gravity's sag does not roll over with the bar.
First order: stand and bend within 0.5 deg leave less than 0.001 deg.

A twist of the bar's ends is a turn about the very length that the bar is rolled about, so no
roll reverses it: across the bar the two heads are told from each other, and a head's own level
is not told from the twist beneath it. ``faces`` is what opposite faces of the bar are not parallel.

With o = +1 on end 1 and -1 on end 2, t = +-1 turned, r = +-1 rolled, spigot e, partner P:

    incl_y  = zero + t along + o (r rise_e - sag)
    incl_x  = zero + twist_e + t across + r faces
    azimuth = zero - r swing_e + o (port_P - port_own) / length

The azimuth is what is read minus its nominal quarter turn. Only the difference of the two
ports' forward offsets shows; their sum and the outward offsets do not.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.errors import BadBenchData
from calibration.fits.guidance import Suggestion, suggest
from calibration.fits.result import Fit, solve

F64 = NDArray[np.float64]

ALONG = ("zero A", "zero B", "stand", "rise 1", "rise 2", "sag")
ACROSS = ("zero A + twist 1", "zero B - zero A", "twist 2 - twist 1", "stand", "faces")
AZIMUTH = ("zero A", "zero B", "swing 1", "swing 2", "port B - port A")
UNSEEN = ("level across the bar", "port A + port B forward", "ports outward")
"""What no attitude of the bar determines."""


@dataclass(frozen=True, slots=True)
class BarAttitude:
    """How bar and heads lie."""

    turned: bool = False
    rolled: bool = False
    exchanged: bool = False


ATTITUDES = tuple(
    BarAttitude(t, r, e) for e in (False, True) for r in (False, True) for t in (False, True)
)
"""All eight, in an order that exchanges the heads once."""


@dataclass(frozen=True, slots=True)
class BarFit:
    """One fit per channel, rad and metres; rows are head A then head B of each attitude."""

    incl_y: Fit
    incl_x: Fit
    azimuth: Fit

    @property
    def undetermined(self) -> tuple[str, ...]:
        """Everything left open, by channel and name."""
        fits = {"incl_y": self.incl_y, "incl_x": self.incl_x, "azimuth": self.azimuth}
        loose = [f"{channel} {name}" for channel, f in fits.items() for name in f.undetermined]
        return (*loose, *UNSEEN)


def fit_bar(
    attitudes: Sequence[BarAttitude],
    incl_y_rad: F64,
    incl_x_rad: F64,
    azimuth_rad: F64,
    length_m: float,
    *,
    sigma_rad: float | None = None,
) -> BarFit:
    """Separate zeros, bend and tilt; readings of shape (n, 2), columns head A and head B.

    Raises:
        BadBenchData: shapes differ from the attitudes, or the length is not above 0.
    """
    shape = (len(attitudes), 2)
    if any(r.shape != shape for r in (incl_y_rad, incl_x_rad, azimuth_rad)) or not length_m > 0:
        raise BadBenchData("bar", "two heads' readings per attitude and a length", "complete them")
    labels = [f"attitude {i + 1}, head {h}" for i in range(shape[0]) for h in "AB"]
    designs = bar_designs(attitudes, length_m)
    readings = (incl_y_rad, incl_x_rad, azimuth_rad)
    fits = [
        solve(design, r.ravel(), names, sigma=sigma_rad, labels=labels)
        for design, r, names in zip(designs, readings, (ALONG, ACROSS, AZIMUTH), strict=True)
    ]
    return BarFit(*fits)


def next_attitude(
    taken: Sequence[BarAttitude],
    length_m: float,
    candidates: Sequence[BarAttitude] = ATTITUDES,
) -> Suggestion:
    """Return which attitude to take next; ports count as angles over the bar's length."""
    known = _together(taken, length_m)
    return suggest(known, [_together([c], length_m) for c in candidates])


def bar_designs(attitudes: Sequence[BarAttitude], length_m: float) -> tuple[F64, F64, F64]:
    """Return the designs of incl_y, incl_x and azimuth, two rows per attitude."""
    rows = [_rows(a, head, length_m) for a in attitudes for head in (0, 1)]
    along, across, azimuth = zip(*rows, strict=True) if rows else ((), (), ())
    return (
        np.array(along).reshape(-1, len(ALONG)),
        np.array(across).reshape(-1, len(ACROSS)),
        np.array(azimuth).reshape(-1, len(AZIMUTH)),
    )


def _rows(a: BarAttitude, head: int, length_m: float) -> tuple[list[float], ...]:
    t, r = (-1.0 if a.turned else 1.0), (-1.0 if a.rolled else 1.0)
    first = (head == 0) != a.exchanged
    o = 1.0 if first else -1.0
    zero = [1.0 - head, float(head)]
    end = [1.0, 0.0] if first else [0.0, 1.0]
    # port_P - port_own is B - A for head A and its negative for head B.
    port = o * (1.0 if head == 0 else -1.0) / length_m
    return (
        [*zero, t, o * r * end[0], o * r * end[1], -o],
        [1.0, float(head), end[1], t, r],
        [*zero, -r * end[0], -r * end[1], port],
    )


def _together(attitudes: Sequence[BarAttitude], length_m: float) -> F64:
    along, across, azimuth = bar_designs(attitudes, length_m)
    azimuth = azimuth * np.array([1.0, 1.0, 1.0, 1.0, length_m])
    n = len(along)
    return np.block(
        [
            [along, np.zeros((n, 10))],
            [np.zeros((n, 6)), across, np.zeros((n, 5))],
            [np.zeros((n, 11)), azimuth],
        ]
    )
