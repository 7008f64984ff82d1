"""The work as a log, for whoever is not at a terminal: each step, and what came of it."""

from calibration.bench.screen import taken_text
from calibration.bench.session import Session


def log_lines(before: Session | None, now: Session) -> list[str]:
    """Return what is new since the last state; single readings are in the files."""
    moved = before is None or before.at != now.at
    lines = []
    if before is not None and moved:
        lines += _came(before, now)
    elif now.said and (before is None or now.said != before.said) and not now.took:
        lines.append(f"  {now.said}")
    if moved:
        lines.append(f"step {now.at + 1} of {len(now.steps)}: {now.step.title}")
    return lines


def _came(before: Session, now: Session) -> list[str]:
    """Return what came of the step that was left: its readings, or what it said of itself."""
    left = [step for step in now.steps if step.name == before.step.name]
    done = Session(tuple(left), now.rows).progress if left else None
    if done is not None:
        return [f"  {taken_text(done)}"]
    return [f"  {now.said}"] if now.said else []
