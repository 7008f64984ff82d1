"""The short check before a shift: two heads on the bar, as it lies and turned end for end.

Turning reverses the stand's tilt, so the mean of both attitudes is a head's zero beside the
bar's own form (``fits.bar`` has the equations). Corrected by the head's record, and with the
bar's form taken off where the record knows it, what is left is how far the zero has moved
since the record. Both heads see the same stand: where they do not agree on its tilt, or one
head's azimuth differs between the attitudes, something moved, and the check is none.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calibration.decision import decide
from calibration.errors import CalibrationFileError
from calibration.files.check_rows import CheckReading
from calibration.records.record import CalibrationRecord
from calibration.records.text import AnyRecord
from calibration.sensors import Correction
from calibration.verification.bar_form import (
    AGREE,
    CHANNELS,
    SEAT_RAD,
    azimuth_shares,
    bar_fits,
    corrected,
)
from calibration.verification.head_class import HeadClass

U_FORM_RAD = math.radians(0.005)
"""What is left open where the bar's own form is not in the record, standard uncertainty."""

ZERO_OF = {
    "incl_y": ("incl_y zero", "zero"),
    "incl_x": ("incl_x zero", "zero"),
    "azimuth_cross": ("azimuth zero", "max-error"),
}
"""What a channel's change is called, and the limit of the head's class that it is held to."""
LEVEL_A = ("zero A + twist 1", "faces")
LEVEL_B = (*LEVEL_A, "zero B - zero A", "twist 2 - twist 1")
"""What adds up to a head's reading across the bar: of its own zero no bar tells the twist."""
PAIR = "pair azimuth zero"
"""Head A's azimuth zero less head B's: what the pair adds to a total toe."""


@dataclass(frozen=True, slots=True)
class Change:
    """How far one zero has moved since the record, rad, and what that means."""

    quantity: str
    change_rad: float
    u_rad: float
    limit_rad: float
    decision: str


@dataclass(frozen=True, slots=True)
class HeadCheck:
    """What the check says of one head. ``decision``: the worst of its changes'."""

    head: str
    head_id: str
    record_id: str
    changes: tuple[Change, ...]
    form_known: bool

    @property
    def decision(self) -> str:
        """``inside``, ``undecided`` or ``outside``."""
        words = [change.decision for change in self.changes]
        return next((w for w in ("outside", "undecided") if w in words), "inside")


@dataclass(frozen=True, slots=True)
class Disagreement:
    """Two readings that should have been alike, and by how much they may differ, rad."""

    what: str
    difference_rad: float
    limit_rad: float


def disagreement(
    readings: Sequence[CheckReading], records: Mapping[str, AnyRecord]
) -> Disagreement | None:
    """Return where the attitudes contradict each other most, None where they do not.

    Raises:
        CalibrationFileError: as ``shift_check``.
    """
    at = _corrected(readings, records)
    found = []
    for channel, what in (("incl_y", "along"), ("incl_x", "across")):
        tilts = [(at[h, False][channel] - at[h, True][channel]) / 2.0 for h in "AB"]
        found.append((f"the stand's tilt {what} the bar, seen by both heads", tilts[0] - tilts[1]))
    for head in "AB":
        turned = at[head, True]["azimuth_cross"] - at[head, False]["azimuth_cross"]
        found.append((f"the azimuth of head {head} in both attitudes", turned / math.sqrt(2.0)))
    limit = AGREE * SEAT_RAD
    what, difference = max(found, key=lambda each: abs(each[1]))
    return Disagreement(what, difference, limit) if abs(difference) > limit else None


