"""What bleak, D-Bus and the operating system raise about Bluetooth, in our own words."""

from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakCharacteristicNotFoundError,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakError,
    BleakGATTProtocolError,
    BleakGATTProtocolErrorCode,
)

from ingest.core.errors import LinkBusy, LinkDenied, LinkError, LinkLost, LinkNotFound, LinkTimeout

BLE_ERRORS = (BleakError, OSError, EOFError, AssertionError)
"""All that bleak is known to let through: a dead bus gives ``EOFError``, none ``OSError``."""

SERVICE_AWAY = "the Bluetooth service does not run (Debian: systemctl start bluetooth)"
NO_SERVICE = "this machine has no Bluetooth service to ask (no D-Bus, or no bluetoothd on it)"
OFF = "Bluetooth is switched off; switch it on (bluetoothctl power on)"
NO_RADIO = "there is no Bluetooth adapter on this machine"
DENIED = "permission for Bluetooth is missing; add the user to the group bluetooth"
NOT_BONDED = (
    "the head takes commands over a bonded link only, and does not bond; put it into its "
    "pairing mode and pair it once (bluetoothctl pair ADDRESS)"
)

_BY_DBUS: dict[str, tuple[type[LinkError], str]] = {
    "org.freedesktop.DBus.Error.ServiceUnknown": (LinkNotFound, SERVICE_AWAY),
    "org.freedesktop.DBus.Error.NameHasNoOwner": (LinkNotFound, SERVICE_AWAY),
    "org.freedesktop.DBus.Error.NoReply": (LinkNotFound, SERVICE_AWAY),
    "org.freedesktop.DBus.Error.UnknownObject": (LinkNotFound, "the head is not seen any more"),
    "org.freedesktop.DBus.Error.AccessDenied": (LinkDenied, DENIED),
    "org.bluez.Error.NotReady": (LinkNotFound, OFF),
    "org.bluez.Error.InProgress": (LinkBusy, "the adapter is busy with another program"),
    "org.bluez.Error.NotAuthorized": (LinkDenied, NOT_BONDED),
    "org.bluez.Error.NotPermitted": (LinkDenied, NOT_BONDED),
    "org.bluez.Error.AuthenticationFailed": (LinkDenied, NOT_BONDED),
    "org.bluez.Error.AuthenticationRejected": (LinkDenied, NOT_BONDED),
    "org.bluez.Error.AuthenticationCanceled": (LinkDenied, NOT_BONDED),
    "org.bluez.Error.AuthenticationTimeout": (LinkDenied, NOT_BONDED),
}

_Reason = BleakBluetoothNotAvailableReason
_BY_REASON: dict[BleakBluetoothNotAvailableReason, tuple[type[LinkError], str]] = {
    _Reason.NO_BLUETOOTH: (LinkNotFound, NO_RADIO),
    _Reason.NO_BLE_CENTRAL_ROLE: (LinkNotFound, NO_RADIO + " that can reach heads"),
    _Reason.POWERED_OFF: (LinkNotFound, OFF),
    _Reason.DENIED_BY_USER: (LinkDenied, DENIED),
    _Reason.DENIED_BY_SYSTEM: (LinkDenied, DENIED),
    _Reason.DENIED_BY_UNKNOWN: (LinkDenied, DENIED),
}

_Gatt = BleakGATTProtocolErrorCode
_NO_BOND_CODES = frozenset(
    (
        _Gatt.INSUFFICIENT_AUTHENTICATION,
        _Gatt.INSUFFICIENT_AUTHORIZATION,
        _Gatt.INSUFFICIENT_ENCRYPTION,
    )
)
_NO_BOND_NAMES = frozenset(name for name, (_, text) in _BY_DBUS.items() if text is NOT_BONDED)


def wants_bond(error: BaseException) -> bool:
    """Say whether a head refused something for want of a bond."""
    if isinstance(error, BleakGATTProtocolError):
        return error.code in _NO_BOND_CODES
    return isinstance(error, BleakDBusError) and error.dbus_error in _NO_BOND_NAMES


def link_error(link: str, error: BaseException) -> LinkError:
    """Return our error for what was raised while a link was opened or used."""
    if isinstance(error, TimeoutError):
        return LinkTimeout(link, "did not answer in time")
    if isinstance(error, BleakBluetoothNotAvailableError):
        kind, text = _BY_REASON.get(error.reason, (LinkNotFound, "Bluetooth is not available"))
        return kind(link, text)
    if wants_bond(error):
        return LinkDenied(link, NOT_BONDED)
    if isinstance(error, BleakDBusError):
        kind, text = _BY_DBUS.get(error.dbus_error, (LinkLost, described(error)))
        return kind(link, text)
    if isinstance(error, BleakDeviceNotFoundError):
        return LinkNotFound(link, "the head is not seen any more")
    if isinstance(error, BleakCharacteristicNotFoundError):
        return LinkDenied(link, "it is no head of this protocol: a characteristic is missing")
    if isinstance(error, PermissionError):
        return LinkDenied(link, DENIED)
    if isinstance(error, FileNotFoundError | ConnectionRefusedError):
        return LinkNotFound(link, NO_SERVICE)
    return LinkLost(link, described(error))


def described(error: BaseException) -> str:
    """Return one line."""
    return " ".join(str(error).split()) or type(error).__name__
