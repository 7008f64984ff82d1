"""Opening a connection in a version of MQTT that the broker speaks."""

from paho.mqtt.enums import MQTTProtocolVersion

from ingest.outputs.answers import Unanswered, VersionRefused
from ingest.outputs.connection import Connection, Handlers, Will
from ingest.outputs.settings import BrokerSettings


class Opener:
    """Opens one connection after the other, and remembers by which version."""

    def __init__(
        self, settings: BrokerSettings, client_id: str, will: Will, handlers: Handlers
    ) -> None:
        self._settings = settings
        self._client_id = client_id
        self._will = will
        self._handlers = handlers
        is_5 = settings.mqtt_5
        self._version = MQTTProtocolVersion.MQTTv5 if is_5 else MQTTProtocolVersion.MQTTv311
        self._has_served = False
        self._opening: Connection | None = None
        self._aborted = False

    @property
    def version(self) -> str:
        """The version that is spoken, as people write it."""
        return "5" if self._version is MQTTProtocolVersion.MQTTv5 else "3.1.1"

    async def open(self) -> Connection:
        """Connect by the version that served before, or by 5 and, where that fails, by 3.1.1.

        Silence counts only against a version that never served: a broker may be busy. Raises
        ``OutputError``.
        """
        connection = await self._open_as_it_can()
        self._has_served = True
        return connection

    def abort(self) -> None:
        """Give up for good what is being opened."""
        self._aborted = True
        if self._opening is not None:
            self._opening.abort()

    async def _open_as_it_can(self) -> Connection:
        try:
            return await self._open_as(self._version)
        except (VersionRefused, Unanswered) as error:
            may_be_busy = self._has_served and not isinstance(error, VersionRefused)
            is_oldest = self._version is MQTTProtocolVersion.MQTTv311
            if is_oldest or may_be_busy or self._aborted:
                raise
        older = await self._open_as(MQTTProtocolVersion.MQTTv311)
        self._version = MQTTProtocolVersion.MQTTv311
        return older

    async def _open_as(self, version: MQTTProtocolVersion) -> Connection:
        self._opening = Connection(
            self._settings, self._client_id, version, self._will, self._handlers
        )
        try:
            await self._opening.open()
            return self._opening
        finally:
            self._opening = None
