"""The button of a head: whoever presses it has the stop of its wheel taken, and is told."""

from ingest.core.units import NS
from ingest.payload.evt import Event
from ingest.service.announcer import Announcer
from ingest.service.bayhead import BayHead
from ingest.service.wheelwork import WheelWork

PRESSES_APART_S = 0.2
"""Presses of a button that come closer are one."""


class Button:
    """Takes the presses of all heads."""

    def __init__(self, work: WheelWork, announcer: Announcer) -> None:
        self._work = work
        self._announcer = announcer

    def pressed(self, head: BayHead) -> None:
        """Take a press that came with the newest bytes of the head's link."""
        now_ns, before_ns = head.slot.newest_ns, head.pressed_ns
        head.pressed_ns = now_ns
        if before_ns and now_ns - before_ns < PRESSES_APART_S * NS:
            return  # a contact that chatters: no hand is that fast
        taken = self._work.take_stop(head)
        kind = "stop-taken" if taken.ok else "stop-refused"
        topic = self._announcer.topics.event(kind)
        message = Event(
            **self._announcer.moment(),
            **self._announcer.serial(topic),
            kind=kind,
            head=head.name,
            text=taken.text,
        )
        self._announcer.news(topic, message)
