"""Tells the log of published results what each rest of a wheel gave."""

from typing import Any

from ingest.core.published import PublishedResult, PublishedResults
from ingest.service.announcer import Announcer
from ingest.service.bayhead import BayHead
from ingest.service.bayspread import Occasion


class ResultNotes:
    """A result is said every second while it improves; the log has it twice for each rest.

    Its first one at once, lest a crash lose it, and its last one, where that is another, when
    the rest is over.
    """

    def __init__(
        self, announcer: Announcer, spread: str, published: PublishedResults | None
    ) -> None:
        self._announcer = announcer
        self._spread = spread
        self._published = published
        self._newest: dict[str, PublishedResult] = {}
        self._noted: dict[str, PublishedResult] = {}

    def said(
        self, topic: str, fields: dict[str, Any], occasion: Occasion, heads: list[BayHead]
    ) -> None:
        """Take note of a result in the form that it was published in."""
        if self._published is None:
            return
        result = PublishedResult(
            said_ms=fields["ms"],
            bay=self._announcer.topics.bay,
            topic=topic.removeprefix(f"{self._announcer.topics.root}/"),
            settled=f"{self._announcer.boot} {occasion.settling}",
            value_deg=fields["value"],
            U_deg=fields["U"],
            k=fields["k"],
            quality=fields["q"],
            spread=self._spread,
            heads=tuple(sorted(((h.id, _record_id(h)) for h in heads), key=lambda pair: pair[0])),
        )
        noted = self._noted.get(topic)
        self._newest[topic] = result
        if noted is None or noted.settled != result.settled:
            self._noted[topic] = result
            self._published.note(result)

    def over(self, topic: str) -> None:
        """Take note that the wheel rests no more, or that its head is off."""
        last, noted = self._newest.pop(topic, None), self._noted.pop(topic, None)
        if last is not None and last != noted and self._published is not None:
            self._published.note(last)


def _record_id(head: BayHead) -> str | None:
    record = head.instrument.record
    return None if record is None else record.record_id
