"""What a person is asked to do about the trouble of a steering sweep, in words."""

from ingest.core.channels import Channel
from ingest.core.frames import Side
from ingest.geometry.sweep.guided import Trouble

LOST_PLATE = "the turn plate is not read: let the wheel stand on it, look at its plug"
LOST_SIGHT = (
    "sightline lost: steer back until the head sees its partner again (its angle range ends here), "
    "clear what is in between"
)
LOST_CROSS = (
    "cross sightline lost: steer back until both heads see each other again (their angle range "
    "ends here), clear what is in between"
)
LOST = {Channel.STEER: LOST_PLATE, Channel.AZIMUTH_CROSS: LOST_CROSS}
DO = {
    Trouble.TOO_FAST: "steer slower",
    Trouble.TURNED_BACK: "steer further before you steer back",
    Trouble.NOT_HELD: "hold the brake, lock the head, begin again straight ahead",
    Trouble.NOT_CLOSED: "hold the brake, lock the head, begin again straight ahead, steer slowly",
    Trouble.REVERSED: "a sign is reversed: look at which wheel the head is on",
    Trouble.SCATTER: "something moves that should not: brake, lock, axle; begin again",
}


def doing(trouble: Trouble, by: Channel) -> str:
    """Return what to do about it; ``by`` is what tells the steering."""
    if trouble is Trouble.SIGHTLINE_LOST:
        return LOST.get(by, LOST_SIGHT)
    return DO[trouble]


def unseen(side: Side) -> str:
    """Return why the lock angle of a wheel is not told."""
    return (
        f"lock angle of the {side.value} wheel not told: its sightline was lost before it came to "
        "the stop; let the wheel stand on a turn plate that its head reads, sweep again"
    )
