"""An adjustment: old and new coefficients side by side, and what it asks of the run after it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from calibration.errors import BadBenchData
from calibration.records.parts import Coefficients, EncoderPart, TiltPart
from calibration.records.record import CalibrationRecord
from calibration.records.results import Point
from calibration.verification.errors_at_points import PointError
from calibration.verification.run import Verification

AXES = "xyz"
UNCHANGED = "Nothing was adjusted: as left is as found."


@dataclass(frozen=True, slots=True)
class Change:
    """One coefficient; None where one of the two sets does not have it."""

    name: str
    unit: str
    before: float | None
    after: float | None

    @property
    def change(self) -> float | None:
        """New minus old."""
        if self.before is None or self.after is None:
            return None
        return self.after - self.before


def side_by_side(before: Coefficients | None, after: Coefficients) -> tuple[Change, ...]:
    """Return every coefficient of either set, old and new, in the order of the record."""
    old = {} if before is None else {name: (unit, x) for name, unit, x in _flat(before)}
    new = {name: (unit, x) for name, unit, x in _flat(after)}
    return tuple(
        Change(name, (new.get(name) or old[name])[0], _value(old, name), _value(new, name))
        for name in dict.fromkeys((*old, *new))
    )


def coefficients_at(record: CalibrationRecord, when: str) -> Coefficients | None:
    """Return what was in force ``found`` or ``left``; None for a head that had nothing.

    Raises:
        BadBenchData: as left is asked for, and nothing was adjusted.
    """
    if when == "found":
        return record.coefficients_before if record.adjusted else record.coefficients
    if not record.adjusted:
        remedy = "verify as found; calibrate first where the head has to be adjusted"
        raise BadBenchData("as left", "nothing was adjusted, so as found stands", remedy)
    return record.coefficients


def same_points(record: CalibrationRecord, left: Verification) -> None:
    """See to it that a run as left repeats the points as found, in their order.

    Raises:
        BadBenchData: it does not; the first point that differs is named.
    """
    if record.as_found is None:
        return
    found = [_place(p) for p in record.as_found.points]
    now = [_told(c.channel, p) for c in left.channels for p in c.points]
    for position, (one, other) in enumerate(zip(found, now, strict=False), 1):
        if one != other:
            why = f"point {position} is {other}, and as found it is {one}"
            raise BadBenchData("as left", why, "repeat the points as found, in their order")
    if len(found) != len(now):
        extra = "lacks" if len(found) > len(now) else "adds"
        first = (found if len(found) > len(now) else now)[min(len(found), len(now))]
        raise BadBenchData("as left", f"it {extra} {first}", "repeat the points as found")


def _place(point: Point) -> str:
    return f"{point.channel} {point.nominal}° {point.direction}, {point.repeats} readings"


def _told(channel: str, point: PointError) -> str:
    return f"{channel} {point.at}, {point.repeats} readings"


def _value(table: dict[str, tuple[str, float]], name: str) -> float | None:
    return table[name][1] if name in table else None


Flat = Iterator[tuple[str, str, float]]


def _flat(coefficients: Coefficients) -> Flat:
    if coefficients.tilt is not None:
        yield from _tilt(coefficients.tilt)
    for channel, encoder in coefficients.encoders.items():
        yield from _encoder(channel, encoder)
    for port, place in coefficients.ports.items():
        yield f"{port} port forward", "m", place.forward_m
        yield f"{port} port outward", "m", place.outward_m


def _tilt(tilt: TiltPart) -> Flat:
    yield from _each("bias", "deg", tilt.bias_deg)
    for i, row in enumerate(tilt.matrix):
        for j, x in enumerate(row):
            yield f"matrix {AXES[i]}{AXES[j]}", "1", x
    yield from _each("bias over temperature", "deg/K", tilt.bias_deg_per_degc)
    yield from _each("scale over temperature", "1/K", tilt.scale_per_degc)


def _encoder(channel: str, encoder: EncoderPart) -> Flat:
    yield f"{channel} zero", "deg", encoder.zero_deg
    for h in encoder.harmonics:
        yield f"{channel} cos {h.order}", "deg", h.cos_deg
        yield f"{channel} sin {h.order}", "deg", h.sin_deg


def _each(name: str, unit: str, values: Sequence[float]) -> Flat:
    for axis, x in zip(AXES, values, strict=False):
        yield f"{name} {axis}", unit, x
