"""A way through the states as numbered steps in words, each with its reason."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum

from ingest.geometry.corrections.wanted import Quantity
from ingest.job.plan.search import Leg
from ingest.job.plan.states import Act, State
from ingest.job.plan.task import Bits, Task
from ingest.job.vehicle.vehicle import Unit, Vehicle
from ingest.job.vehicle.words import named

AS_FOUND = "an axle is measured as found before it, or what it is told against, is adjusted."

WORDS: dict[Quantity, str] = {
    Quantity.LATERAL_OFFSET: "lateral offset",
    Quantity.AXLE_HEADING: "heading",
    Quantity.CASTER: "caster",
    Quantity.TOTAL_TOE: "total toe",
    Quantity.STEERING_WHEEL: "steering wheel",
    Quantity.STEER_PARALLELISM: "parallelism of the steer axles",
    Quantity.LOCK_ANGLE: "lock angles",
    Quantity.CAMBER: "camber",
}

WHY: dict[Quantity, str] = {
    Quantity.LATERAL_OFFSET: "shifting the axle turns it too, so it comes before its heading",
    Quantity.AXLE_HEADING: "all else on the axle goes along when it turns",
    Quantity.CASTER: "wedges tip the axle with its steering arms, so caster comes before toe",
    Quantity.TOTAL_TOE: "the tie rod moves one wheel against the held one, so it comes before"
    " the rod that holds that",
    Quantity.STEERING_WHEEL: "where the wheels run straight is known once the axles stand and"
    " toe is set",
    Quantity.STEER_PARALLELISM: "it is told against the first steer axle, which stands by now",
    Quantity.LOCK_ANGLE: "the stops are counted from straight ahead, so they come last",
    Quantity.CAMBER: "a beam's camber is not adjusted",
}
"""Why each quantity of an axle has its place (common practice; what moves others comes first)."""


class Do(StrEnum):
    """What a step is."""

    MOUNT = "mount"
    FOUND = "measure_as_found"
    ADJUST = "adjust"
    LEFT = "measure_as_left"


@dataclass(frozen=True, slots=True)
class Step:
    """One step. ``axles`` in the order in which they are worked.

    Of a mounting ``off`` and ``stay`` are the axles whose pairs come off and stay; of an adjustment
    ``quantities`` are what can be set. ``told``: of a measurement as found, the axles that are
    known with it, also those that were read before.
    ``reasons``: of an adjustment, why each of its quantities comes where it does.
    """

    do: Do
    unit: str
    axles: tuple[int, ...]
    text: str
    why: str
    off: tuple[int, ...] = ()
    stay: tuple[int, ...] = ()
    quantities: tuple[Quantity, ...] = ()
    told: tuple[int, ...] = ()
    reasons: tuple[str, ...] = ()


def steps_of(
    vehicle: Vehicle,
    unit: Unit,
    task: Task,
    start: State,
    legs: Iterable[Leg],
    elsewhere: tuple[int, ...] = (),
) -> Iterator[Step]:
    """Yield the steps of a unit's set-ups; ``elsewhere`` are axles of other units with heads on."""
    words = _Words(vehicle, unit, task)
    before, seen, touched = start.mounted, start.found | start.tied, start.touched
    for leg in legs:
        fresh_look = leg.fresh & ~seen & ~touched
        if leg.fresh:
            yield words.mount(leg, before & ~leg.mounted, fresh_look, elsewhere)
            elsewhere = ()
        told = sum(event.axles for event in leg.events if event.act is Act.FOUND)
        if fresh_look or told:
            yield words.found(fresh_look or told, told)
        for event in leg.events:
            if event.act is Act.ADJUST:
                touched |= event.axles
                yield words.adjust(event.axles, leg)
            elif event.act is Act.LEFT:
                yield words.left(event.axles)
        before, seen = leg.mounted, seen | leg.fresh


