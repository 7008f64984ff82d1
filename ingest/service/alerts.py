"""What a person should know: said once, taken back when it is over."""

import logging
from typing import Literal

from ingest.payload.svc import Alert
from ingest.service.announcer import Announcer

log = logging.getLogger(__name__)

Level = Literal["note", "warning", "danger"]


class Alerts:
    """Active alerts by code. Each change is one log line and one retained message."""

    def __init__(self, announcer: Announcer) -> None:
        self._announcer = announcer
        self._active: dict[str, str] = {}

    @property
    def active(self) -> dict[str, str]:
        """Texts by code."""
        return dict(self._active)

    def set(self, code: str, level: Level, text: str, *, head: str | None = None) -> None:
        """Raise an alert, or change its text."""
        if self._active.get(code) == text:
            return
        self._active[code] = text
        log.log(logging.INFO if level == "note" else logging.WARNING, "%s", text)
        message = Alert(
            **self._announcer.moment(), code=code, level=level, text=text[:200], head=head
        )
        self._announcer.state(self._announcer.topics.alert(code), message)

    def clear(self, code: str) -> None:
        """Take an alert back."""
        text = self._active.pop(code, None)
        if text is not None:
            log.info("over: %s", text)
            self._announcer.clear(self._announcer.topics.alert(code))
