"""What a verification stands on beside its readings: references, and how the bench is set up."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Self

from calibration.errors import BadBenchData
from calibration.files.points import TILT, Reading
from calibration.files.references import Kind, Reference, Register, usable

WIRE_STEP_DEG = 1e-4
"""Smallest step of a reading on the wire, where a record states no resolution."""


@dataclass(frozen=True, slots=True)
class Setup:
    """How the bench is set up.

    ``warmer_k``: the blocks differ from the sine bar by no more than this, anywhere within.
    ``alignment_deg``: how squarely a head stands on the bar, as an expanded uncertainty (k = 2);
    it decides how much of the tilt the other axis sees. Both defaults are our own guess.
    """

    warmer_k: float = 0.5
    alignment_deg: float = 0.1


@dataclass(frozen=True, slots=True)
class SineBar:
    """What makes the known angles of an inclinometer; ``level`` where one set the plate."""

    bar: Reference
    blocks: Reference
    level: Reference | None

    @property
    def used(self) -> tuple[Reference, ...]:
        """The references that results stand on."""
        return (self.bar, self.blocks) + (() if self.level is None else (self.level,))


KNOWN = {
    "incl_x": (Kind.LEVEL, Kind.INDEXING_PLATE),
    "incl_y": (Kind.LEVEL, Kind.INDEXING_PLATE),
    "rotation": (Kind.REFERENCE_ENCODER, Kind.INDEXING_PLATE),
    "azimuth_cross": (Kind.REFERENCE_ENCODER, Kind.INDEXING_PLATE, Kind.BAR),
    "azimuth_track": (Kind.REFERENCE_ENCODER, Kind.INDEXING_PLATE, Kind.BAR),
    "steer": (Kind.REFERENCE_ENCODER, Kind.INDEXING_PLATE),
}
"""Which references can say a channel's angle."""

ABSOLUTE = (Kind.LEVEL, Kind.BAR)
"""Those that know where zero is; an encoder and an index plate know differences."""


@dataclass(frozen=True, slots=True)
class References:
    """The references at hand on a day: those of the sheet, or the whole register."""

    register: Register
    ids: tuple[str, ...]
    on: date
    named: bool = True
    """The ids are the sheet's, not all that there are."""

    @classmethod
    def of(cls, register: Register, ids: Sequence[str] | None, on: date) -> Self:
        """Return the named references of a register, or all of it."""
        everything = tuple(r.id for r in register.references)
        return cls(register, everything if ids is None else tuple(ids), on, ids is not None)

    @property
    def thermometers(self) -> tuple[Reference, ...]:
        """What the temperature of the place was measured with. Raises as ``sine_bar``."""
        kinds = (Kind.THERMOMETER,)
        found = self._all(kinds)
        if found and not self.named:
            return (self._one(kinds, None),)
        for each in found:
            usable(each, self.on)
        return tuple(found)

    def sine_bar(self, readings: Sequence[Reading]) -> SineBar:
        """Return what a channel's stacks stand on.

        Raises:
            BadBenchData: a piece is missing, or several could be meant.
            ReferenceRefused: no result may stand on one of them.
        """
        reversed_ = any(r.facing == "turned" for r in readings)
        bar, blocks = self._one((Kind.SINE_BAR,), None), self._one((Kind.GAUGE_BLOCKS,), None)
        return SineBar(bar, blocks, None if reversed_ else self._level(readings[0].channel))

    def known_angle(self, readings: Sequence[Reading]) -> Reference:
        """Return what said a channel's angles. Raises as ``sine_bar``."""
        named = {r.reference_id for r in readings}
        channel = readings[0].channel
        if len(named) > 1:
            why = f"its rows name {', '.join(sorted(map(str, named)))}"
            raise BadBenchData(channel, why, "measure against one reference, and name it alone")
        return self._one(KNOWN[channel], named.pop())

    def bar(self) -> Reference:
        """Return the bar that two heads hang on. Raises as ``sine_bar``."""
        return self._one((Kind.BAR,), None)

    def _level(self, channel: str) -> Reference:
        if self._all((Kind.LEVEL,)):
            return self._one((Kind.LEVEL,), None)
        why = "nothing says how level the plate was"
        remedy = "add rows with facing turned, or a level to the references"
        raise BadBenchData(channel, why, remedy)

    def _one(self, kinds: Sequence[Kind], named: str | None) -> Reference:
        fitting = self._all(kinds) if named is None else [self.register.get(named)]
        wanted = " or ".join(kinds)
        if not fitting:
            raise BadBenchData("references", f"there is no {wanted}", "name one in the sheet")
        if len(fitting) > 1:
            ids = ", ".join(r.id for r in fitting)
            remedy = "name one in the sheet or in the column reference_id"
            raise BadBenchData("references", f"{ids} could each be meant", remedy)
        if fitting[0].kind not in kinds:
            why = f"it is a {fitting[0].kind}, and a {wanted} is needed"
            raise BadBenchData(f"reference {fitting[0].id}", why, "name another")
        usable(fitting[0], self.on)
        return fitting[0]

    def _all(self, kinds: Sequence[Kind]) -> list[Reference]:
        return [r for r in map(self.register.get, self.ids) if r.kind in kinds]


def by_stack(readings: Sequence[Reading]) -> bool:
    """Say whether a channel's known angles are stacks under a sine bar.

    Raises:
        BadBenchData: some are and some are not, or the channel is no inclinometer.
    """
    stacked = {r.height_mm is not None for r in readings}
    channel = readings[0].channel
    if len(stacked) > 1:
        why = "some rows have height_mm and some reference_deg"
        raise BadBenchData(channel, why, "put them in two files")
    if True in stacked and channel not in TILT:
        raise BadBenchData(channel, "a sine bar tilts; it does not turn", "give reference_deg")
    return True in stacked
