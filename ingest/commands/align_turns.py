"""Hands that turn wheels, and turn them again where something came between."""

import asyncio
import contextlib
from collections.abc import Collection

from ingest.commands.align_clamps import ONLINE_S, Clamps
from ingest.commands.align_ears import Declined, StoryError
from ingest.core.frames import Side
from ingest.simulator.vehicle import WheelAt

STOPS = 3
TURNS = 3
"""So often a wheel is turned whose turn is refused: whoever turns it is told to begin it again."""
PRESSES = 15
PRESS_S = 1.0
BEGIN_AGAIN = ("refused", "head-offline", "head-moving", "not-turning", "already-turning")
"""Codes of what is declined for now: a turn or a sweep that broke off, or a head that was not
heard."""
SEAT = "seat it"
"""What the bay says of a turn in which the clamp moved: to clamp it on anew is of use."""


class NoStop(StoryError):
    """A head's button took no stop."""


class Turns(Clamps):
    """Turns wheels, and settles what was moved."""

    async def turn(self, axles: Collection[int]) -> str:
        """Lift axles, turn their wheels, one side after the other, and let them down."""
        await self._wait(*(self._demo.technician.jack(axle) for axle in axles))
        for side in Side:
            wheels = [w for w in self._on if w.side is side and w.axle in axles]
            await asyncio.gather(*(self._turn(wheel, self._on[wheel]) for wheel in wheels))
        await self._wait(*(self._demo.technician.lower(axle) for axle in axles))
        self._moved(axles)
        turned = sum(wheel.axle in axles for wheel in self._on)
        return f"run-out found at {turned} wheels{self._begun_again('turned')}"

    async def turn_again(self) -> str:
        """Turn again where a clamp slipped, and settle; seat anew what did not hold there either.

        At first it sits firm where it slipped to. Return what was done.
        """
        axles, void, seated = sorted(self.loosened), self._void, []
        for wheel, name in [each for each in self._on.items() if each[1] in void]:
            again = name in self._slipped
            self._turned.discard(name)
            self._slipped.add(name)
            if again:
                await self._seat_anew(name, wheel)
                seated.append(f"{name} seated anew, ")
        await self.turn(axles)
        await self.settle(axles)
        where = f"axle{'' if len(axles) == 1 else 's'} {', '.join(map(str, axles))}"
        return f"{''.join(seated)}turned again: {where}"

    async def settle(self, axles: Collection[int]) -> None:
        """Jounce axles until they sit as they run."""
        steps = [self._demo.technician.jounce(axle) for axle in axles]
        self._moved(axles)
        await self._wait(*steps)

    def _begun_again(self, done: str) -> str:
        """Tell, once, what was done once more, and why."""
        again = "".join(f"; {done} again: {why}" for why in self._refused)
        self._refused.clear()
        return again

    async def _turn(self, wheel: WheelAt, name: str) -> None:
        """Turn one wheel, again where that is refused or broke off."""
        for tried in range(1, TURNS + 1):
            try:
                await self._turn_once(wheel, name)
                return
            except (Declined, NoStop) as error:
                text = error.text if isinstance(error, Declined) else str(error)
                if not _may_begin_again(error) or tried == TURNS:
                    raise
                self._refused.append(f"{wheel}: {text}")
                await self._leave_turn(name)
                if tried > 1 and SEAT in text:
                    await self._seat_anew(name, wheel)

    async def _leave_turn(self, name: str) -> None:
        """Have a turn that cannot be finished ended, and wait until its head is heard again."""
        await self._heard([name])
        with contextlib.suppress(Declined):  # it is over already where the bay said so itself
            await self._ears.ask("turn-end", head=name)

    async def _heard(self, names: Collection[str]) -> None:
        """Wait until heads are heard."""
        statuses = self._ears.statuses
        await self._ears.until(
            lambda: all(n in statuses and statuses[n].state == "online" for n in names),
            ONLINE_S,
            f"{' and '.join(names)} heard again",
        )

    async def _turn_once(self, wheel: WheelAt, name: str) -> None:
        """Turn one wheel; its partner across stands still meanwhile."""
        self._ears.runouts.pop(name, None)
        await self._ears.ask("turn-begin", head=name)
        if wheel.axle % 2 == 0 and wheel.side is Side.RIGHT:
            await self._wait(self._demo.technician.through(wheel))
        else:
            for step in self._demo.technician.stops(wheel, STOPS):
                await self._wait(step)
                await self._press(name)
        await self._ears.ask("turn-end", head=name)
        self._turned.add(name)

    async def _press(self, name: str) -> None:
        """Press the head's button until the stop is taken: a lost frame costs a second try."""
        pressed = self._ears.pressed
        for _ in range(PRESSES):
            pressed.pop(name, None)
            self._plugs.press(name)
            with contextlib.suppress(StoryError):  # the press itself may have been lost
                await self._ears.until(lambda: name in pressed, PRESS_S, "an answer")
            if pressed.get(name) == "stop-taken":
                return
            if self._ears.runouts.get(name) == "refused":
                raise NoStop(f"the turn of {name} broke off")
            await asyncio.sleep(PRESS_S / 4)
        raise NoStop(f"the button of {name} took no stop: {pressed.get(name)}")


def _may_begin_again(error: Declined | NoStop) -> bool:
    return isinstance(error, NoStop) or error.code in BEGIN_AGAIN
