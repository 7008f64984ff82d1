"""The bench as one state machine: what happens goes in, the next state and effects come out.

No clock, file or terminal. The rows on file are the state: a session that is begun with the
rows of a broken off one goes on where that one stood.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

from calibration.bench.happenings import (
    Answered,
    Begin,
    Cancel,
    Did,
    Do,
    Effect,
    Event,
    Leave,
    Read,
    Record,
    Recorded,
    Save,
    Typed,
    Unread,
)
from calibration.bench.procedure import WITHDRAWN, Progress, Row, Target, kept
from calibration.bench.recording import Recording
from calibration.bench.rows import numbered
from calibration.bench.steps import Act, Series, Step, told_refusal

Rows = Mapping[str, tuple[Row, ...]]
TAKEN = "Taken"


class Phase(StrEnum):
    """What the session waits for."""

    PLACE = "place"
    READ = "read"
    RECORD = "record"
    WORK = "work"
    OVER = "over"


@dataclass(frozen=True, slots=True)
class Session:
    """Where the work stands. ``rows`` by path, withdrawn ones included; ``done`` acts by name.

    ``choice`` is the place of the shown target among those offered, ``said`` what happened last,
    ``stopped`` why the work cannot go on, ``left`` whether the technician left before its end.
    """

    steps: tuple[Step, ...]
    rows: Rows = field(default_factory=dict)
    done: frozenset[str] = frozenset()
    at: int = 0
    choice: int = 0
    phase: Phase = Phase.PLACE
    pending: Target | None = None
    said: str = ""
    stopped: str = ""
    left: bool = False

    @property
    def step(self) -> Step:
        """The present step."""
        return self.steps[self.at]

    @property
    def target(self) -> Target | None:
        """What the technician is asked to set up; None where the step has no attitudes."""
        if self.pending is not None:
            return self.pending
        offered = self.offered
        return offered[self.choice % len(offered)] if offered else None

    @property
    def offered(self) -> tuple[Target, ...]:
        """What could be set up now, best first."""
        work = self.step.work
        return work.procedure.targets(self.here) if isinstance(work, Series) else ()

    @property
    def took(self) -> bool:
        """Whether what was said last is of a reading that was taken."""
        return self.said.startswith(TAKEN)

    @property
    def here(self) -> tuple[Row, ...]:
        """The rows of the present step that count."""
        return self.own(self.step)

    @property
    def progress(self) -> Progress | None:
        """How far the present series is; None where the step is none."""
        work = self.step.work
        return work.procedure.progress(self.here) if isinstance(work, Series) else None

    def own(self, step: Step) -> tuple[Row, ...]:
        """Return the rows of a step that count."""
        return tuple(row for row in kept(self.rows.get(step.path, ())) if step.owns(row))

    def complete(self, step: Step) -> bool:
        """Say whether a step asks for nothing more."""
        rows = self.own(step)
        if isinstance(step.work, Series):
            return step.work.procedure.progress(rows).enough
        if isinstance(step.work, Recording):
            return step.work.finished(rows)
        return step.name in self.done

    def on(self, event: Event) -> tuple["Session", tuple[Effect, ...]]:
        """Take one event; what does not belong to the present phase changes nothing."""
        if isinstance(event, Typed):
            return self._typed(event.text.strip())
        if isinstance(event, Read) and self.phase is Phase.READ:
            return self._read(event)
        if isinstance(event, Unread) and self.phase is Phase.READ:
            return self._unread(event)
        if isinstance(event, Recorded) and self.phase is Phase.RECORD:
            return self._recorded(event)
        if isinstance(event, Did) and self.phase is Phase.WORK:
            return self._did(event)
        return self, ()

    def _typed(self, text: str) -> tuple["Session", tuple[Effect, ...]]:
        if text == Answered.LEAVE:
            return replace(self, phase=Phase.OVER, left=True), (Cancel(), Leave())
        if self.phase in (Phase.READ, Phase.RECORD):
            if text == Answered.CANCEL:
                return self._shown("Nothing was taken."), (Cancel(),)
            return self, ()
        if self.phase is not Phase.PLACE:
            return self, ()
        moves = {
            Answered.UNDO: self._undo,
            Answered.OTHER: self._other,
            Answered.ON: self._on_regardless,
            Answered.BACK: self._back,
        }
        return moves[Answered(text)]() if text in moves else self._begin(text)

    def _begin(self, text: str) -> tuple["Session", tuple[Effect, ...]]:
        work = self.step.work
        if isinstance(work, Recording):
            return replace(self, phase=Phase.RECORD, said=""), (Record(self.step),)
        if isinstance(work, Act):
            return self._act(work, text)
        target = self.target
        if target is None:
            return self, ()
        if target.ask and text:
            told = _number(text)
            if told is None:
                return replace(self, said=f"{text!r} is no number; nothing was taken."), ()
            target = replace(target, columns={**target.columns, target.ask: told})
        elif text:
            return replace(self, said=f"{text!r} means nothing here."), ()
        began = replace(self, phase=Phase.READ, pending=target, said="")
        return began, (Begin(self.step, target),)

    def _act(self, act: Act, text: str) -> tuple["Session", tuple[Effect, ...]]:
        if act.confirm and text != act.confirm:
            said = f"Not done: type {act.confirm} to do it." if text else ""
            return replace(self, said=said), ()
        return replace(self, phase=Phase.WORK, said=""), (Do(self.step),)

    def _read(self, event: Read) -> tuple["Session", tuple[Effect, ...]]:
        work, target = self.step.work, self.pending
        if not isinstance(work, Series) or target is None:
            return self, ()
        more = work.procedure.taken(target, event.readings)
        stamped = [{**event.stamps, **row} for row in more]
        rows = numbered(self.rows.get(self.step.path, ()), stamped)
        taken = replace(self, rows={**self.rows, self.step.path: rows})
        n = len(more)
        said = (
            f"{TAKEN}: {target.name} (row {rows[-1]['row']})."
            if n == 1
            else f"{TAKEN}: {target.name}."
        )
        after = taken._shown(said)
        if taken.complete(taken.step):
            after = after._next(f"{said} {taken.step.title}: enough.")
        return after, (Save(self.step.path, rows),)

    def _unread(self, event: Unread) -> tuple["Session", tuple[Effect, ...]]:
        said = told_refusal(event.head, event.refused)
        return replace(self, phase=Phase.PLACE, said=said), ()

    def _recorded(self, event: Recorded) -> tuple["Session", tuple[Effect, ...]]:
        if event.broken:
            return self._shown(f"The recording is of no use: {event.broken}. Start it again."), ()
        rows = {**self.rows, self.step.path: event.rows}
        after = replace(self, rows=rows)._next(f"{self.step.title}: done.")
        return after, (Save(self.step.path, event.rows),)

    def _did(self, event: Did) -> tuple["Session", tuple[Effect, ...]]:
        if event.stop:
            return replace(self, phase=Phase.OVER, stopped=event.said, said=event.said), (Leave(),)
        if not event.well:
            return self._shown(event.said), ()
        return replace(self, done=self.done | {self.step.name})._next(event.said), ()

    def _undo(self) -> tuple["Session", tuple[Effect, ...]]:
        rows = list(self.rows.get(self.step.path, ()))
        standing = [
            i for i, row in enumerate(rows) if row.get(WITHDRAWN) != "1" and self.step.owns(row)
        ]
        work = self.step.work
        if not standing or not isinstance(work, Series):
            return replace(self, said="There is no row to take back here."), ()
        last = standing[-len(work.procedure.heads) :]
        for i in last:
            rows[i] = {**rows[i], WITHDRAWN: "1"}
        numbers = " and ".join(rows[i]["row"] for i in last)
        after = replace(self, rows={**self.rows, self.step.path: tuple(rows)})
        said = f"Taken back: row {numbers}. It stays in the file, marked as withdrawn."
        return after._shown(said), (Save(self.step.path, tuple(rows)),)

    def _other(self) -> tuple["Session", tuple[Effect, ...]]:
        if len(self.offered) < 2:
            return replace(self, said="There is no other to choose."), ()
        return replace(self, choice=(self.choice + 1) % len(self.offered), said=""), ()

    def _on_regardless(self) -> tuple["Session", tuple[Effect, ...]]:
        progress = self.progress
        if isinstance(self.step.work, Act) and not self.step.work.optional:
            if self.step.name not in self.done:
                return replace(self, said="This step cannot be left out."), ()
        elif progress is not None and not progress.usable and self.here:
            return replace(self, said=_lacks(progress)), ()
        return self._next(f"{self.step.title}: left as it is."), ()

    def _back(self) -> tuple["Session", tuple[Effect, ...]]:
        return replace(self, at=max(0, self.at - 1))._shown(""), ()

    def _shown(self, said: str) -> "Session":
        return replace(self, phase=Phase.PLACE, pending=None, choice=0, said=said)

    def _next(self, said: str) -> "Session":
        """Go on to the next step that is not complete, or to the end."""
        for i in range(self.at + 1, len(self.steps)):
            if not self.complete(self.steps[i]):
                return replace(self, at=i)._shown(said)
        return replace(self, phase=Phase.OVER, pending=None, said=said)


def begun(steps: tuple[Step, ...], rows: Rows, done: frozenset[str] = frozenset()) -> Session:
    """Return the session that the rows on file stand for."""
    fresh = Session(steps, rows, done)
    started = [i for i, s in enumerate(steps) if fresh.own(s) or s.name in done]
    first = max(started, default=0)
    if not fresh.complete(steps[first]):
        return replace(fresh, at=first)
    return replace(fresh, at=first)._next("")


def _lacks(progress: Progress) -> str:
    open_ = ", ".join(progress.undetermined)
    if progress.trouble:
        return f"Not yet: {progress.trouble}."
    if progress.taken < progress.least:
        return f"Not yet: {progress.taken} of at least {progress.least} readings."
    return f"Not yet: still open are {open_}."


def _number(text: str) -> str | None:
    try:
        return f"{float(text):.6f}" if len(text) < 20 and "_" not in text else None
    except ValueError:
        return None
