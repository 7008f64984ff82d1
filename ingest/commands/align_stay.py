"""Jobs that a person leads from the page or a terminal, one after the other, until Ctrl-C.

The simulated hands do what each step asks of hands; whoever leads does all the rest.
"""

import asyncio
import contextlib
import signal
from collections.abc import Awaitable
from pathlib import Path

import numpy as np

from ingest.commands.align_bay import Alignment, limits_of
from ingest.commands.align_telling import Telling
from ingest.simulator.adjusting.adjusters import Adjusters
from ingest.simulator.adjusting.errors import NotAtHand, Stuck
from ingest.simulator.streams import stream

LEAST_TURNS, MOST_TURNS = 0.25, 0.75
"""So far each thread is turned between two jobs, that there is something to find again."""


async def another(alignment: Alignment, telling: Telling, folder: Path) -> None:
    """Lend hands to whoever leads, job after job on a vehicle that was turned at; write papers."""
    random = stream(alignment.wish.seed, "between")
    while True:
        await alignment.hands.take_off()
        turn_about(alignment.practice.adjusters, random)
        telling.say(invitation(alignment), style="bold")
        await alignment.story.follow_lead()
        pdf = alignment.write(folder)
        telling.say(f"report: {pdf}, and on the page under Papers")


def invitation(alignment: Alignment) -> str:
    """Return how to lead a job."""
    wish = alignment.wish
    lead = f"levelhead job --bay {wish.by} --port {alignment.port}"
    return (
        f"you lead, at {alignment.page.url} or by {lead} show; {lead} open {wish.vehicle} "
        f"{limits_of(wish)} --order 1; Ctrl-C ends"
    )


def turn_about(adjusters: Adjusters, random: np.random.Generator) -> None:
    """Turn every thread of a vehicle a bit, either way."""
    for place in adjusters.places:
        turns = random.uniform(LEAST_TURNS, MOST_TURNS) * random.choice((-1.0, 1.0))
        with contextlib.suppress(Stuck, NotAtHand):
            adjusters.turn(place, float(turns))


async def until_interrupted(work: Awaitable[None]) -> None:
    """Do some work until it is over, or until Ctrl-C."""
    task, interrupted = asyncio.ensure_future(work), asyncio.Event()
    task.add_done_callback(lambda _task: interrupted.set())
    for each in (signal.SIGINT, signal.SIGTERM):
        asyncio.get_running_loop().add_signal_handler(each, interrupted.set)
    await interrupted.wait()
    task.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await task
