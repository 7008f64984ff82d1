"""Commands from displays: one action, one answer each."""

import logging
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from ingest.core.errors import LinkError
from ingest.core.frames import Side
from ingest.core.ids import HeadName, MonotonicNs
from ingest.core.ports import MonotonicClock, NameTaken
from ingest.core.units import NS
from ingest.payload.cmd import (
    HeadCommand,
    Identify,
    Name,
    PushBegin,
    PushEnd,
    Reply,
    Request,
    StopTake,
    SweepBegin,
    SweepEnd,
    TurnBegin,
    TurnEnd,
    Unmount,
)
from ingest.payload.cmd import (
    Wheel as WheelCommand,
)
from ingest.payload.job_cmd import JobCommand
from ingest.service.announcer import Announcer
from ingest.service.bay import Bay
from ingest.service.bayhead import BayHead, Wheel
from ingest.service.done import Done
from ingest.service.jobwork import JobWork
from ingest.wire.commands import Command, identify
from ingest.wire.reports import Ack, Refusal

log = logging.getLogger(__name__)

REMEMBER_S = 60.0
"""The same id within this time gets the same answer and no second action."""

MOST_REMEMBERED = 1000
IDENTIFY_S = 5.0

Answer = Ack | Refusal | LinkError | None
"""What comes of asking a head: its answer, why it could not be asked, None for silence."""

AskHead = Callable[[BayHead, Command, Callable[[Answer], None]], None]
"""Sends a command to a head and hands over, by and by, what comes of it."""

Send = Callable[[Request, bytes], None]
"""Sends the answer to a request."""


@dataclass(frozen=True, slots=True)
class _Remembered:
    at_ns: MonotonicNs
    reply: bytes | None
    """None while the action is still going on."""


class Requests:
    """Carries commands out. Those that only need the bay are answered at once."""

    def __init__(
        self,
        bay: Bay,
        announcer: Announcer,
        clock: MonotonicClock,
        answer: Send,
        ask: AskHead,
        jobs: JobWork | None = None,
    ) -> None:
        self._bay = bay
        self._jobs = jobs
        self._announcer = announcer
        self._clock = clock
        self._answer = answer
        self._ask = ask
        self._remembered: OrderedDict[tuple[str, str, str], _Remembered] = OrderedDict()

    def carry_out(self, request: Request) -> None:
        """Carry a request out; it is answered when it is done. A repeat is only answered."""
        key = (request.reply_topic or "", request.name, request.command.id)
        self._forget()
        known = self._remembered.get(key)
        if known is not None:
            if known.reply is not None:
                self._answer(request, known.reply)
            return
        self._remembered[key] = _Remembered(self._clock(), None)
        finish = partial(self._finish, key, request)
        try:
            self._do(request, finish)
        except Exception:  # whoever asked gets an answer, whatever is wrong with us
            log.exception("command %s: fault in the program", request.name)
            finish(Done(False, "failed", "fault in the program; its log says more"))

    def _finish(self, key: tuple[str, str, str], request: Request, done: Done) -> None:
        reply = Reply(
            t=self._announcer.moment()["t"],
            id=request.command.id,
            ok=done.ok,
            code=done.code,
            text=done.text[:200],
            retry_s=2.0 if done.code == "head-moving" else None,
        ).encode()
        self._remembered[key] = _Remembered(self._clock(), reply)
        self._answer(request, reply)

    def _forget(self) -> None:
        oldest_ns = self._clock() - REMEMBER_S * NS
        while self._remembered:
            first = next(iter(self._remembered.values()))
            if len(self._remembered) < MOST_REMEMBERED and first.at_ns >= oldest_ns:
                return
            self._remembered.popitem(last=False)

    def _do(self, request: Request, finish: Callable[[Done], None]) -> None:
        command = request.command
        if isinstance(command, JobCommand):
            finish(self._job(request, command))
            return
        if isinstance(command, PushBegin | PushEnd | SweepBegin | SweepEnd):
            finish(self._whole(command))
            return
        assert isinstance(command, HeadCommand)
        head = self._bay.named(command.head)
        if head is None:
            known = ", ".join(sorted(h.name for h in self._bay.heads.values())) or "none yet"
            finish(Done(False, "unknown-head", f"no head {command.head}; there are: {known}"))
        elif isinstance(command, Identify) and head.online:
            asked = identify(0, duration_s=IDENTIFY_S)
            self._ask(head, asked, lambda answer: finish(shown(head, answer)))
        else:
            finish(self._at_once(head, request))

    def _job(self, request: Request, command: JobCommand) -> Done:
        if self._jobs is None:
            return Done(False, "not-supported", "no jobs are kept here; start with a state file")
        client = request.user or (request.reply_topic or "").rpartition("/")[2]
        return self._jobs.carry_out(client, command, request.user)

    def _whole(self, command: PushBegin | PushEnd | SweepBegin | SweepEnd) -> Done:
        """Carry out what is asked of a vehicle or an axle, not of one head."""
        heads = tuple(self._bay.heads.values())
        match command:
            case PushBegin():
                return self._bay.push.begin(heads)
            case PushEnd():
                return self._bay.push.end()
            case SweepBegin(axle=axle, stops=stops):
                return self._bay.sweeping.begin(axle, heads, stops=stops)
            case SweepEnd(axle=axle):
                return self._bay.sweeping.end(axle)

    def _at_once(self, head: BayHead, request: Request) -> Done:
        match request.command:
            case Name(name=name):
                return self._name(head, name)
            case WheelCommand(axle=axle, side=side):
                return self._put_on(head, Wheel(axle, Side(side)))
            case Unmount():
                self._bay.put_on(head, None)
                return Done(True, "ok", f"{head.name} is on no wheel")
            case _ if not head.online:
                return Done(False, "head-offline", f"{head.name} is not online")
            case StopTake():
                return self._bay.work.take_stop(head)
            case TurnBegin():
                return self._bay.work.begin(head)
            case TurnEnd():
                return self._bay.work.end(head)
        return Done(False, "not-supported", f"{request.name} is not supported")

    def _name(self, head: BayHead, name: str) -> Done:
        holder = self._bay.named(name)
        if holder is not None and holder is not head:
            return Done(False, "name-taken", f"{name} is the name of another head")
        try:
            self._bay.name(head, HeadName(name))
        except NameTaken as taken:
            return Done(False, "name-taken", str(taken))
        return Done(True, "ok", f"the head is now {name}")

    def _put_on(self, head: BayHead, wheel: Wheel) -> Done:
        lacks = "" if self._jobs is None else self._jobs.lacks_axle(wheel.axle)
        if lacks:
            return Done(False, "bad-field", lacks)
        holder = self._bay.on_wheel(wheel)
        where = f"axle {wheel.axle} {wheel.side.value}"
        if holder is not None and holder is not head:
            return Done(False, "wheel-taken", f"{holder.name} is on {where}; take it off first")
        self._bay.put_on(head, wheel)
        return Done(True, "ok", f"{head.name} is on {where}")


def shown(head: BayHead, answer: Answer) -> Done:
    """Return what came of asking a head to show itself."""
    match answer:
        case None:
            return Done(False, "head-silent", f"{head.name} did not answer")
        case LinkError():
            return Done(False, "head-offline", str(answer))
        case Refusal():
            return Done(False, "head-refused", f"{head.name} refused, reason {answer.reason}")
        case Ack():
            return Done(True, "ok", f"{head.name} shows itself for {IDENTIFY_S:g} s")
