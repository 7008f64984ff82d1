"""Two heads on the reference bar: turned, rolled, exchanged."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from calibration.bench.capture import Settled
from calibration.bench.procedure import Need, Progress, Row, Target
from calibration.bench.rows import as_csv, pooled_spread_deg, reading_columns
from calibration.drafting.bar import fit_pairs
from calibration.errors import CalibrationError
from calibration.files.series import parse_series
from calibration.fits.bar import ATTITUDES, BarAttitude, BarFit, next_attitude
from calibration.fits.result import Fit
from calibration.records.parts import AzimuthChannel, Coefficients

HEADS = ("A", "B")
FLAGS = ("turned", "rolled", "exchanged")
CAUTIONS = (
    "The bar is heavy: two people, one at each end; lift with straight backs, feet clear.",
    "See that both ends lie in their rests before anybody lets go.",
)
ROLL = "Take the heads off before the bar is rolled; put them back upright, and tighten them."
SWAP = "Hold each head while its spigot is loose; tighten it before you let go."


@dataclass(frozen=True, slots=True)
class BarPair:
    """Bar readings of a pair until zeros and ports are known as well as wanted.

    ``azimuth`` is the channel that looks along the bar; ``known`` what each head's own readings
    told of it already, by letter.
    """

    length_m: float
    azimuth: AzimuthChannel = "azimuth_cross"
    u_zero_deg: float = 0.003
    u_port_mm: float = 0.2
    most: int = 16
    known: Mapping[str, Coefficients] = field(default_factory=dict)
    heads: tuple[str, ...] = HEADS
    file: str = "bar.csv"
    title: str = "Two heads on the reference bar"

    def owns(self, row: Row) -> bool:
        """Every row of the file is of this series."""
        return True

    def progress(self, rows: Sequence[Row]) -> Progress:
        """Say how far the rows go; an attitude counts once for both heads."""
        taken = attitudes_of(rows)
        spread = pooled_spread_deg(rows)
        if not taken:
            return Progress(0, 6, self.most, 0, 16, spread_deg=spread)
        try:
            fit = self._fit(rows)
        except CalibrationError as error:
            return Progress(len(taken), 6, self.most, 0, 16, trouble=str(error))
        fits = {"incl_y": fit.incl_y, "incl_x": fit.incl_x, "azimuth": fit.azimuth}
        return Progress(
            taken=len(taken),
            least=6,
            most=self.most,
            rank=sum(f.rank for f in fits.values()),
            full_rank=sum(len(f.names) for f in fits.values()),
            undetermined=tuple(f"{c} {n}" for c, f in fits.items() for n in f.undetermined),
            never=tuple(n for n in fit.undetermined if not n.startswith(tuple(fits))),
            needs=tuple(n for c, f in fits.items() for n in self._needs(c, f)),
            distrusted=tuple(f"{c} {n}" for c, f in fits.items() for n in f.distrusted()),
            spread_deg=spread,
        )

    def targets(self, rows: Sequence[Row]) -> tuple[Target, ...]:
        """Return the attitudes, best first."""
        taken = attitudes_of(rows)
        counts = [taken.count(a) for a in ATTITUDES]
        left = [a for a, n in zip(ATTITUDES, counts, strict=True) if n == min(counts)]
        best = left.pop(next_attitude(taken, self.length_m, left).index)
        why = (
            "of all attitudes left, this one parts the heads' zeros from bar and stand best"
            if taken
            else "start with the bar as it is marked; every other attitude is compared with it"
        )
        first = BarAttitude() if not taken else best
        rest = [a for a in (best, *left) if a != first]
        last = taken[-1] if taken else None
        other = "not the best choice now, but it counts"
        return (_target(first, last, why), *(_target(a, last, other) for a in rest))

    def needs(self, target: Target) -> tuple[str, ...]:
        """Return the channels that must have a value."""
        return ("incl_y", "incl_x", self.azimuth)

    def taken(self, target: Target, readings: Mapping[str, Settled]) -> tuple[Row, ...]:
        """Return the rows of both heads."""
        channels = {"incl_y": "incl_y", "incl_x": "incl_x", "azimuth": self.azimuth}
        return tuple(
            {**target.columns, "head": letter, **bar_columns(readings[letter], channels)}
            for letter in HEADS
        )

    def _fit(self, rows: Sequence[Row]) -> BarFit:
        counted = [{**row, "row": str(i)} for i, row in enumerate(rows, 1)]
        file = parse_series(as_csv(counted), self.file, (), kinds=("bar",))
        known = {letter: self.known.get(letter, Coefficients()) for letter in HEADS}
        return fit_pairs(file, known, self.length_m, self.azimuth)

    def _needs(self, channel: str, fit: Fit) -> list[Need]:
        if channel == "incl_x":
            return []  # a level across the bar is not told by the bar
        needs = [
            Need(f"{channel} {name}", math.degrees(fit.u(name)), self.u_zero_deg, "deg")
            for name in ("zero A", "zero B")
        ]
        if channel == "azimuth":
            u_mm = fit.u("port B - port A") * 1e3
            needs.append(Need("port B - port A", u_mm, self.u_port_mm, "mm"))
        return needs


def attitudes_of(rows: Sequence[Row]) -> list[BarAttitude]:
    """Return the attitude of each pair of rows, head A's first."""
    return [BarAttitude(*(row[flag] == "1" for flag in FLAGS)) for row in rows[::2]]


def bar_columns(reading: Settled, channels: Mapping[str, str]) -> dict[str, str]:
    """Return the cells of a head's reading; ``channels``: the head's own, by name in the file."""
    named = {name: reading.mean[own] for name, own in channels.items()}
    spread = {name: reading.spread[own] for name, own in channels.items()}
    degc = reading.mean.get("temperature", math.nan)
    return reading_columns(
        Settled(named | {"temperature": degc}, spread, reading.n), tuple(channels)
    )


def _target(a: BarAttitude, before: BarAttitude | None, why: str) -> Target:
    way = {
        "turned": ("as marked on the stand", "turned end for end on the stand"),
        "rolled": ("its marked side up", "rolled half round about its length"),
        "exchanged": ("head A on end 1, head B on end 2", "head A on end 2, head B on end 1"),
    }
    state = {flag: getattr(a, flag) for flag in FLAGS}
    moved = [f for f in FLAGS if before is None or state[f] != getattr(before, f)]
    lies = f"Bar {way['turned'][state['turned']]}, {way['rolled'][state['rolled']]};"
    cautions = [*CAUTIONS, *([ROLL] if "rolled" in moved else [])]
    return Target(
        name=", ".join(f for f in FLAGS if state[f]) or "as marked",
        do=(lies, f"{way['exchanged'][state['exchanged']]}, both upright and tightened."),
        cautions=(*cautions, *([SWAP] if "exchanged" in moved else [])),
        why=why,
        columns={flag: str(int(on)) for flag, on in state.items()},
    )
