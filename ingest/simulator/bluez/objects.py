"""The objects of BlueZ that a host sees on the bus, as far as a host of heads uses them.

Names and signatures are those of BlueZ's own D-Bus interface (org.bluez, its documents of 5.66),
so that an unmodified client finds what it expects.
"""
# ruff: noqa: N802 - the names are those of the interface

from collections.abc import Callable
from typing import Annotated

from dbus_fast.annotations import (
    DBusBool,
    DBusBytes,
    DBusDict,
    DBusInt16,
    DBusObjectPath,
    DBusSignature,
    DBusStr,
    DBusUInt16,
)
from dbus_fast.constants import PropertyAccess
from dbus_fast.errors import DBusError
from dbus_fast.service import ServiceInterface, dbus_method, dbus_property

Strings = Annotated[list[str], DBusSignature("as")]
READ = PropertyAccess.READ


class Adapter(ServiceInterface):
    """A Bluetooth radio."""

    def __init__(self) -> None:
        super().__init__("org.bluez.Adapter1")
        self.powered = True
        self.discovering = False

    @dbus_method()
    def StartDiscovery(self) -> None:
        if not self.powered:
            raise DBusError("org.bluez.Error.NotReady", "Resource Not Ready")
        if self.discovering:
            raise DBusError("org.bluez.Error.InProgress", "Operation already in progress")
        self.discovering = True
        self.emit_properties_changed({"Discovering": True})

    @dbus_method()
    def StopDiscovery(self) -> None:
        self.discovering = False
        self.emit_properties_changed({"Discovering": False})

    @dbus_method()
    def SetDiscoveryFilter(self, filters: DBusDict) -> None:
        """Take note of nothing: every head is told of."""

    @dbus_method()
    def RemoveDevice(self, device: DBusObjectPath) -> None:
        """Forget nothing."""

    @dbus_property(access=READ)
    def Address(self) -> DBusStr:
        return "02:00:00:00:00:01"

    @dbus_property(access=READ)
    def Name(self) -> DBusStr:
        return "simulated radio"

    @dbus_property(access=READ)
    def Powered(self) -> DBusBool:
        return self.powered

    @dbus_property(access=READ)
    def Discovering(self) -> DBusBool:
        return self.discovering

    @dbus_property(access=READ)
    def UUIDs(self) -> Strings:
        return []

    @dbus_property(access=READ)
    def Roles(self) -> Strings:
        return ["central"]


class Device(ServiceInterface):
    """A peripheral as the daemon knows it."""

    def __init__(
        self,
        address: str,
        name: str,
        service: str,
        on_connect: Callable[[], None],
        on_disconnect: Callable[[], None],
    ) -> None:
        super().__init__("org.bluez.Device1")
        self._address = address
        self._name = name
        self._service = service
        self._on_connect = on_connect
        self._on_disconnect = on_disconnect
        self.adapter_path = ""
        self.connected = False
        self.resolved = False
        self.paired = False
        self.bonds = True
        self.trusted = False
        self.rssi = -50

    @dbus_method()
    def Connect(self) -> None:
        self._on_connect()

    @dbus_method()
    def Disconnect(self) -> None:
        self._on_disconnect()

    @dbus_method()
    def Pair(self) -> None:
        if not self.bonds:
            raise DBusError("org.bluez.Error.AuthenticationFailed", "Authentication Failed")
        if not self.connected:
            self._on_connect()
        self.paired = True
        self.emit_properties_changed({"Paired": True})

    @dbus_property(access=READ)
    def Address(self) -> DBusStr:
        return self._address

    @dbus_property(access=READ)
    def Name(self) -> DBusStr:
        return self._name

    @dbus_property(access=READ)
    def Alias(self) -> DBusStr:
        return self._name

    @dbus_property(access=READ)
    def Adapter(self) -> DBusObjectPath:
        return self.adapter_path

    @dbus_property(access=READ)
    def Paired(self) -> DBusBool:
        return self.paired

    @dbus_property(access=READ)
    def Bonded(self) -> DBusBool:
        return self.paired

    @dbus_property(access=READ)
    def Connected(self) -> DBusBool:
        return self.connected

    @dbus_property(access=READ)
    def ServicesResolved(self) -> DBusBool:
        return self.resolved

    @dbus_property(access=READ)
    def UUIDs(self) -> Strings:
        return [self._service]

    @dbus_property(access=READ)
    def RSSI(self) -> DBusInt16:
        return self.rssi

    @dbus_property()
    def Trusted(self) -> DBusBool:
        return self.trusted

    @Trusted.setter  # type: ignore[no-redef]
    def Trusted(self, trusted: DBusBool) -> None:
        self.trusted = trusted

    def advertise(self) -> None:
        """Be heard once more by whoever scans."""
        self.rssi = -50 if self.rssi != -50 else -51
        self.emit_properties_changed({"RSSI": self.rssi})


class Service(ServiceInterface):
    """A GATT service."""

    def __init__(self, uuid: str, device_path: str) -> None:
        super().__init__("org.bluez.GattService1")
        self._uuid = uuid
        self._device_path = device_path

    @dbus_property(access=READ)
    def UUID(self) -> DBusStr:
        return self._uuid

    @dbus_property(access=READ)
    def Device(self) -> DBusObjectPath:
        return self._device_path

    @dbus_property(access=READ)
    def Primary(self) -> DBusBool:
        return True


class Characteristic(ServiceInterface):
    """A GATT characteristic. ``allowed`` says whether the link is bonded where that is needed."""

    def __init__(
        self,
        uuid: str,
        service_path: str,
        flags: list[str],
        mtu: int,
        *,
        read: Callable[[], bytes] = bytes,
        write: Callable[[bytes], None] | None = None,
        allowed: Callable[[], bool] = lambda: True,
    ) -> None:
        super().__init__("org.bluez.GattCharacteristic1")
        self._uuid = uuid
        self._service_path = service_path
        self._flags = flags
        self._mtu = mtu
        self._read = read
        self._write = write
        self._allowed = allowed
        self.notifying = False

    def _need_bond(self) -> None:
        if not self._allowed():
            raise DBusError("org.bluez.Error.NotAuthorized", "Operation Not Authorized")

    @dbus_method()
    def ReadValue(self, options: DBusDict) -> DBusBytes:
        self._need_bond()
        return self._read()

    @dbus_method()
    def WriteValue(self, value: DBusBytes, options: DBusDict) -> None:
        self._need_bond()
        if self._write is None:
            raise DBusError("org.bluez.Error.NotSupported", "Operation is not supported")
        self._write(bytes(value))

    @dbus_method()
    def StartNotify(self) -> None:
        self._need_bond()
        self.notifying = True
        self.emit_properties_changed({"Notifying": True})

    @dbus_method()
    def StopNotify(self) -> None:
        self.notifying = False
        self.emit_properties_changed({"Notifying": False})

    @dbus_property(access=READ)
    def UUID(self) -> DBusStr:
        return self._uuid

    @dbus_property(access=READ)
    def Service(self) -> DBusObjectPath:
        return self._service_path

    @dbus_property(access=READ)
    def Value(self) -> DBusBytes:
        return b""

    @dbus_property(access=READ)
    def Notifying(self) -> DBusBool:
        return self.notifying

    @dbus_property(access=READ)
    def Flags(self) -> Strings:
        return self._flags

    @dbus_property(access=READ)
    def MTU(self) -> DBusUInt16:
        return self._mtu

    def notify(self, value: bytes) -> None:
        """Send a value to whoever subscribed."""
        if self.notifying:
            self.emit_properties_changed({"Value": value})