def shift_check(
    readings: Sequence[CheckReading],
    records: Mapping[str, AnyRecord],
    limits: HeadClass,
    bar: str,
    length_m: float,
) -> tuple[HeadCheck, HeadCheck]:
    """Hold both heads' zeros against their records.

    Args:
        readings: of heads A (on the bar's end 1) and B in both attitudes, several of each
            allowed.
        records: by ``A`` and ``B``.
        limits: the class that the heads are held to.
        bar: its id in the register; a record knows the form of the bar that it was made on.
        length_m: of the bar, port to port.

    Raises:
        CalibrationFileError: an attitude is missing, or the class has no limit for a zero.
    """
    at = _corrected(readings, records)
    counts = {key: sum((r.head, r.turned) == key for r in readings) for key in at}
    forms = {h: _form(records[h], h, bar, length_m) for h in "AB"}
    zeros = {h: _zeros(at, h, forms[h]) for h in "AB"}
    known = {h: form is not None for h, form in forms.items()}
    u = {}
    for h in "AB":
        seat = SEAT_RAD / 2.0 * math.sqrt(1.0 / counts[h, False] + 1.0 / counts[h, True])
        u[h] = math.hypot(seat, 0.0 if known[h] else U_FORM_RAD)
    pair = zeros["A"]["azimuth_cross"] - zeros["B"]["azimuth_cross"]
    together = _change(PAIR, pair, math.hypot(u["A"], u["B"]), "azimuth_cross", limits)
    checks = []
    for h in "AB":
        own = [_change(ZERO_OF[c][0], zeros[h][c], u[h], c, limits) for c in CHANNELS]
        record = records[h]
        checks.append(HeadCheck(h, record.head_id, record.record_id, (*own, together), known[h]))
    return checks[0], checks[1]


def _corrected(
    readings: Sequence[CheckReading], records: Mapping[str, AnyRecord]
) -> dict[tuple[str, bool], dict[str, float]]:
    """Return corrected means by head and attitude, azimuths less their nominal quarter turn."""
    found = {}
    for head in "AB":
        correction = Correction.from_record(records[head])
        for turned in (False, True):
            own = [r for r in readings if (r.head, r.turned) == (head, turned)]
            if not own:
                reason = f"head {head} has no reading with turned = {turned:d}; take it"
                raise CalibrationFileError("check", reason)
            found[head, turned] = {
                channel: float(values.mean())
                for channel, values in corrected(own, correction).items()
            }
    return found


def _zeros(
    at: Mapping[tuple[str, bool], Mapping[str, float]],
    head: str,
    form: Mapping[str, float] | None,
) -> dict[str, float]:
    own = {c: (at[head, False][c] + at[head, True][c]) / 2.0 for c in CHANNELS}
    return {c: value - (form or {}).get(c, 0.0) for c, value in own.items()}


def _form(record: AnyRecord, head: str, bar: str, length_m: float) -> dict[str, float] | None:
    """Return what the bar itself adds to a head's readings; None where it is not known.

    Head A on end 1, head B on end 2, the bar not rolled over, as ``fits.bar`` has it.
    """
    if not isinstance(record, CalibrationRecord):
        return None
    if bar not in (use.id for use in record.references):
        return None
    fits = bar_fits(record.fits)
    if not {"incl_y", "incl_x", "azimuth"} <= fits.keys():
        return None
    value = {
        f"{channel} {name}": found
        for channel, fit in fits.items()
        for name, found in zip(fit.names, fit.values, strict=True)
    }
    sign, end = (1.0, 1) if head == "A" else (-1.0, 2)
    sight = azimuth_shares(head, length_m)
    names = (
        f"incl_y rise {end}",
        "incl_y sag",
        *(f"incl_x {name}" for name in (LEVEL_A if head == "A" else LEVEL_B)),
        *(f"azimuth {name}" for name in sight),
    )
    parts = [value[name] for name in names if value.get(name) is not None]
    if len(parts) < len(names):
        return None
    rise, sag, *across, swing, port = (float(part) for part in parts if part is not None)
    return {
        "incl_y": sign * (rise - sag),
        "incl_x": sum(across),
        "azimuth_cross": sum(
            share * part for share, part in zip(sight.values(), (swing, port), strict=True)
        ),
    }


def _change(quantity: str, change: float, u: float, channel: str, limits: HeadClass) -> Change:
    figure = ZERO_OF[channel][1]
    limit_deg = limits.limits.get((channel, figure))
    if limit_deg is None:
        reason = f"class {limits.name} has no limit for {figure} of {channel}; add one"
        raise CalibrationFileError("check", reason)
    limit = math.radians(limit_deg)
    found = decide(change, u, -limit, limit)
    return Change(quantity, change, u, limit, found.decision)
