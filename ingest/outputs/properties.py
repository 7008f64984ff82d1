"""MQTT 5 properties of what we publish, packed once and used many times."""

import math
from functools import cache

from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

CONTENT_TYPE = "application/json"
WILL_DELAY_S = 1
"""A connection that comes back within this time is not announced as lost, where the broker
keeps to it; readers compare boot ids anyway."""


class PackedProperties(Properties):
    """Properties in wire form. Packing them anew costs more than all the rest of a publish."""

    wire: bytes

    def __init__(self, properties: Properties) -> None:
        super().__init__(properties.packetType)  # type: ignore[no-untyped-call]
        # The base class takes no other attributes than the names of properties.
        packed = properties.pack()  # type: ignore[no-untyped-call]
        object.__setattr__(self, "wire", packed)

    def pack(self) -> bytes:
        """Return the wire form."""
        return self.wire


@cache
def publish_properties(expiry_s: int | None) -> Properties:
    """Return the properties of a message that is JSON and worth reading for ``expiry_s``."""
    return PackedProperties(_described(PacketTypes.PUBLISH, expiry_s))


def reply_properties(expiry_s: int | None, correlation: bytes) -> Properties:
    """Return the properties of an answer that carries its asker's own mark."""
    properties = _described(PacketTypes.PUBLISH, expiry_s)
    properties.CorrelationData = correlation
    return properties


def will_properties() -> Properties:
    """Return the properties of the will."""
    properties = _described(PacketTypes.WILLMESSAGE, None)
    properties.WillDelayInterval = WILL_DELAY_S
    return properties


def connect_properties() -> Properties:
    """Return the properties of the connection: nothing of it outlives it."""
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.SessionExpiryInterval = 0
    return properties


def whole_seconds(expiry_s: float | None) -> int | None:
    """Return an expiry as MQTT writes it, rounded up so that nothing expires too soon."""
    return None if expiry_s is None else max(1, math.ceil(expiry_s))


def _described(packet_type: int, expiry_s: int | None) -> Properties:
    properties = Properties(packet_type)  # type: ignore[no-untyped-call]
    properties.PayloadFormatIndicator = 1
    properties.ContentType = CONTENT_TYPE
    if expiry_s is not None:
        properties.MessageExpiryInterval = expiry_s
    return properties
