"""What happens in the simulated cases, and what must come of it.

Nothing expected here is read from the program: truths are the simulator's, and whether a turn
must be refused follows from what was done to it.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from bay import AXLE, ON, CapturedBay

from ingest.commands.demo_rig import DemoRig
from ingest.core.blocks import F64
from ingest.core.errors import LinkLost
from ingest.core.units import DEG
from ingest.simulator.clamp import Clamping
from ingest.simulator.head import Seat
from ingest.simulator.sensors import Warming
from ingest.simulator.truth import vehicle_truth
from ingest.simulator.vehicle import WheelAt

Expected = list[dict[str, Any]]
Strike = Callable[[CapturedBay], None]

ONE = ("alder",)
CLAMPED = Clamping(
    runout_rad=1.2 * DEG,
    runout_at_rad=0.7,
    eccentricity_m=0.002,
    eccentricity_at_rad=2.0,
    encoder_at_rad=-1.1,
)
"""A clamp seated as carelessly as people do: what disturbs a turn shows."""

STRIKE_S = 0.5
"""In the middle of the move to the third stop."""

U_DEG = 0.15
"""A camber known less well than this is of no use, however true."""


@dataclass(frozen=True, slots=True)
class Story:
    """One case: what happens in words, and how it is played; returns what must come of it."""

    about: str
    play: Callable[[CapturedBay], Expected]
    heads: tuple[str, ...] = ONE
    alter: Callable[[DemoRig], None] | None = None


def mount(bay: CapturedBay) -> None:
    """Clamp the heads on, say where, lift the axle."""
    for name in bay.names:
        head, wheel = bay.demo.heads[name], ON[name]
        bay.demo.rig.mount(head, wheel, CLAMPED, bay.clock() + 0.05)
        bay.ask("wheel", name, axle=wheel.axle, side=wheel.side.value)
    bay.demo.technician.jack(AXLE)
    bay.advance(2.5)


def take(bay: CapturedBay, name: str) -> None:
    """Take a stop; where the head still moves, try again as people do."""
    for _ in range(8):
        if bay.ask("stop-take", name)["code"] != "head-moving":
            return
        bay.advance(0.5)


def stops(bay: CapturedBay, strike: Strike | None = None) -> None:
    """Turn all wheels at once in three stops, and close the turn."""
    for name in bay.names:
        bay.ask("turn-begin", name)
    plans = [bay.demo.technician.stops(ON[name], 3) for name in bay.names]
    for number, steps in enumerate(zip(*plans, strict=True), start=1):
        if number == 3 and strike is not None:
            strike(bay)
        bay.advance(max(step.wait_s for step in steps) + 0.6)
        for name in bay.names:
            take(bay, name)
    for name in bay.names:
        bay.ask("turn-end", name)


def turned(strike: Strike | None, ends: str) -> Callable[[CapturedBay], Expected]:
    """Return a play of one whole measurement that is struck once, on the way to stop 3."""

    def play(bay: CapturedBay) -> Expected:
        mount(bay)
        hanging = truths(bay)
        stops(bay, strike)
        return settle(bay, hanging, ends)

    return play


def truths(bay: CapturedBay) -> dict[str, float]:
    """Return what is true of the wheels as they are now, by topic of the result, degrees."""
    now = vehicle_truth(bay.demo.rig.vehicle, bay.clock())
    found = {result(ON[name]): now.wheels[ON[name]].camber_rad / DEG for name in bay.names}
    if len(bay.names) > 1:
        found[f"axle/{AXLE}/both/total-toe"] = now.axles[AXLE].total_toe_rad / DEG
    return found


def result(wheel: WheelAt) -> str:
    """Return the topic of a wheel's camber."""
    return f"axle/{wheel.axle}/{wheel.side.value}/camber"


def settle(bay: CapturedBay, hanging: dict[str, float], ends: str) -> Expected:
    """Let the axle down, wait for results; return what must be said, and when.

    Until the axle is down, what is said of a wheel holds for the wheel as it hung; afterwards
    for the wheel as it stands. How wheels stray from what is built each time they are let down
    is in U, but one case cannot test that: one in twenty would stray further.
    """
    bay.advance(1.5)
    bay.demo.technician.lower(AXLE)
    down_s = round(bay.demo.rig.vehicle.axle_state[AXLE].lift.end_s, 3)
    bay.advance(6.5)
    standing = truths(bay)
    expected = [
        right(f"head/{name}/runout", "camber", hanging[result(ON[name])], ends)
        for name in bay.names
    ]
    if ends == "refused":
        refused = {"state": "refused", "q": "bad"}
        expected += [{"topic": f"head/{name}/runout", "last": refused} for name in bay.names]
    if ends == "right":
        moving = {"q": "stale", "why": "moving"}
        expected += [{"topic": topic, "some": moving} for topic in hanging]
    for topic, truth in hanging.items():
        hung = "said" if ends == "right" else ends
        expected.append(right(topic, "value", truth, hung) | {"until_s": down_s})
        stands = right(topic, "value", standing[topic], ends)
        expected.append(stands | {"from_s": down_s})
    return expected


def right(topic: str, quantity: str, truth: float, ends: str) -> dict[str, Any]:
    """Expect a quantity to be within its U of the truth whenever it is said."""
    return {"topic": topic, "truth": {quantity: round(truth, 6)}, "U": U_DEG, "ends": ends}


def reseated(change: Callable[[Clamping], Clamping]) -> Strike:
    """Return a strike that changes how the clamp of alder sits."""

    def strike(bay: CapturedBay) -> None:
        at_s = bay.clock() + STRIKE_S
        bay.demo.heads["alder"].seats.append((at_s, Seat(ON["alder"], change(CLAMPED))))

    return strike


