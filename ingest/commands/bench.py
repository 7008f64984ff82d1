"""``levelhead bench``: the calibration bench in a terminal, step by step."""

import argparse
import asyncio
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

from calibration.bench.capture import CaptureSettings
from calibration.bench.happenings import (
    Begin,
    Cancel,
    Do,
    Effect,
    Event,
    Leave,
    Read,
    Record,
    Save,
    Typed,
)
from calibration.bench.log import log_lines
from calibration.bench.plan import HeadAtHand, Scope, steps_of
from calibration.bench.procedure import Row
from calibration.bench.recording import Recording
from calibration.bench.screen import Live, screen
from calibration.bench.session import Phase, Session, begun
from calibration.bench.steps import Act, Series, Step
from calibration.files.sheet import Sheet
from ingest.commands.bench_acts import Acts
from ingest.commands.bench_folder import REFERENCES, Folder, check_rows
from ingest.commands.bench_heads import Heads, LiveHeads, Seen
from ingest.commands.bench_options import (
    answers_of,
    oven_degc_of,
    previous_of,
    see_key,
    see_which,
)
from ingest.commands.bench_simulated import LETTERS, SimulatedHeads, write_papers
from ingest.commands.bench_terminal import Terminal, terminal_of
from ingest.commands.bench_watch import Watch
from ingest.commands.links import make_links
from ingest.config import load_config
from ingest.core.errors import InputError, MeasurementRefused

TURNED = ("rotation", "azimuth_cross", "azimuth_track")
SIMULATED = Scope(warm_up_s=30.0, still_s=60.0, soak_s=30.0, turned=TURNED)
"""A simulated head is warm, or soaked, already, and its noise is the same all day."""
UNSIGNED = "No --key was given: readings are kept; adjusting and signing wait for one."
EXIT_STOPPED = 3
GOES_ON = "All readings are in {folder}; the same command goes on there."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("folder", metavar="DIR", type=Path, help="where the work's files lie")
    parser.add_argument(
        "--config", metavar="BAY.toml", help="the links of the heads, as for levelhead serve"
    )
    parser.add_argument(
        "--references", metavar="REF.toml", type=Path, help=f"default: DIR/{REFERENCES}"
    )
    parser.add_argument("--key", metavar="FILE", type=Path, help="private key, for signing")
    parser.add_argument(
        "--previous", metavar="R.json", action="append", default=[], help="a head's last record"
    )
    parser.add_argument("--simulated", action="store_true", help="a simulated bench and technician")
    parser.add_argument("--seed", type=int, default=17, help="of the simulated bench (default 17)")
    parser.add_argument(
        "--one-head", action="store_true", help="simulate head A alone, without the bar"
    )
    parser.add_argument(
        "--three-axis", action="store_true", help="simulate heads that also sense the upright axis"
    )
    parser.add_argument(
        "--by-itself", action="store_true", help="with --simulated: nobody has to type anything"
    )
    parser.add_argument(
        "--script", metavar="FILE", help="answers, one a line, instead of the terminal"
    )
    parser.add_argument(
        "--oven",
        metavar="DEGC,...",
        help="soak each head at these temperatures too, such as 5,20,35, for its drift",
    )


def run(args: argparse.Namespace) -> int:
    """Work until all is done or the technician leaves; what was taken is on file."""
    if args.by_itself and not args.simulated:
        raise InputError("--by-itself", None, "belongs to --simulated; a real head needs hands")
    if not args.simulated and args.config is None:
        raise InputError("--config", None, "missing; name the heads' links, or take --simulated")
    oven_degc = oven_degc_of(args.oven)
    see_key(args)
    try:
        args.folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = (error.strerror or "cannot be made").lower()
        raise InputError(str(args.folder), None, reason) from error
    folder = Folder(args.folder, args.references or args.folder / REFERENCES)
    with folder.held():
        return _work(args, folder, oven_degc)


def _work(args: argparse.Namespace, folder: Folder, oven_degc: tuple[float, ...]) -> int:
    if args.simulated:
        letters = LETTERS[:1] if args.one_head else LETTERS
        write_papers(folder, args.seed, datetime.now(UTC).date(), letters)
    sheet = folder.read_sheet()
    see_which(args, folder, sheet)
    heads: Heads
    if args.simulated:
        there = [head.letter for head in sheet.head]
        heads = SimulatedHeads(args.seed, there, three_axis=args.three_axis)
    else:
        config = load_config(args.config)
        heads = LiveHeads(make_links(config.links), {h.head_id: h.letter for h in sheet.head})
    scope = SIMULATED if args.simulated else Scope(turned=TURNED)
    seats: dict[str, str] = {channel: seat.basis for channel, seat in sheet.seat.items()}
    scope = replace(scope, oven_degc=oven_degc, seats=seats)
    work = Bench(args, folder, sheet, heads, scope)
    try:
        with answers_of(args.script) as script:
            return asyncio.run(work.run(script))
    except KeyboardInterrupt:
        print(f"\nStopped. {GOES_ON.format(folder=folder.path)}")
        raise


