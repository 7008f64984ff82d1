"""What a sweep is told against besides the vertical: the bay's standing plane, and the frame."""

import argparse
import math
from dataclasses import dataclass

from calibration.measured import Measured
from ingest.commands.level import day_of
from ingest.commands.tables import read_text
from ingest.core.errors import InputError
from ingest.core.units import DEG
from ingest.geometry.level.plane import Referred, StandingPlane, caster_to_frame, to_plane
from ingest.geometry.sweep.steering import Steering
from ingest.payload.level_file import load_level

LARGEST_FRAME_DEG = 10.0


@dataclass(frozen=True, slots=True)
class Standing:
    """The plane that the wheels stand on, and how far the frame's front is down, where known."""

    plane: StandingPlane | None
    frame: Measured | None

    def to_plane(self, steering: Steering) -> Referred | None:
        """Return the angles against the plane; None without one, or without an uncertainty."""
        found = steering.estimates
        if self.plane is None or found is None:
            return None
        return to_plane(steering.side, found.caster, found.camber, found.sai, self.plane)

    def to_frame(self, steering: Steering) -> Measured | None:
        """Return the caster against the frame; None where one of them is not known."""
        if self.frame is None or steering.estimates is None:
            return None
        return caster_to_frame(steering.estimates.caster, self.frame)


def add_level_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "--level", metavar="LEVEL.json", help="the bay's standing points (see levelhead level)"
    )
    parser.add_argument("--on", metavar="DAY", help="day of the sweep, for the level (today)")
    parser.add_argument(
        "--frame-deg",
        type=float,
        help="the frame against the vertical's level, front DOWN positive",
    )
    parser.add_argument(
        "--u-frame-deg", type=float, help="its standard uncertainty (default 0.05, ours to choose)"
    )


def standing_of(args: argparse.Namespace) -> Standing:
    """Return what the options say. An overdue level is refused (``ReferenceRefused``)."""
    plane, frame = None, None
    if args.level is not None:
        where, text = read_text(args.level)
        level = load_level(text, where)
        level.refuse_overdue(day_of("--on", args.on))
        plane = level.plane()
    if args.frame_deg is not None:
        u_deg = 0.05 if args.u_frame_deg is None else args.u_frame_deg
        if not abs(args.frame_deg) <= LARGEST_FRAME_DEG:
            reason = f"{args.frame_deg} is not within {LARGEST_FRAME_DEG:g} deg"
            raise InputError("--frame-deg", None, reason)
        if not (math.isfinite(u_deg) and u_deg >= 0.0):
            raise InputError("--u-frame-deg", None, f"{u_deg} is not 0 or above")
        frame = Measured.of(args.frame_deg * DEG, u_deg * DEG, source="frame angle", shared=True)
    elif args.u_frame_deg is not None:
        raise InputError("--u-frame-deg", None, "goes with --frame-deg")
    return Standing(plane, frame)
