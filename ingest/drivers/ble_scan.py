"""Which heads advertise over Bluetooth LE now."""

from dataclasses import dataclass

from bleak import BleakScanner

from ingest.drivers.ble import SERVICE
from ingest.drivers.ble_errors import BLE_ERRORS, link_error

SCAN_S = 4.0
"""Heads advertise several times a second; a radio listens to one channel at a time."""


@dataclass(frozen=True, slots=True)
class SeenHead:
    """What a head advertises. ``name`` is what it says itself, and not to be trusted."""

    address: str
    name: str
    rssi_dbm: int


async def list_ble_heads(scan_s: float = SCAN_S) -> list[SeenHead]:
    """Return the heads that advertise within some seconds, the nearest first.

    One that a host holds does not advertise. Raises ``LinkError``.
    """
    try:
        found = await BleakScanner.discover(scan_s, return_adv=True, service_uuids=[SERVICE])
    except BLE_ERRORS as error:
        raise link_error("Bluetooth", error) from error
    heads = [
        SeenHead(device.address, seen.local_name or device.name or "", seen.rssi)
        for device, seen in found.values()
    ]
    return sorted(heads, key=lambda head: -head.rssi_dbm)
