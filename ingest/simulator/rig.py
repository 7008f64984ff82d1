"""The whole rig in space: a vehicle and its heads, and what each head would read, exactly."""

from bisect import insort
from dataclasses import replace

import numpy as np

from ingest.core.blocks import F64
from ingest.core.channels import CHANNELS, ROW, Channel
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.simulator.clamp import Clamping, place
from ingest.simulator.head import (
    Head,
    HeadPose,
    Port,
    Seat,
    elevation,
    hanging,
    locked,
    on_trolley,
    port_m,
    sight,
)
from ingest.simulator.obstacles import Flags, blocked_by_boxes, blocked_by_tyres
from ingest.simulator.vehicle import Vehicle, WheelAt

KNOCK_RAD = {"mount": 8.0 * DEG, "lock": 0.5 * DEG}
"""How hard a head is set swinging by what is done to it."""

ALONG = (0.0, np.pi)


class Rig:
    """A vehicle with heads on some of its wheels. Times are seconds of the rig's own clock.

    All questions may be asked for any times, as long as plans are made before the times that
    they concern are asked about.
    """

    def __init__(self, vehicle: Vehicle, heads: tuple[Head, ...]) -> None:
        self.vehicle = vehicle
        self.heads = heads
        self._changes_s: list[float] = []

    def mount(self, head: Head, wheel: WheelAt, clamping: Clamping, at_s: float) -> None:
        """Clamp a head to a wheel at a moment. Raises ValueError when another head sits there."""
        for other in self.heads:
            seat = other.seat_at(at_s)
            if other is not head and seat is not None and seat.wheel == wheel:
                raise ValueError(f"another head sits on {wheel}")
        head.seats.append((at_s, Seat(wheel, clamping)))
        head.locks.append((at_s, None))
        head.swing.knock(at_s, KNOCK_RAD["mount"])
        insort(self._changes_s, at_s)

    def dismount(self, head: Head, at_s: float) -> None:
        """Take a head off its wheel and put it on the trolley."""
        head.seats.append((at_s, None))
        head.locks.append((at_s, None))
        insort(self._changes_s, at_s)

    def slip(self, head: Head, at_s: float, angle_rad: float, around_rad: float) -> None:
        """Knock a clamp askew: its shaft leans by so much more, towards a place in the wheel."""
        seat = head.seat_at(at_s)
        if seat is None:
            raise ValueError("a head on the trolley cannot slip")
        before = seat.clamping
        lean = before.runout_rad * np.exp(1j * before.runout_at_rad)
        lean += angle_rad * np.exp(1j * around_rad)
        after = replace(before, runout_rad=float(abs(lean)), runout_at_rad=float(np.angle(lean)))
        head.seats.append((at_s, Seat(seat.wheel, after)))
        head.swing.knock(at_s, angle_rad)
        insort(self._changes_s, at_s)

    def lock(self, head: Head, at_s: float) -> None:
        """Lock a head to its shaft as it hangs at that moment."""
        rotation = float(self.pose(head, np.array([at_s])).rotation_rad[0])
        head.locks.append((at_s, rotation))
        insort(self._changes_s, at_s)

    def unlock(self, head: Head, at_s: float) -> None:
        """Let a head hang freely again."""
        head.locks.append((at_s, None))
        head.swing.knock(at_s, KNOCK_RAD["lock"])
        insort(self._changes_s, at_s)

    def knock(self, wheel: WheelAt, at_s: float, amplitude_rad: float) -> None:
        """Set the head on a wheel swinging, if there is one."""
        for head in self.heads:
            seat = head.seat_at(at_s)
            if seat is not None and seat.wheel == wheel:
                head.swing.knock(at_s, amplitude_rad)

    def pose(self, head: Head, t_s: F64) -> HeadPose:
        """Return where a head is; nothing may be mounted or locked between the times asked."""
        seat = head.seat_at(t_s[0])
        if seat is None:
            return on_trolley()
        wheel = self.vehicle.wheel_pose(seat.wheel, t_s)
        shaft = place(seat.clamping, wheel, seat.wheel.side)
        lock = head.lock_at(t_s[0])
        if lock is not None:
            return locked(shaft, lock)
        spin = self.vehicle.wheel_state[seat.wheel].spin.rate(t_s)
        return hanging(shaft, head.swing.at(t_s, spin))

    def true_channels(self, head: Head, t_s: F64) -> F64:
        """Return what a perfect head reads at increasing times, shape (8, n), radians.

        Temperature is in degrees Celsius; NaN where there is no value: no such channel, no
        partner, something in the way, out of view.
        """
        cuts = np.searchsorted(t_s, self._changes_s)
        pieces = [piece for piece in np.split(t_s, np.unique(cuts)) if piece.size]
        return np.concatenate([self._piece(head, piece) for piece in pieces], axis=1)

    def partner(self, head: Head, at_s: float, *, across: bool) -> Head | None:
        """Return the head that a sightline leads to.

        Across: the one on the other side of the axle. Along: on the same side, the nearest
        ahead, or else the nearest behind.
        """
        seat = head.seat_at(at_s)
        if seat is None:
            return None
        seats = [(other, s) for other in self.heads if (s := other.seat_at(at_s)) is not None]
        if across:
            facing = [o for o, s in seats if s.wheel == _opposite(seat.wheel)]
            return facing[0] if facing else None
        line = {s.wheel.axle: o for o, s in seats if s.wheel.side is seat.wheel.side}
        ahead = [axle for axle in line if axle < seat.wheel.axle]
        behind = [axle for axle in line if axle > seat.wheel.axle]
        if ahead:
            return line[max(ahead)]
        return line[min(behind)] if behind else None

    def _piece(self, head: Head, t_s: F64) -> F64:
        """Read the channels over times in which no head is mounted, moved or locked."""
        pose = self.pose(head, t_s)
        found = np.full((len(CHANNELS), t_s.size), np.nan)
        found[ROW[Channel.INCL_X]] = elevation(pose.forward)
        found[ROW[Channel.INCL_Y]] = elevation(pose.left)
        found[ROW[Channel.INCL_Z]] = elevation(pose.up)
        found[ROW[Channel.ROTATION]] = pose.rotation_rad
        found[ROW[Channel.TEMPERATURE]] = head.warming.at(t_s)
        seat = head.seat_at(t_s[0])
        if seat is not None:
            self._look_around(head, seat, pose, t_s, found)
        missing = [ROW[c] for c in CHANNELS if c not in head.design.channels]
        found[missing] = np.nan
        return found

    def _look_around(self, head: Head, seat: Seat, pose: HeadPose, t_s: F64, found: F64) -> None:
        side = seat.wheel.side
        across = (-side.sign * np.pi / 2.0,)
        for channel, middles, is_across in (
            (Channel.AZIMUTH_CROSS, across, True),
            (Channel.AZIMUTH_TRACK, ALONG, False),
        ):
            partner = self.partner(head, t_s[0], across=is_across)
            if (
                partner is not None
                and channel in head.design.channels
                and not self._unseen(seat.wheel, partner, t_s[0])
            ):
                ports = (_port(head, channel), _port(partner, channel))
                view = head.design.view_rad
                found[ROW[channel]] = self._sightline(
                    pose, side, partner, t_s, ports, middles, view
                )
        if self.vehicle.axles[seat.wheel.axle].steered and self.vehicle.stands(
            seat.wheel.axle, t_s[0]
        ):
            found[ROW[Channel.STEER]] = self.vehicle.plate_turn(seat.wheel, t_s)

    def _sightline(
        self,
        pose: HeadPose,
        side: Side,
        partner: Head,
        t_s: F64,
        ports: tuple[Port, Port],
        middles_rad: tuple[float, ...],
        view_rad: float,
    ) -> F64:
        seat = partner.seat_at(t_s[0])
        assert seat is not None
        start = port_m(pose, ports[0], side)
        end = port_m(self.pose(partner, t_s), ports[1], seat.wheel.side)
        start, end = np.broadcast_arrays(start, end)
        azimuth = sight(pose, start, end, middles_rad, view_rad)
        return np.where(self._blocked(start, end), np.nan, azimuth)

    def _unseen(self, wheel: WheelAt, partner: Head, at_s: float) -> bool:
        """Say whether a part of the vehicle stands between the heads on two wheels."""
        seat = partner.seat_at(at_s)
        return seat is not None and frozenset((wheel, seat.wheel)) in self.vehicle.unseen

    def _blocked(self, start_m: F64, end_m: F64) -> Flags:
        start, end = self.vehicle.to_vehicle(start_m), self.vehicle.to_vehicle(end_m)
        beams = blocked_by_boxes(start, end, self.vehicle.beams)
        return beams | blocked_by_tyres(start, end, self.vehicle.tyres)


def _opposite(wheel: WheelAt) -> WheelAt:
    return WheelAt(wheel.axle, Side.RIGHT if wheel.side is Side.LEFT else Side.LEFT)


def _port(head: Head, channel: Channel) -> Port:
    return head.design.cross if channel is Channel.AZIMUTH_CROSS else head.design.track
