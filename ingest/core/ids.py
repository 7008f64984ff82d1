"""Kinds that must not be swapped: who a head is, and which clock a number belongs to."""

from typing import NewType

HeadId = NewType("HeadId", str)
"""A head's own identity, 16 lower-case hex digits, given by its firmware. Never a port name."""

HeadName = NewType("HeadName", str)
"""What the workshop calls a head: a topic level, ``[a-z0-9_-]{1,32}``."""

BootId = NewType("BootId", int)
"""A number that a head draws anew at each start (u32), so that a reboot and a wrap differ."""

MonotonicNs = NewType("MonotonicNs", int)
"""Host time on the monotonic clock, nanoseconds. Wall time is added only when publishing."""

DeviceTickUs = NewType("DeviceTickUs", int)
"""A head's own counter, microseconds, modulo 2**32."""
