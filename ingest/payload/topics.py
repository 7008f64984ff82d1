"""The topic tree of one bay, built and taken apart in one place."""

import re
from dataclasses import dataclass

from ingest.core.channels import Channel

ROOT = "levelhead/v1"
_LEVEL = re.compile(r"[a-z0-9_-]{1,32}")

RESERVED_HEAD_LEVELS = frozenset({"status", "meta", "link", "runout", "sweep"})
"""Levels under a head that are not channels."""


def check_level(level: str) -> str:
    """Return the level. Raises ``ValueError`` when it cannot be a level of a topic."""
    if not is_level(level):
        raise ValueError(f"{level!r} is no topic level: use 1 to 32 of a-z, 0-9, _ and -")
    return level


def is_level(text: str) -> bool:
    """Tell whether a text can be a level of a topic."""
    return _LEVEL.fullmatch(text) is not None


@dataclass(frozen=True, slots=True)
class Topics:
    """Topics of one bay."""

    bay: str

    def __post_init__(self) -> None:
        check_level(self.bay)

    @property
    def root(self) -> str:
        return f"{ROOT}/{self.bay}"

    @property
    def status(self) -> str:
        return f"{self.root}/svc/status"

    @property
    def meta(self) -> str:
        return f"{self.root}/svc/meta"

    def alert(self, code: str) -> str:
        return f"{self.root}/svc/alert/{check_level(code)}"

    def head_status(self, head: str) -> str:
        return self._head(head, "status")

    def head_meta(self, head: str) -> str:
        return self._head(head, "meta")

    def head_link(self, head: str) -> str:
        return self._head(head, "link")

    def head_runout(self, head: str) -> str:
        return self._head(head, "runout")

    def head_sweep(self, head: str) -> str:
        return self._head(head, "sweep")

    def reading(self, head: str, channel: Channel) -> str:
        return self._head(head, channel.value)

    def axle(self, number: int, side: str, quantity: str) -> str:
        """Topic of a result. ``side`` is left, right or both; axles count from 1 at the front."""
        if number < 1 or side not in ("left", "right", "both"):
            raise ValueError(f"no such axle and side: {number}, {side!r}")
        return f"{self.root}/axle/{number}/{side}/{check_level(quantity)}"

    def vehicle(self, quantity: str) -> str:
        """Topic of a result of the whole vehicle."""
        return f"{self.root}/vehicle/{check_level(quantity)}"

    def cal(self, head: str) -> str:
        return f"{self.root}/cal/{check_level(head)}/latest"

    def job(self, leaf: str) -> str:
        """Topic of the job: its state, step, guidance, or the value that is adjusted."""
        return f"{self.root}/job/{check_level(leaf)}"

    @property
    def results(self) -> str:
        """What all results of axles have in common."""
        return f"{self.root}/axle/"

    def command(self, name: str, user: str | None = None) -> str:
        """Topic of a request. ``user``: who asks, where the broker's permissions hold that level to
        be the user's own name."""
        below = "" if user is None else f"/{check_level(user)}"
        return f"{self.root}/cmd/{check_level(name)}{below}"

    @property
    def commands(self) -> tuple[str, str]:
        """The filters that match every command."""
        return f"{self.root}/cmd/+", f"{self.root}/cmd/+/+"

    def reply(self, client: str) -> str:
        return f"{self.root}/reply/{check_level(client)}"

    def event(self, kind: str) -> str:
        return f"{self.root}/evt/{check_level(kind)}"

    def asked(self, topic: str) -> tuple[str, str | None] | None:
        """Return the name in a command's topic and the user, where one is named there.

        None for any other topic.
        """
        levels = topic.removeprefix(f"{self.root}/cmd/").split("/")
        if not topic.startswith(f"{self.root}/cmd/") or len(levels) > 2:
            return None
        if not all(_LEVEL.fullmatch(level) for level in levels):
            return None
        return levels[0], levels[1] if len(levels) > 1 else None

    def is_reply(self, topic: str) -> bool:
        """Tell whether a topic lies under this bay's ``reply/``: answers go nowhere else."""
        start, _, client = topic.rpartition("/")
        return start == f"{self.root}/reply" and _LEVEL.fullmatch(client) is not None

    def is_meta(self, topic: str) -> bool:
        """Tell whether a topic describes: those stand on the broker before the birth."""
        return topic.startswith(f"{self.root}/") and topic.endswith("/meta")

    def _head(self, head: str, leaf: str) -> str:
        return f"{self.root}/head/{check_level(head)}/{leaf}"
