"""An event of a job in one line, for logs, displays and reports."""

from ingest.job.course.events import (
    Checked,
    Closed,
    Disturbed,
    Done,
    Event,
    LevelTaken,
    Opened,
    Planned,
    Remarked,
    Skipped,
    Taped,
    Turning,
    WentBack,
)


def said(event: Event) -> tuple[str, str]:
    """Return the task that an event is about ("" for none), and what happened."""
    match event.what:
        case Opened(order=order, vehicle_id=vehicle):
            return "", f"opened: order {order}, vehicle {vehicle}"
        case Checked(item=item, state=state, note=note):
            return "", f"{item}: {state}{f', {note}' if note else ''}"
        case LevelTaken(record=record, note=note):
            return "", f"level of the bay: {record or note}"
        case Planned(tasks=tasks, mountings=mountings):
            return "", f"planned: {len(tasks)} tasks, {mountings} mountings"
        case Turning(task=task):
            return task, "somebody begins to turn"
        case Done(task=task, readings=readings, turned=turned, note=note):
            words = f"done, {len(readings)} results taken" if readings else "done"
            words = words if turned else "done, nothing was turned"
            return task, f"{words}{f': {note}' if note else ''}"
        case Skipped(task=task, reason=reason):
            return task, f"left out: {reason}"
        case WentBack(task=task, reason=reason):
            return task, f"to be done again{f': {reason}' if reason else ''}"
        case Disturbed(topics=topics, reason=reason):
            return "", f"{reason}: {', '.join(topics)} no longer hold" if topics else reason
        case Taped(line=line, agrees=agrees):
            word = {True: "agrees", False: "does not agree", None: "cannot be compared"}[agrees]
            return "", f"tape {line}: {word}"
        case Remarked(text=text):
            return "", text
        case Closed(finished=finished, reason=reason):
            return "", "finished" if finished else f"given up: {reason}"
