"""The drag link: the steering wheel straight while the road wheels are."""

from dataclasses import dataclass

from ingest.geometry.corrections.lever import Lever
from ingest.geometry.corrections.thread import Thread, turn
from ingest.geometry.corrections.wanted import Correction, Wanted


@dataclass(frozen=True, slots=True)
class DragLink:
    """A link from the drop arm of the steering gear to the steering arm.

    ``arm`` is the drop arm, its angle from square to the link counted positive the way that
    steering left swings it; ``ratio`` is turns of the steering wheel for one of the drop arm.
    ``left_pushes`` where steering left pushes the link, false where it pulls.
    """

    arm: Lever
    ratio: float
    left_pushes: bool
    thread: Thread

    def length_change_m(self, wheel_change_rad: float) -> float:
        """Return what the link must grow by so that the steering wheel moves to the left by
        ``wheel_change_rad`` while the road wheels stay."""
        towards_m = self.arm.moved_m(wheel_change_rad / self.ratio)
        return -towards_m if self.left_pushes else towards_m

    def wheel_change_rad(self, length_change_m: float) -> float:
        """Return how far to the left a longer link moves the steering wheel."""
        towards_m = -length_change_m if self.left_pushes else length_change_m
        return self.ratio * self.arm.swung_rad(towards_m)


def correct_by_drag_link(wanted: Wanted, link: DragLink) -> Correction:
    """Move the steering wheel by ``wanted.change`` against the road wheels.

    Raises: ``MeasurementRefused`` where link or drop arm cannot do it.
    """
    step, set_m = turn("drag link", link.thread, link.length_change_m(wanted.change))
    return Correction(
        (step,),
        (wanted.changed(link.wheel_change_rad(set_m)),),
        (
            "The steering gear must stand in its own middle when the wheels are straight: see "
            "the gear maker's mark before the steering wheel itself is moved on its shaft.",
            "The gear reaches its ends at other lock angles than before: check that the steering "
            "stops still act before the gear's own ends do.",
        ),
    )
