"""Make cases: captures with what must come of them, each in a folder of tests/cases/.

``add`` takes a capture of a bay. ``simulate`` makes the cases of simulated heads.
"""

import argparse
import json
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from bay import CapturedBay
from stories import STORIES

from ingest.capture.reader import read_capture
from ingest.capture.writer import CaptureWriter
from ingest.core.errors import InputError
from ingest.core.recording import Record
from ingest.core.units import NS
from ingest.payload.cmd import Request
from ingest.service.player import Player

CASES = Path(__file__).parents[2] / "tests" / "cases"
MOST_BYTES = 200_000
TELLING = ("/runout", "/camber", "/total-toe", "/svc/alert/", "/reply/")
"""Topics that a case is mostly about."""


class Retained:
    """An outlet that keeps the last payload of each topic."""

    def __init__(self) -> None:
        self.last: dict[str, bytes] = {}

    def publish(
        self, topic: str, payload: bytes, *, retain: bool, qos: int, expiry_s: float | None
    ) -> None:
        """Keep a message."""
        self.last[topic] = payload

    def reply(self, request: Request, payload: bytes) -> None:
        """Keep an answer."""
        self.last[request.reply_topic or "-"] = payload


def main(argv: list[str] | None = None) -> int:
    """Run. Exit 2 on bad input, with one line."""
    parser = argparse.ArgumentParser(prog="tools/case", description=__doc__)
    parser.add_argument("--cases", type=Path, default=CASES, help=argparse.SUPPRESS)
    ways = parser.add_subparsers(required=True, metavar="add|simulate")
    add = ways.add_parser("add", help="make a case of a capture")
    add.add_argument("file", type=Path, metavar="FILE.mcap")
    add.add_argument("name", help="name of the new folder: what went wrong, in a word or two")
    add.add_argument("--about", required=True, help="one sentence: what was done at the vehicle")
    add.add_argument("--until-s", type=float, help="leave out what came later")
    add.set_defaults(run=lambda a: added(a.cases / a.name, a.file, a.about, a.until_s))
    simulate = ways.add_parser("simulate", help="make simulated cases that are not there")
    simulate.add_argument("names", nargs="*", metavar="NAME", help=", ".join(STORIES))
    simulate.add_argument("--seed", type=int, default=21, help="draws the heads (default 21)")
    simulate.set_defaults(run=lambda a: simulated(a.cases, a.names or list(STORIES), a.seed))
    args = parser.parse_args(argv)
    try:
        args.run(args)
    except InputError as error:
        print(f"tools/case: {error}", file=sys.stderr)
        return 2
    return 0


def simulated(cases: Path, names: Iterable[str], seed: int) -> None:
    """Play stories; write captures, and what must come of them by the simulator's truth."""
    for name in names:
        story = STORIES.get(name)
        if story is None:
            raise InputError(name, None, f"no such story; there are: {', '.join(STORIES)}")
        folder = made(cases / name)
        writer = CaptureWriter(folder / "capture.mcap", complain)
        bay = CapturedBay(writer, seed, story.heads, story.alter)
        expect = story.play(bay)
        writer.close()
        write(folder, story.about, f"simulated, seed {seed}: tools/case simulate {name}", expect)


def added(folder: Path, file: Path, about: str, until_s: float | None) -> None:
    """Make a case of a capture; show what it says now, for a person to say what it should."""
    capture = read_capture(file)
    for remark in capture.remarks:
        print(remark, file=sys.stderr)
    records = capture.records
    if until_s is not None:
        records = tuple(r for r in records if r.at_ns - records[0].at_ns <= until_s * NS)
    said = Retained()
    player = Player(str(file), records, said)
    for record in player.records:
        player.play(record)
    copy(records, made(folder))
    write(folder, about, "a capture of a bay", [])
    for topic, payload in said.last.items():
        if payload and any(word in topic for word in TELLING):
            print(topic.split("/", 3)[3], payload.decode())
    print(f"Now write into {folder / 'expected.json'} what should have been said.")


def copy(records: tuple[Record, ...], folder: Path) -> None:
    """Write records into a case's capture."""
    path = folder / "capture.mcap"
    writer = CaptureWriter(path, complain)
    for record in records:
        writer.note(record.topic, record.data, record.at_ns, record.wall_ns)
    writer.close()
    if path.stat().st_size > MOST_BYTES:
        print(f"{path} has {path.stat().st_size} bytes; cut it with --until-s", file=sys.stderr)


def write(folder: Path, about: str, source: str, expect: list[dict[str, Any]]) -> None:
    """Write what must come of a case."""
    said = {"about": about, "source": source, "expect": expect}
    (folder / "expected.json").write_text(json.dumps(said, indent=2) + "\n", encoding="utf-8")


def made(folder: Path) -> Path:
    """Make a folder that was not there."""
    try:
        folder.mkdir(parents=True)
    except FileExistsError as error:
        reason = "is there already; a case is never overwritten"
        raise InputError(str(folder), None, reason) from error
    return folder


def complain(text: str) -> None:
    """Say what is wrong with a file that is being written."""
    print(text, file=sys.stderr)


if __name__ == "__main__":
    sys.exit(main())
