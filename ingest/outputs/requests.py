"""A message on a command topic becomes a request, a refusal, or nothing."""

import json
from dataclasses import dataclass
from typing import Any

from ingest.payload.base import COMMAND_LIMIT_BYTES, PayloadError
from ingest.payload.cmd import Request, read_command
from ingest.payload.topics import Topics


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a command was not handed on. ``reply_topic`` is None where nobody can be told."""

    id: str
    code: str
    text: str
    reply_topic: str | None
    correlation: bytes | None


@dataclass(slots=True)
class InboxCounters:
    """What came in on the command topics since the start."""

    commands: int = 0
    bad_commands: int = 0
    retained_commands: int = 0
    """Ignored: they are orders of long ago."""


def read_request(
    topics: Topics,
    asked: tuple[str, str | None],
    payload: bytes,
    response_topic: str | None,
    correlation: bytes | None,
) -> Request | Refusal:
    """Read a command. Answers go to a topic under ``reply/`` or nowhere.

    A user who is named in the topic is answered under that name, whatever is asked: nobody has
    answers sent to another. Else the response topic of MQTT 5 goes before the payload's
    ``reply_to``.

    Args: asked: the name of the command and the user, as they stand in its topic.
    """
    name, user = asked
    named = topics.reply(user) if user is not None else _reply_topic(topics, response_topic)
    try:
        command = read_command(name, payload)
    except PayloadError as error:
        said = _said(payload)
        answer_to = named or _reply_topic(topics, said.get("reply_to"))
        return Refusal(_id(said), error.code, str(error)[:200], answer_to, correlation)
    reply_topic = named or _reply_topic(topics, command.reply_to)
    return Request(name, command, reply_topic, correlation, user)


def _said(payload: bytes) -> dict[str, Any]:
    """Return what can be read of a bad request: just enough to answer it."""
    if len(payload) > COMMAND_LIMIT_BYTES:
        return {}
    try:
        said = json.loads(payload)
    except (ValueError, RecursionError):
        return {}
    return said if isinstance(said, dict) else {}


def _reply_topic(topics: Topics, named: object) -> str | None:
    return named if isinstance(named, str) and topics.is_reply(named) else None


def _id(said: dict[str, Any]) -> str:
    found = said.get("id")
    return found if isinstance(found, str) and len(found) <= 36 else ""
