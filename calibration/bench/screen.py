"""What the technician reads, as lines of plain text: no colour, nothing that only a sign says."""

import math
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calibration.bench.capture import Capture
from calibration.bench.procedure import Need, Progress
from calibration.bench.recording import Recording
from calibration.bench.session import Phase, Session
from calibration.bench.steps import Act
from calibration.bench.stillness import TEMPERATURE, Rest, Stillness

INDENT = 8
WORDS = {
    Rest.MOVING: "MOVING",
    Rest.SETTLING: "settling",
    Rest.STILL: "still",
}
FIGURES = {
    Rest.MOVING: "ranges over",
    Rest.SETTLING: "creeps by",
    Rest.STILL: "creeps by",
}


@dataclass(frozen=True, slots=True)
class Live:
    """What is going on beside the session: watches by letter, seconds recorded, last trouble."""

    watches: Mapping[str, Capture]
    recorded_s: float = 0.0
    trouble: str = ""


def task_lines(session: Session, width: int) -> list[str]:
    """Return where the work stands and what to do now."""
    step = session.step
    lines = [f"step {session.at + 1} of {len(session.steps)}: {step.title}"]
    target = session.target
    if target is not None:
        lines.append(f"now: {target.name}")
        do, cautions, why = target.do, target.cautions, target.why
    else:
        work = step.work
        do = work.do if isinstance(work, Act | Recording) else ()
        why = work.why if isinstance(work, Act | Recording) else ""
        cautions = ()
    return [
        *lines,
        *_block("do", do, width),
        *_block("caution", cautions, width),
        *_block("why", (why,), width),
    ]


def live_lines(session: Session, live: Live, width: int) -> list[str]:
    """Return the live reading and the stillness of each head of the step."""
    lines: list[str] = []
    for letter in session.step.heads:
        watch = live.watches.get(letter)
        if watch is None or not watch.latest:
            lines.append(f"head {letter}: no readings yet")
            continue
        lines.append(f"head {letter}: {stillness_text(watch.stillness)}{_reading_share(watch)}")
        shown = [_value(channel, value) for channel, value in watch.latest.items()]
        lines += _wrapped("  ".join(shown), width, 2)
    if isinstance(session.step.work, Recording) and session.phase is Phase.RECORD:
        wanted = session.step.work.least_s
        lines.append(f"recorded {live.recorded_s:.0f} s of {wanted:.0f} s")
    return lines + ([live.trouble] if live.trouble else [])


def progress_lines(session: Session, width: int, *, brief: bool = False) -> list[str]:
    """Return how far the series is, what is still open and what never gets known here.

    ``brief``: of the uncertainties only those that are still larger than wanted.
    """
    progress = session.progress
    if progress is None:
        return []
    lines = [taken_text(progress)]
    lines += _wrapped(progress.trouble, width, 0) if progress.trouble else []
    lines += _named("still open", progress.undetermined, width)
    lines += _needs(progress.needs, width, brief)
    lines += _named("look at", progress.distrusted[:3], width)
    return lines + _named("never from these readings", progress.never, width)


def key_lines(session: Session, width: int) -> list[str]:
    """Return what can be typed now."""
    if session.phase in (Phase.READ, Phase.RECORD):
        doing = "reading" if session.phase is Phase.READ else "recording"
        return _wrapped(f"{doing}; x Enter: stop it   quit Enter: leave", width, 0)
    work = session.step.work
    if isinstance(work, Act):
        first = f"type {work.confirm}: do it" if work.confirm else "Enter: do it"
    elif isinstance(work, Recording):
        first = "Enter: start recording"
    elif session.target is not None and session.target.ask:
        expected = float(session.target.columns[session.target.ask])
        first = f"Enter: it reads {expected:g}, take it   number Enter: it reads that"
    else:
        first = "Enter: in place, take it"
    others = "o: another   u: take back   go: next step   back   quit"
    return _wrapped(f"{first}   {others}", width, 0)


def screen(session: Session, live: Live, width: int = 80, height: int = 24) -> list[str]:
    """Return the whole screen; where it is low, the least urgent lines go first."""
    rule = "-" * width
    keys = [rule, *key_lines(session, width)]
    if session.said:
        keys = [rule, *_wrapped(session.said, width, 0), *keys[1:]]
    task, seen = task_lines(session, width), live_lines(session, live, width)
    room = height - 1 - len(keys) - len(task) - len(seen) - 2
    progress = progress_lines(session, width)
    if len(progress) > room:
        progress = progress_lines(session, width, brief=True)
    if len(progress) > room:
        progress = [*progress[: max(0, room - 1)], f"({len(progress) - room + 1} lines more)"]
    lines = [*task, rule, *seen, *([rule] if progress else []), *progress, *keys]
    return lines[: height - 1]


def stillness_text(seen: Stillness) -> str:
    """Return the verdict with its figure and limit."""
    if not seen.channel:
        return "settling, too few samples yet"
    if math.isnan(seen.figure_rad):
        return f"no value in {seen.channel}"
    figure, limit = math.degrees(seen.figure_rad), math.degrees(seen.limit_rad)
    word, verb = WORDS[seen.rest], FIGURES[seen.rest]
    return f"{word}: {seen.channel} {verb} {figure:.4f}°, limit {limit:.4f}°"


def _reading_share(watch: Capture) -> str:
    share = watch.share_read
    return f"; read {100 * share:.0f} %" if share else ""


def _value(channel: str, value: float) -> str:
    if channel == TEMPERATURE:
        return f"{value:.2f} °C"
    return f"{channel} {math.degrees(value):+.4f}°"


def taken_text(progress: Progress) -> str:
    """Return how many readings there are and are needed, with rank and spread."""
    text = f"taken {progress.taken}, at least {progress.least}, at most {progress.most}"
    if progress.full_rank:
        text += f"; rank {progress.rank} of {progress.full_rank}"
    if math.isfinite(progress.spread_deg):
        text += f"; spread {progress.spread_deg:.4f}°"
    return text


def _needs(needs: Sequence[Need], width: int, brief: bool) -> list[str]:
    unmet = [need for need in needs if not need.met]
    if needs and brief and len(unmet) < len(needs):
        met = f"{len(needs) - len(unmet)} of {len(needs)} uncertainties are as small as wanted"
        return [met, *_needs(unmet, width, False)]
    cells = [_need(need) for need in needs]
    if not cells:
        return []
    cell = max(map(len, cells)) + 3
    columns = max(1, width // cell)
    rows = [cells[i : i + columns] for i in range(0, len(cells), columns)]
    return ["u, present / wanted:", *("".join(c.ljust(cell) for c in row).rstrip() for row in rows)]


def _need(need: Need) -> str:
    present = f"{need.u:.2g}" if math.isfinite(need.u) else "?"
    unit = "" if need.unit == "1" else f" {need.unit}"
    return f"{'ok ' if need.met else '-- '}{need.name} {present}/{need.wanted:.2g}{unit}"


def _named(what: str, names: Sequence[str], width: int) -> list[str]:
    return _wrapped(f"{what}: {', '.join(names)}", width, 2) if names else []


def _block(word: str, sentences: Sequence[str], width: int) -> list[str]:
    lines: list[str] = []
    for sentence in filter(None, sentences):
        wrapped = textwrap.wrap(sentence, width - INDENT)
        lines += [" " * INDENT + line for line in wrapped]
    if lines:
        lines[0] = f"{word:{INDENT}}{lines[0][INDENT:]}"
    return lines


def _wrapped(text: str, width: int, indent: int) -> list[str]:
    return textwrap.wrap(text, width, subsequent_indent=" " * indent) or [""]