class Bench:
    """One piece of work: the session, its heads, its folder and its terminal."""

    def __init__(
        self, args: argparse.Namespace, folder: Folder, sheet: Sheet, heads: Heads, scope: Scope
    ) -> None:
        self._folder, self._sheet, self._heads, self._scope = folder, sheet, heads, scope
        self._by_itself, self._unsigned = args.by_itself, args.key is None
        self._pair = len(sheet.head) > 1
        self._acts = Acts(folder, sheet, self._pair, args.key, previous_of(args.previous, sheet))
        self._watch = Watch(CaptureSettings(), [head.letter for head in sheet.head])
        self._known = self._acts.known()
        self._shown: object = None
        self._logged: Session | None = None

    async def run(self, script: TextIO | None) -> int:
        """Work until it is over."""
        seen = await self._heads.open()
        try:
            self._check(seen)
            self._at_hand = [
                HeadAtHand(head.letter, head.serial, seen[head.letter].channels)
                for head in self._sheet.head
            ]
            self._references = self._folder.read_references(self._sheet.references)
            session = self._begun()
            if self._unsigned and not session.said:
                session = replace(session, said=UNSIGNED)
            with terminal_of(script, by_itself=self._by_itself) as terminal:
                self._show(session, terminal)
                while session.phase is not Phase.OVER:
                    session = await self._turn(session, terminal)
        finally:
            await self._heads.close()
        print(self._end(session))
        return EXIT_STOPPED if session.stopped or terminal.ended else 0

    def _end(self, session: Session) -> str:
        if not session.left:
            return session.stopped or self._acts.end()
        at = f"Left at step {session.at + 1} of {len(session.steps)}, {session.step.title}."
        return f"{at} {GOES_ON.format(folder=self._folder.path)}"

    def _begun(self) -> Session:
        rows = self._folder.read_rows(self._steps({}))
        steps = self._steps(rows)
        check_rows(self._folder, steps, rows)
        return begun(steps, rows, self._acts.done())

    def _steps(self, rows: Mapping[str, tuple[Row, ...]]) -> tuple[Step, ...]:
        return steps_of(self._at_hand, self._references, self._scope, rows, self._known)

    def _check(self, seen: Mapping[str, Seen]) -> None:
        for head in self._sheet.head:
            found = seen[head.letter].head_id
            if found != head.head_id:
                text = f"head {head.letter} of the sheet is {head.head_id}, and {found} is there"
                raise MeasurementRefused("head", text, figure=0.0, limit=1.0)
            if self._scope.oven_degc and "temperature" not in seen[head.letter].channels:
                reason = f"head {head.letter} has no thermometer, and a drift needs one"
                raise InputError("--oven", None, f"{reason}; leave the option out")

    async def _turn(self, session: Session, terminal: Terminal) -> Session:
        """Take what was typed and what was read, and show where that leads."""
        busy = session.phase in (Phase.READ, Phase.RECORD)
        if not busy or terminal.eager:
            line = _answer(session) if self._by_itself and not busy else terminal.line()
            if line is not None:
                session = await self._on(session, Typed(line))
                busy = session.phase in (Phase.READ, Phase.RECORD)
        if session.phase is Phase.OVER:
            return session
        for sample in await self._heads.samples(hurry=busy):
            self._watch.feed(sample)
            if session.phase in (Phase.READ, Phase.RECORD):
                event = self._watch.happened()
                if isinstance(event, Read):
                    event = replace(event, stamps=self._stamps(session))
                session = session if event is None else await self._on(session, event)
        self._show(session, terminal)
        return session

    async def _on(self, session: Session, event: Event) -> Session:
        session, effects = session.on(event)
        for effect in effects:
            session = await self._effect(session, effect)
        return session

    async def _effect(self, session: Session, effect: Effect) -> Session:
        match effect:
            case Begin(step, target):
                await self._heads.place(step, target, len(session.own(step)))
                if isinstance(step.work, Series):
                    self._watch.read(step.heads, step.work.procedure.needs(target))
            case Record(step):
                await self._heads.place(step, None, 0)
                if isinstance(step.work, Recording):
                    self._watch.record(step.heads[0], step.work)
            case Cancel():
                self._watch.stop()
            case Save(path, rows):
                self._folder.save(path, rows)
                session = replace(session, steps=self._steps(session.rows))
            case Do(step):
                did = self._acts.do(step)
                # Nobody is there to mend what went wrong and try again.
                did = replace(did, stop=did.stop or (self._by_itself and not did.well))
                self._known = self._acts.known()
                session = replace(session, steps=self._steps(session.rows))
                session = await self._on(session, did)
            case Leave():
                session = replace(session, phase=Phase.OVER)
        return session

    def _stamps(self, session: Session) -> dict[str, str]:
        """Return what every row says of whose and from when it is."""
        letter = session.step.heads[0]
        now = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        return {"head": self._sheet.lettered(letter).head_id, "time": now}

    def _show(self, session: Session, terminal: Terminal) -> None:
        if terminal.brief:
            terminal.show(log_lines(self._logged, session), changed=True)
            self._logged = session
            return
        state = (session.at, session.phase, session.said, session.target and session.target.name)
        live = Live(self._watch.captures, self._watch.recorded_s, self._heads.trouble)
        terminal.show(screen(session, live, *terminal.size), state != self._shown)
        self._shown = state


def _answer(session: Session) -> str:
    """Return what a technician types who does as the bench says."""
    work = session.step.work
    return work.confirm if isinstance(work, Act) else ""
