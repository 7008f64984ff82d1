"""What a terminal shows of a job: from retained topics alone, as any display could."""

import asyncio
import json
import textwrap
from typing import Any

from ingest.job.course.intake import item_called
from ingest.payload.topics import Topics
from ingest.report.wording import topic_name

WORDS = {"inside": "INSIDE", "undecided": "UNDECIDED", "outside": "OUTSIDE", "none": ""}
CUT = "\u2026"
"""Where the service had to cut a text for small displays, this stands at its end."""
BEGINNING = 20
"""Signs by which a line of advice is known again."""
NARROWEST = 40
"""A terminal of fewer signs is not wrapped for."""


class JobView:
    """Gathers the retained topics of a job and its results."""

    def __init__(self, topics: Topics) -> None:
        self._topics = topics
        self._heard: dict[str, dict[str, Any]] = {}
        self.known = asyncio.Event()

    def hear(self, topic: str, payload: bytes, retained: bool) -> None:
        """Take a message; an empty one clears its topic."""
        name = topic.removeprefix(f"{self._topics.root}/")
        try:
            fields = json.loads(payload) if payload else None
        except (ValueError, RecursionError):
            return
        if isinstance(fields, dict):
            self._heard[name] = fields
        else:
            self._heard.pop(name, None)
        if {"job/state", "job/step", "job/guidance"} <= set(self._heard):
            self.known.set()

    @property
    def task(self) -> str:
        """The present task's id; empty where there is none."""
        return str(self._of("job/step").get("task") or "")

    def as_json(self) -> str:
        """Return all of it as one JSON object."""
        jobs = {n.removeprefix("job/"): self._heard[n] for n in self._named("job/")}
        results = {n: self._heard[n] for n in self._named("axle/", "vehicle/")}
        heads = {n.split("/")[1]: self._heard[n] for n in self._named("head/")}
        return json.dumps({**jobs, "heads": heads, "results": results})

    def as_text(self, width: int | None = None) -> str:
        """Return it for people; ``width``: signs that a line of their terminal has."""
        guidance = [row for line in self._guidance() for row in _wrapped(line, width)]
        parts = self._standing(), [""], guidance, self._heads(), self._results()
        return "\n".join(line for part in parts for line in part)

    def _standing(self) -> list[str]:
        state = self._of("job/state")
        if state.get("phase") == "none":
            return ["no job is open"]
        head = f"job {state.get('job')}: order {state.get('order')}, {state.get('vehicle')}"
        done = f"{state.get('done')} of {state.get('of')} tasks, {state.get('mountings')} mountings"
        lines = [head, f"{state.get('phase')}; {done}; limits {state.get('limits')}"]
        if state.get("stale"):
            lines.append(f"{state['stale']} results hold no longer")
        return lines

    def _guidance(self) -> list[str]:
        told, step = self._of("job/guidance"), self._of("job/step")
        advice = str(self._of("job/advice").get("text") or "").splitlines()
        task = f"{told.get('task')}: " if told.get("task") else ""
        item = f" ({told['item']})" if told.get("item") else ""
        lines = [f"{task}{told.get('title')}{item}"]
        text = _uncut(str(told.get("text")), advice)
        if text:
            lines.append(f"  {text}")
        if step.get("why"):
            lines.append(f"  why: {step['why']}")
        if told.get("waits"):
            lines.append(f"  a sweep waits for: {told['waits']}")
        if told.get("lacks"):
            lines.append(f"  still lacking: {_with_ids(told['lacks'])}")
        lines += [f"  TURN: {line}" for line in advice]
        cautions = str(self._of("job/caution").get("text") or "")
        lines += [f"  CAUTION: {line}" for line in cautions.splitlines()]
        asks = str(told.get("asks") or "").replace("+", ", ").replace("job-", "")
        lines.append(f"  can be asked: {asks}")
        return lines

    def _heads(self) -> list[str]:
        lines = [""]
        for name in self._named("head/"):
            head = self._heard[name]
            at = f"axle {head['axle']} {head.get('side')}" if head.get("axle") else "on no wheel"
            how = "" if head.get("q") == "good" else f", {head.get('state')} ({head.get('why')})"
            lines.append(f"head {name.split('/')[1]}: {at}{how}")
        return lines if len(lines) > 1 else []

    def _results(self) -> list[str]:
        found = self._named("axle/", "vehicle/")
        if not found:
            return []
        lines = [""]
        for name in found:
            message = self._heard[name]
            trusted = message.get("q") in ("good", "uncertain")
            text = message.get("text") if trusted else f"- ({message.get('why')})"
            word = WORDS.get(str(message.get("dec")), "")
            lines.append(f"{topic_name(name):44} {text!s:22} {word}".rstrip())
        return lines

    def _named(self, *kinds: str) -> list[str]:
        return sorted(name for name in self._heard if name.startswith(kinds))

    def _of(self, name: str) -> dict[str, Any]:
        return self._heard.get(name, {})


def _with_ids(lacks: str) -> str:
    """Return what is lacking, the items of the intake with the ids that they are checked by."""
    found = [(part, item_called(part)) for part in lacks.split("; ")]
    return "; ".join(part if item is None else f"{part} ({item.id})" for part, item in found)


def _uncut(text: str, advice: list[str]) -> str:
    """Return a text without the advice that was cut off in it: that follows, whole."""
    begins = text.find(advice[0][:BEGINNING]) if advice else -1
    return text[:begins].rstrip() if text.endswith(CUT) and begins >= 0 else text


def _wrapped(line: str, width: int | None) -> list[str]:
    if width is None:
        return [line]
    hanging = " " * (len(line) - len(line.lstrip()) + 2)
    return textwrap.wrap(line, max(width, NARROWEST), subsequent_indent=hanging) or [line]
