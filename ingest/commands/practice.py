"""``levelhead practice``: the alignment of the demo for a person who learns.

With troubles to find, on any vehicle, by hand or by itself; the truth is told at the end, beside
what was measured and what it took.
"""

import argparse
import asyncio
import sys

from rich.console import Console

from ingest.commands.align_bay import (
    FLAGSHIP,
    USUAL,
    Wish,
    add_common,
    aligning,
    folder_for,
    quiet,
    see_writable,
    vehicle_names,
)
from ingest.commands.align_ears import StoryError
from ingest.commands.align_stay import another, invitation, until_interrupted
from ingest.commands.align_telling import Telling, tell_cost, tell_end
from ingest.simulator.practice import Trouble

EXIT_FAILED = 1


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "vehicle",
        nargs="?",
        default=FLAGSHIP,
        choices=vehicle_names(),
        help=f"which (default {FLAGSHIP})",
    )
    add_common(parser, seed=11)
    parser.add_argument(
        "--trouble",
        action="append",
        choices=[each.value for each in Trouble],
        help="what is wrong, several times for more (default: skewed-axles and toe)",
    )
    parser.add_argument("--limits", help="limit set (default: the vehicle's own, or general)")
    parser.add_argument(
        "--by-hand",
        action="store_true",
        help="you lead, on the page that is named or with levelhead job",
    )
    parser.add_argument(
        "--sweep", action="store_true", help="sweep the steering, too (most of a minute an axle)"
    )


def run(args: argparse.Namespace) -> int:
    """Practise. Exit 0 when the job is finished."""
    see_writable(args.report)
    telling = Telling(Console())
    quiet(telling)
    try:
        return asyncio.run(_practise(args, telling))
    except StoryError as error:
        telling.close()
        print(f"levelhead practice: {error}", file=sys.stderr)
        return EXIT_FAILED


async def _practise(args: argparse.Namespace, telling: Telling) -> int:
    wish = Wish(
        "practice",
        args.vehicle,
        args.seed,
        troubles=USUAL if args.trouble is None else tuple(map(Trouble, args.trouble)),
        limits=args.limits,
        port=args.port,
        sweeps=args.sweep,
    )
    async with aligning(wish, telling) as alignment:
        folder = folder_for(args)
        if args.by_hand:
            telling.say(invitation(alignment), style="bold")
            await alignment.story.follow_lead()
        else:
            await alignment.lead()
        tell_end(telling, alignment, alignment.as_found, alignment.as_left())
        for trouble, where in alignment.practice.troubles.items():
            telling.say(f"{trouble.value}: {where}")
        tell_cost(telling, alignment)
        pdf = alignment.write(folder)
        telling.say(f"report: {pdf} (HTML and record beside it, not signed)")
        closed = alignment.job.closed
        if args.by_hand:  # whoever led reads the report on the page, and may lead another job
            await until_interrupted(another(alignment, telling, folder))
    return 0 if closed is not None and closed.finished else EXIT_FAILED