@dataclass(frozen=True, slots=True)
class _Words:
    vehicle: Vehicle
    unit: Unit
    task: Task

    @property
    def reference(self) -> int:
        (number,) = self.task.numbers(self.task.reference)
        return number

    @property
    def line(self) -> str:
        """The line that the reference axle is told against."""
        if self.task.line:
            return f"the centre line through {named(self.task.numbers(self.task.line))}"
        return f"the line from the pin to axle {self.reference}"

    def mount(self, leg: Leg, off: Bits, fresh_look: Bits, elsewhere: tuple[int, ...]) -> Step:
        """Return the step that puts heads on."""
        axles = self._in_order(leg.fresh)
        gone, stay = (*elsewhere, *self.task.numbers(off)), self.task.numbers(leg.stayed)
        text = f"Mount a pair of heads on {named(axles)}"
        if len(axles) > 1:
            text = f"Mount pairs of heads on {named(axles)}"
        if gone:
            text += f", taking {'that' if len(gone) == 1 else 'those'} off {named(gone)}"
        if stay:
            text += f"; {'that' if len(stay) == 1 else 'those'} on {named(stay)} stay"
            text += "s" if len(stay) == 1 else ""
        text += f". Turn the wheels of {named(axles)} for their run-out"
        text += "." if not stay else ", without moving the others."
        wants: dict[str, list[int]] = {}
        for number in axles:
            wants.setdefault(self._wanted(number, leg, fresh_look), []).append(number)
        why = "; ".join(
            f"{named(each)} {'is' if len(each) == 1 else 'are'} {want}"
            for want, each in wants.items()
        )
        if stay:
            why += f"; what stays on {named(stay)} ties it to what was read before"
        return Step(Do.MOUNT, self.unit.id, axles, text, f"{why}.", gone, stay)

    def _in_order(self, bits: Bits) -> tuple[int, ...]:
        """Return axles as they are mounted: the reference, the line's other end, front to rear."""
        first = (self.task.reference, self.task.line & ~self.task.reference)
        order = [n for group in first for n in self.task.numbers(bits & group)]
        return (*order, *(n for n in self.task.numbers(bits) if n not in order))

    def _wanted(self, number: int, leg: Leg, fresh_look: Bits) -> str:
        here = self.task.bits([number])
        acts = {event.act for event in leg.events if event.axles & here}
        if here == self.task.reference:
            return "what the others are told against"
        if here & self.task.line and self.task.reference & leg.mounted:
            return f"an end of {self.line}"
        to = ["measured"] if here & fresh_look else []
        to += ["adjusted"] if Act.ADJUST in acts else []
        if to:
            return f"still to be {' and '.join(to)}"
        return "needed to join the sightlines of the others"

    def found(self, axles: Bits, told: Bits) -> Step:
        """Return the step that measures as found."""
        numbers, known = self._in_order(axles), self._in_order(told)
        text = f"Measure {named(numbers)} as found."
        later = self.task.numbers(axles & ~told)
        if later:
            what = self.line if axles & self.task.reference else "the reference axle"
            heading = "heading of {} is" if len(later) == 1 else "headings of {} are"
            text += f" The {heading.format(named(later))} known once {what} is read too."
        before = self.task.numbers(told & ~axles)
        if before:
            text += f" With it {named(before)} {'is' if len(before) == 1 else 'are'} known as well."
        return Step(Do.FOUND, self.unit.id, numbers, text, AS_FOUND, told=known)

    def adjust(self, here: Bits, leg: Leg) -> Step:
        """Return the step that adjusts an axle."""
        (number,) = self.task.numbers(here)
        axle = self.vehicle.axle(number)
        what = ", ".join(WORDS[quantity] for quantity in axle.quantities)
        text = f"Adjust axle {number}: {what}."
        (place,) = (i for i, n in enumerate(self.task.axles) if n == number)
        against = self.task.numbers(self.task.against[place])
        if here == self.task.reference:
            why = f"the others are told against axle {number}, so it is set first, to {self.line}"
        elif here & self.task.steers:
            why = f"it is told against {named(against)}, settled by now, and steer axles come last"
        else:
            why = f"it is told against {named(against)}, which is settled"
        away = self.task.numbers(self.task.against[place] & ~leg.mounted)
        if away:
            why += f"; the heads that stayed carry {named(away)} over"
        return Step(
            Do.ADJUST,
            self.unit.id,
            (number,),
            text,
            f"{why}.",
            quantities=axle.quantities,
            reasons=tuple(WHY[quantity] for quantity in axle.quantities),
        )

    def left(self, axles: Bits) -> Step:
        """Return the step that measures as left."""
        numbers = self._in_order(axles)
        text = f"Measure {named(numbers)} as left."
        moved = axles & self.task.works
        why = "what was known of it does not hold since it was adjusted"
        if not moved:
            why = "what it is told against was adjusted"
        return Step(Do.LEFT, self.unit.id, numbers, text, f"{why}.")
