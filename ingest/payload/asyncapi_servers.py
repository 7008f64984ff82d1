"""The brokers of the AsyncAPI document, and who gets in: no real host stands in it."""

from typing import Any

_USER = {"$ref": "#/components/securitySchemes/display"}
_TECHNICIAN = {"$ref": "#/components/securitySchemes/technician"}

SECURITY: dict[str, Any] = {
    "display": {
        "type": "userPassword",
        "description": "Reads. Its permissions at the broker keep it from asking for anything.",
    },
    "technician": {
        "type": "userPassword",
        "description": "Reads, and may publish under cmd/{command}/{own user name}.",
    },
}

SERVERS: dict[str, Any] = {
    "loopback": {
        "host": "localhost:1883",
        "protocol": "mqtt",
        "protocolVersion": "3.1.1",
        "description": "The embedded broker: on this machine alone, open to its local user, who is "
        "the technician.",
    },
    "loopback-pages": {
        "host": "localhost:{port}",
        "protocol": "ws",
        "protocolVersion": "3.1.1",
        "description": "The same over WebSocket, sub-protocol mqtt, where a port is configured.",
        "variables": {"port": {"default": "9001", "description": "broker.websocket_port"}},
    },
    "workshop": {
        "host": "{host}:8883",
        "protocol": "secure-mqtt",
        "protocolVersion": "5",
        "description": "A broker of your own, with TLS, users and permissions. MQTT 3.1.1 serves: "
        "nothing that a reader needs is in the properties of 5 alone.",
        "variables": {"host": {"default": "broker.example", "description": "Its name."}},
        "security": [_USER, _TECHNICIAN],
        "bindings": {
            "mqtt": {
                "lastWill": {
                    "topic": "levelhead/v1/{bay}/svc/status",
                    "qos": 1,
                    "retain": True,
                    "message": "service-will/1, see svc/status",
                },
                "bindingVersion": "0.2.0",
            }
        },
    },
}
