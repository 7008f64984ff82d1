"""What every request has."""

from pydantic import Field

from ingest.payload.base import Id, Message


class Command(Message):
    """A request. The same ``id`` within a minute gets the same reply and no second action."""

    id: Id
    reply_to: str | None = Field(default=None, max_length=128)
    """Where to answer, for clients without MQTT 5's response topic."""
    by: str | None = Field(default=None, max_length=32)
    """Who asks: for the record, not for permission."""
