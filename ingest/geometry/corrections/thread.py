"""A rod, arm or bolt whose length is set by turning a thread."""

import math
from dataclasses import dataclass

from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.corrections.wanted import LEAVE, Step
from ingest.geometry.corrections.words import millimetres, turned

TURN_STEP_RAD = 5.0 * DEG
"""How finely a tube can be set by hand with a wrench (our own guess)."""

LENGTHEN, SHORTEN = "lengthen", "shorten"


@dataclass(frozen=True, slots=True)
class Turning:
    """Which way to turn; ``seen_from`` completes the words "seen from"."""

    clockwise: bool
    seen_from: str

    def words(self, *, reverse: bool) -> str:
        """Return the direction, or the opposite one."""
        way = "clockwise" if self.clockwise != reverse else "counter-clockwise"
        return f"{way}, seen from {self.seen_from}"


@dataclass(frozen=True, slots=True)
class Thread:
    """The threads that turn together, with what they allow.

    ``pitches_m`` has the pitch at each end that screws, one or two; two are of opposite hand,
    so that a turn counts at both ends. ``longer_m`` and ``shorter_m`` are the travel left, None
    where nobody stated it. ``lengthens`` is the turning that makes the part longer.
    """

    pitches_m: tuple[float, ...]
    step_rad: float = TURN_STEP_RAD
    lengthens: Turning | None = None
    longer_m: float | None = None
    shorter_m: float | None = None

    @property
    def per_turn_m(self) -> float:
        """Change of length in one turn."""
        return math.fsum(self.pitches_m)

    def settable_m(self, length_m: float) -> float:
        """Return the change nearest to ``length_m`` that is a whole number of steps, and within
        the travel where ``length_m`` is."""
        step_m = self.per_turn_m * self.step_rad / math.tau
        steps = round(length_m / step_m)
        if not self.within(steps * step_m):
            steps -= int(math.copysign(1, length_m))
        return steps * step_m

    def within(self, length_m: float) -> bool:
        """Whether the travel left allows this change."""
        left_m = self.longer_m if length_m > 0 else self.shorter_m
        return left_m is None or abs(length_m) <= left_m


def turn(
    part: str,
    thread: Thread,
    length_m: float,
    *,
    side: Side | None = None,
    longer: str = LENGTHEN,
    shorter: str = SHORTEN,
) -> tuple[Step, float]:
    """Return the step that changes a part by ``length_m``, and the change that it really makes.

    ``longer`` and ``shorter`` are the verbs of the text.
    Raises: ``MeasurementRefused`` (``beyond-travel``) where the travel left is not enough.
    """
    verb = longer if length_m > 0 else shorter
    set_m = thread.settable_m(length_m)
    if not thread.within(length_m):
        left_m = thread.longer_m if length_m > 0 else thread.shorter_m
        raise beyond_travel(part, abs(length_m), left_m or 0.0)
    turn_rad = length_m / thread.per_turn_m * math.tau
    set_rad = set_m / thread.per_turn_m * math.tau
    action, text = verb, f"Leave the {part} as it is: less than one step of its thread."
    if set_m == 0:
        action = LEAVE
    else:
        text = f"{verb.capitalize()} the {part} by {millimetres(set_m)}: turn it {turned(set_rad)}"
        if thread.lengthens is not None:
            text += f" {thread.lengthens.words(reverse=length_m < 0)}"
        elif verb in (LENGTHEN, SHORTEN):
            text += f" the way that {verb}s it"
        text += "."
    return Step(part, action, text, side, length_m, turn_rad, set_rad), set_m


def beyond_travel(part: str, needed_m: float, left_m: float) -> MeasurementRefused:
    """Return the refusal of a move that the adjuster cannot make."""
    return MeasurementRefused(
        "beyond-travel",
        f"{part}: a move of {needed_m * 1e3:.2f} mm is needed, its travel leaves "
        f"{left_m * 1e3:.2f} mm; "
        "look for worn, bent or wrong parts, and ask the vehicle maker before anything is turned",
        figure=needed_m * 1e3,
        limit=left_m * 1e3,
    )
