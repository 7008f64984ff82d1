"""``levelhead demo``: a whole alignment of a simulated vehicle, beside the simulator's truth.

Plan, turns, as found, what published advice says to turn, as left, and the report.
"""

import argparse
import asyncio
import sys
from pathlib import Path

from rich.console import Console

from ingest.commands.align_bay import (
    FLAGSHIP,
    SHORT,
    Alignment,
    Wish,
    add_common,
    aligning,
    folder_for,
    quiet,
    see_writable,
    vehicle_names,
)
from ingest.commands.align_ears import StoryError
from ingest.commands.align_records import drift_lines
from ingest.commands.align_stay import another, until_interrupted
from ingest.commands.align_telling import Telling, save_picture, tell_cost, tell_end
from ingest.commands.align_truth import agreement
from ingest.commands.demo_plugs import emulated, on_ptys, over_the_air

EXIT_DISAGREES = 1
PICTURE_WIDTH = 100


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "--vehicle",
        choices=[*vehicle_names(), *SHORT],
        default=FLAGSHIP,
        metavar="NAME",
        help=f"{', '.join(vehicle_names())} (default {FLAGSHIP})",
    )
    add_common(parser, seed=17)
    parser.add_argument(
        "--stay",
        action="store_true",
        help="keep running at the end: lead a job of your own on the page",
    )
    how = parser.add_mutually_exclusive_group()
    how.add_argument(
        "--ble", action="store_true", help="heads on Bluetooth LE, by a daemon that is played"
    )
    how.add_argument(
        "--emulated-heads", action="store_true", help="the C example head, on emulated boards"
    )
    parser.add_argument(
        "--capture", metavar="FILE.mcap", type=Path, help="keep all that happens in a new file"
    )
    parser.add_argument(
        "--records",
        metavar="DIR",
        type=Path,
        help="calibration records of these heads, as a bench made them (default: drawn)",
    )
    parser.add_argument(
        "--picture", metavar="FILE.svg", type=Path, help="save the end of the screen as a picture"
    )


def run(args: argparse.Namespace) -> int:
    """Run the demo. Exit 0 when results and truth agree within their uncertainties."""
    see_writable(args.report)
    see_writable(None if args.picture is None else args.picture.absolute().parent)
    console = Console(
        record=args.picture is not None, width=PICTURE_WIDTH if args.picture else None
    )
    telling = Telling(console)
    quiet(telling)
    try:
        agrees = asyncio.run(_demo(args, telling))
    except StoryError as error:
        telling.close()
        print(f"levelhead demo: {error}", file=sys.stderr)
        return EXIT_DISAGREES
    return 0 if agrees else EXIT_DISAGREES


async def _demo(args: argparse.Namespace, telling: Telling) -> bool:
    wish = Wish(
        "demo",
        SHORT.get(args.vehicle, args.vehicle),
        args.seed,
        port=args.port,
        plugged=over_the_air if args.ble else emulated if args.emulated_heads else on_ptys,
        records=args.records,
        capture=args.capture,
    )
    async with aligning(wish, telling) as alignment:
        await alignment.lead()
        folder = folder_for(args)
        agrees = _tell(args, telling, alignment, folder)
        if args.stay:
            telling.say(f"staying until Ctrl-C at {alignment.page.url} and port {alignment.port}")
            await until_interrupted(another(alignment, telling, folder))
    return agrees


def _tell(args: argparse.Namespace, telling: Telling, alignment: Alignment, folder: Path) -> bool:
    """Tell the end of the alignment, write its papers; say whether it agrees with the truth."""
    found, left = alignment.as_found, alignment.as_left()
    if args.picture is not None:
        telling.console.export_text()  # forgets what was recorded: the picture is of the end
    tell_end(telling, alignment, found, left)
    job, parts, drawn = alignment.job, alignment.witness.parts, args.records is None
    read_again = [r for topic, r in job.left.items() if topic not in job.stale]
    judged = {
        "found": agreement(job.found.values(), parts, found, drawn=drawn),
        "left": agreement(read_again, parts, left, drawn=drawn),
    }
    for state, each in judged.items():
        telling.say(f"as {state}: {each.verdict}", style="bold")
    for line in drift_lines(alignment.records, alignment.demo.records):
        telling.say(line)
    tell_cost(telling, alignment)
    pdf = alignment.write(folder)
    telling.say(f"report: {pdf} (HTML and record beside it, not signed)")
    if args.picture is not None:
        save_picture(telling.console, args.picture)
    return all(each.holds for each in judged.values())
