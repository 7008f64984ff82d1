"""Axles that may be exchanged for one another: states that differ by that alone are one state."""

from itertools import pairwise

from ingest.job.plan.states import State
from ingest.job.plan.task import Task

Class = tuple[int, ...]
"""Places of axles that are alike."""


def classes_of(task: Task) -> tuple[Class, ...]:
    """Return the classes of two axles and more.

    Two are alike where nothing is told against them, they end no centre line, both or neither are
    set, in the same order, and exchanging them in every set-up gives the same set-ups.
    """
    classes: list[list[int]] = []
    for i in range(len(task.axles)):
        for alike in classes:
            if _alike(task, alike[0], i):
                alike.append(i)
                break
        else:
            classes.append([i])
    return tuple(tuple(alike) for alike in classes if len(alike) > 1)


def _alike(task: Task, i: int, j: int) -> bool:
    own = (task.line | task.reference) & (1 << i | 1 << j)
    if own or task.dependents[i] or task.dependents[j] or task.against[i] != task.against[j]:
        return False
    if any((bits >> i ^ bits >> j) & 1 for bits in (task.works, task.steers)):
        return False
    known = set(task.set_ups)
    return all(_exchanged(bits, i, j) in known for bits in task.set_ups)


def _exchanged(bits: int, i: int, j: int) -> int:
    if (bits >> i ^ bits >> j) & 1:
        return bits ^ (1 << i | 1 << j)
    return bits


def as_one(state: State, classes: tuple[Class, ...]) -> State:
    """Return the state that stands for all that differ from it by an exchange of like axles."""
    mounted, tied, found, touched, left = state
    for alike in classes:
        codes = [
            (mounted >> i & 1)
            | (tied >> i & 1) << 1
            | (found >> i & 1) << 2
            | (touched >> i & 1) << 3
            | (left >> i & 1) << 4
            for i in alike
        ]
        if all(one <= other for one, other in pairwise(codes)):
            continue
        codes.sort()
        keep = ~sum(1 << i for i in alike)
        mounted, tied, found, touched, left = (
            bits & keep | sum((code >> row & 1) << i for i, code in zip(alike, codes, strict=True))
            for row, bits in enumerate((mounted, tied, found, touched, left))
        )
    return State(mounted, tied, found, touched, left)
