"""How to reach the broker."""

import ssl
from dataclasses import dataclass, field
from pathlib import Path

from ingest.core.errors import ConfigError, OutputError
from ingest.core.reading import read_file

_WHERE = "broker"


@dataclass(frozen=True, slots=True)
class BrokerSettings:
    """Where the broker is and who we are to it. Raises ``ConfigError`` when it makes no sense.

    The password stands here or, better, alone in a file that only the service can read; it
    shows in no message. Certificates are PEM files. ``client_id`` must be this instance's
    own; left empty, the outlet draws one that stays the same for as long as it runs.
    """

    host: str = "127.0.0.1"
    port: int = 1883
    client_id: str = ""
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    password_file: Path | None = None
    mqtt_5: bool = True
    """Try MQTT 5 first. The embedded broker speaks 3.1.1 only and is silent on a will in 5."""
    tls: bool = False
    ca_file: Path | None = None
    cert_file: Path | None = None
    key_file: Path | None = None
    keepalive_s: int = 15
    connect_timeout_s: float = 5.0
    stop_timeout_s: float = 2.0

    def __post_init__(self) -> None:
        self._need(bool(self.host), "host", "name the broker's host")
        self._need(0 < self.port < 65536, "port", "1 to 65535")
        self._need(self.keepalive_s >= 1, "keepalive_s", "at least 1")
        self._need(self.connect_timeout_s > 0, "connect_timeout_s", "more than 0")
        self._need(self.stop_timeout_s > 0, "stop_timeout_s", "more than 0")
        both = self.password is not None and self.password_file is not None
        self._need(not both, "password_file", "give password or password_file, not both")
        secret = self.password is not None or self.password_file is not None
        self._need(self.user is not None or not secret, "user", "a password needs a user")
        for name in ("ca_file", "cert_file", "key_file"):
            self._need(self.tls or getattr(self, name) is None, name, "only with tls = true")
        alone = (self.cert_file is None) != (self.key_file is None)
        self._need(not alone, "cert_file", "cert_file and key_file go together")

    def _need(self, holds: bool, name: str, allowed: str) -> None:
        if not holds:
            raise ConfigError(_WHERE, name, getattr(self, name), allowed)

    @property
    def where(self) -> str:
        """The broker's address, for messages."""
        return f"broker {self.host}:{self.port}"


def read_password(settings: BrokerSettings) -> str | None:
    """Return the password. Blocks on the file; raises ``OutputError`` when it is unreadable."""
    if settings.password_file is None:
        return settings.password
    try:
        return read_file(settings.password_file).decode("utf-8").rstrip("\r\n")
    except (OSError, UnicodeDecodeError) as error:
        raise OutputError(
            settings.where,
            f"password file {settings.password_file}: {_cause(error)}",
            retryable=False,
        ) from error


def tls_context(settings: BrokerSettings) -> ssl.SSLContext | None:
    """Return what TLS needs, host names checked, TLS 1.2 or newer; None without TLS.

    Blocks on the certificate files; raises ``OutputError`` when one cannot be used.
    """
    if not settings.tls:
        return None
    try:
        context = ssl.create_default_context(cafile=settings.ca_file)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        if settings.cert_file is not None:
            context.load_cert_chain(settings.cert_file, settings.key_file)
    except (OSError, ssl.SSLError) as error:
        raise OutputError(
            settings.where, f"certificate files: {_cause(error)}", retryable=False
        ) from error
    return context


def _cause(error: Exception) -> str:
    return getattr(error, "strerror", None) or type(error).__name__