def knock(bay: CapturedBay) -> None:
    """Knock the clamp askew by half a degree; the head swings."""
    reseated(lambda c: replace(c, runout_at_rad=c.runout_at_rad + 0.42))(bay)
    bay.demo.rig.knock(ON["alder"], bay.clock() + STRIKE_S, 8.0 * DEG)


def slip(clamping: Clamping) -> Clamping:
    """Turn the clamp on the rim as one piece: the cone that it describes stays what it was.

    Nothing that the head reads is other than if the wheel had stood 6 degrees further round, so
    no reading is wrong, and there is no ground to refuse one.
    """
    by = 6.0 * DEG
    return replace(
        clamping,
        runout_at_rad=clamping.runout_at_rad + by,
        eccentricity_at_rad=clamping.eccentricity_at_rad + by,
        encoder_at_rad=clamping.encoder_at_rad + by,
    )


def skip(clamping: Clamping) -> Clamping:
    """Let the encoder's disc jump by ten degrees."""
    return replace(clamping, encoder_at_rad=clamping.encoder_at_rad + 10.0 * DEG)


def unplugged(bay: CapturedBay) -> None:
    """Pull the cable for two seconds; the head has a battery and goes on."""
    bay.unplug("alder", LinkLost("alder", "the port went away"))
    bay.advance(2.0)
    bay.open("alder", 1)


def reset(bay: CapturedBay) -> None:
    """Let the head start anew, as after a dip of its supply."""
    bay.advance(STRIKE_S)
    bay.give("alder", bay.demo.ptys["alder"].firmware.restart(bay.clock()))


def rolled_back(bay: CapturedBay) -> Expected:
    """Let the wheel roll back by 25 degrees after each stop's move, and stop there."""
    mount(bay)
    hanging = truths(bay)
    spin = bay.demo.rig.vehicle.wheel_state[ON["alder"]].spin
    bay.ask("turn-begin", "alder")
    bay.advance(2.5)
    take(bay, "alder")
    for _ in range(3):
        start = spin.last
        spin.move(bay.clock() + 0.05, start + 145.0 * DEG, 0.9)
        spin.move(bay.clock() + 1.2, start + 120.0 * DEG, 0.6)
        bay.advance(5.0)
        take(bay, "alder")
    bay.ask("turn-end", "alder")
    return settle(bay, hanging, "right")


def paused(bay: CapturedBay) -> Expected:
    """Turn slowly through, and rest half way for a moment, which spoils nothing."""
    mount(bay)
    hanging = truths(bay)
    spin = bay.demo.rig.vehicle.wheel_state[ON["alder"]].spin
    bay.ask("turn-begin", "alder")
    for part_deg in (190.0, 180.0):
        spin.move(bay.clock() + 0.05, spin.last + part_deg * DEG, 5.0, ramp=0.1)
        bay.advance(6.5)
    bay.ask("turn-end", "alder")
    return settle(bay, hanging, "right")


def swinging(bay: CapturedBay) -> Expected:
    """Ask for a stop while the head swings on a shaft without friction; then wait."""
    mount(bay)
    hanging = truths(bay)

    def strike(bay: CapturedBay) -> None:
        bay.demo.rig.knock(ON["alder"], bay.clock() + 1.0, 6.0 * DEG)
        bay.advance(1.5)
        bay.ask("stop-take", "alder")
        bay.advance(6.0)

    stops(bay, strike)
    refused = {"topic": "reply/case", "some": {"ok": False, "code": "head-moving"}}
    return [*settle(bay, hanging, "right"), refused]


def let_swing(demo: DemoRig) -> None:
    """Take the damping from alder."""
    swing = demo.heads["alder"].swing
    swing.pendulum = replace(swing.pendulum, decay_s=1.5)


@dataclass(frozen=True, slots=True)
class Draught(Warming):
    """A door is opened: the head cools by 20 degrees within some seconds."""

    def at(self, t_s: F64) -> F64:
        """Return the temperature at each time."""
        cooled: F64 = self.start_degc - 10.0 * (1.0 + np.tanh((t_s - 9.0) / 2.0))
        return cooled


def in_draught(demo: DemoRig) -> None:
    """Give alder a bias that moves a hundredth of a degree for each degree of temperature."""
    head = demo.heads["alder"]
    head.warming = Draught(start_degc=22.0)
    moves = np.array([0.01, 0.01, 0.0]) * DEG
    head.sensors = replace(head.sensors, tilt=replace(head.sensors.tilt, bias_per_degc=moves))


STORIES = {
    "good-turn": Story(
        "both wheels turned in three stops and let down", turned(None, "right"), tuple(ON)
    ),
    "knock": Story("the clamp is knocked askew between two stops", turned(knock, "refused")),
    "slip": Story(
        "the clamp slips round on the rim as one piece by 6 degrees",
        turned(reseated(slip), "right"),
    ),
    "encoder-skip": Story(
        "the encoder jumps by 10 degrees between two stops", turned(reseated(skip), "refused")
    ),
    "back-roll": Story("the wheel rolls back before each stop", rolled_back),
    "pause": Story("the wheel is turned through slowly, with a rest half way", paused),
    "swinging-head": Story("a stop is asked for while the head swings", swinging, ONE, let_swing),
    "temperature-step": Story(
        "the head cools by 20 degrees during the turn", turned(None, "right"), ONE, in_draught
    ),
    "unplugged": Story("the cable is pulled between two stops", turned(unplugged, "refused")),
    "reset": Story("the head starts anew between two stops", turned(reset, "refused")),
}
