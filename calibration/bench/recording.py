"""Recordings: a head left alone, to warm up or to show its noise and stability."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calibration.bench.capture import GAP
from calibration.bench.procedure import Row
from calibration.bench.rows import ANGLE_DIGITS, number
from calibration.bench.stillness import TEMPERATURE, Rest, Stillness

ANGLES = ("incl_x", "incl_y", "incl_z", "rotation", "azimuth_cross", "azimuth_track", "steer")


@dataclass(frozen=True, slots=True)
class Recording:
    """Means of ``interval_s`` for ``least_s``; a warm-up ends when the temperature rests.

    ``calm_degc`` (None: not asked) is the most by which the temperature may change over the
    last third of the recording; ``most_s`` ends the wait. ``still``: a move ends the recording.
    """

    file: str
    title: str
    do: tuple[str, ...]
    why: str
    interval_s: float
    least_s: float
    most_s: float
    calm_degc: float | None = None
    still: bool = True
    heads: tuple[str, ...] = ("A",)

    def __post_init__(self) -> None:
        if not 0 < self.interval_s < self.least_s <= self.most_s:
            raise ValueError("a recording needs an interval, and time for more than one")

    def finished(self, rows: Sequence[Row]) -> bool:
        """Say whether the rows are a whole recording."""
        length_s = len(rows) * self.interval_s
        if length_s >= self.most_s * (1 - 1e-9):
            return True
        if length_s < self.least_s * (1 - 1e-9):
            return False
        if self.calm_degc is None:
            return True
        # A head without a thermometer has nothing to wait for but the time.
        return not temperature_drift_degc(rows) > self.calm_degc


def still_recording(least_s: float = 600.0, heads: tuple[str, ...] = ("A",)) -> Recording:
    """Return the recording for noise density and bias instability."""
    return Recording(
        file="still.csv",
        title="Still recording",
        do=("Leave the head where it is, on something that does not shake.", "Hands off."),
        why="noise and drift of a head that nobody touches are the head's own",
        interval_s=0.1,
        least_s=least_s,
        most_s=least_s,
        heads=heads,
    )


def warm_up(
    least_s: float = 900.0, most_s: float = 3600.0, heads: tuple[str, ...] = ("A",)
) -> Recording:
    """Return the recording of a head from switching on until its temperature rests."""
    return Recording(
        file="warmup.csv",
        title="Warm-up",
        do=("Switch the head on and leave it on the bench.", "Do not hold it: hands warm it."),
        why="zero and scale move with temperature, most of all in the first minutes",
        interval_s=10.0,
        least_s=least_s,
        most_s=most_s,
        calm_degc=0.2,
        still=False,
        heads=heads,
    )


def soak(degc: float, least_s: float = 3600.0, heads: tuple[str, ...] = ("A",)) -> Recording:
    """Return the recording of a head in the oven until its own temperature rests."""
    return Recording(
        file=f"soak-{degc:g}.csv",
        title=f"Soak at {degc:g} °C",
        do=(
            f"Head switched on, on the sine bar in the oven, cable led out; oven to {degc:g} °C.",
            "Never beyond what the makers of head, battery and cable allow.",
        ),
        why="a drift is told by a head that is soaked through, not by its skin",
        interval_s=10.0,
        least_s=least_s,
        most_s=6 * least_s,
        calm_degc=0.2,
        still=False,
        heads=heads,
    )


def cooling(least_s: float = 3600.0, heads: tuple[str, ...] = ("A",)) -> Recording:
    """Return the recording of a head that comes back to the room's temperature."""
    return Recording(
        file="cool.csv",
        title="Back to the room's temperature",
        do=("Take the head out of the oven and leave it on the bench, switched on.", "Hands off."),
        why="what follows is read in the room, by a head at rest with it",
        interval_s=10.0,
        least_s=least_s,
        most_s=6 * least_s,
        calm_degc=0.2,
        still=False,
        heads=heads,
    )


def temperature_drift_degc(rows: Sequence[Row]) -> float:
    """Return by how much the temperature changed over the last third, NaN without any."""
    recent = rows[-max(2, len(rows) // 3) :]
    seen = [t for row in recent if math.isfinite(t := number(row, "temperature_degc"))]
    return max(seen) - min(seen) if len(seen) > 1 else math.nan


class Recorder:
    """Gathers one head's samples into rows. ``broken`` says why a recording is of no use."""

    def __init__(self, recording: Recording) -> None:
        self._recording = recording
        self._first_s = math.nan
        self._last_s = math.nan
        self._origin: dict[str, float] = {}
        self._values: dict[str, list[float]] = {}
        self._rows: list[Row] = []
        self.broken = ""

    @property
    def rows(self) -> tuple[Row, ...]:
        """The rows so far, numbered."""
        return tuple(self._rows)

    @property
    def seconds(self) -> float:
        """How long the recording is."""
        return len(self._rows) * self._recording.interval_s

    @property
    def finished(self) -> bool:
        """Whether it is whole."""
        return not self.broken and self._recording.finished(self._rows)

    def feed(self, time_s: float, values: Mapping[str, float], seen: Stillness) -> None:
        """Take one sample, with what the watch over the head says."""
        if self.broken or self.finished:
            return
        if math.isnan(self._first_s):
            self._first_s = time_s
        elif not 0 < time_s - self._last_s <= GAP * max(self._recording.interval_s, 0.1):
            self.broken = f"no samples for {time_s - self._last_s:.1f} s"
        if self._recording.still and seen.rest is Rest.MOVING:
            shown = f"{math.degrees(seen.figure_rad):.3f}°"
            self.broken = f"the head moved by {shown} in {seen.channel}"
        self._last_s = time_s
        if time_s - self._first_s >= (len(self._rows) + 1) * self._recording.interval_s - 1e-6:
            self._close()
        for channel, value in values.items():
            if math.isnan(value):
                continue
            # Angles are kept within half a turn of the first, so that none wraps on the way.
            origin = self._origin.setdefault(channel, value)
            moved = value - origin
            if channel != TEMPERATURE:
                moved = math.remainder(moved, math.tau)
            self._values.setdefault(channel, []).append(origin + moved)

    def _close(self) -> None:
        means = {c: math.fsum(v) / len(v) for c, v in self._values.items()}
        count = max(map(len, self._values.values()), default=0)
        self._values = {}
        place = len(self._rows)
        row = {"row": str(place + 1), "time_s": f"{place * self._recording.interval_s:.3f}"}
        for channel in ANGLES:
            if channel in means:
                row[f"{channel}_deg"] = f"{math.degrees(means[channel]):.{ANGLE_DIGITS}f}"
        if TEMPERATURE in means:
            row["temperature_degc"] = f"{means[TEMPERATURE]:.4f}"
        if count:
            row["n"] = str(count)
        self._rows.append(row)
