"""``levelhead sweep``: find caster and SAI from a steering sweep in a CSV file, or in two."""

import argparse
import contextlib
import json
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from ingest.commands.sweep_answer import Answer, as_json
from ingest.commands.sweep_drawing import drawn
from ingest.commands.sweep_level import standing_of
from ingest.commands.sweep_options import PLATE, STEER, check_options, declare_options, files_of
from ingest.commands.sweep_text import as_text
from ingest.commands.tables import STANDARD_INPUT, Table, read_table
from ingest.commands.writing import write_whole
from ingest.core.errors import InputError, MeasurementRefused
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.sweep.fit import fit_axle, fit_sweep
from ingest.geometry.sweep.readings import Sweep, SweepLimits, SweepNoise, SweepTerms
from ingest.geometry.sweep.steering import Steering
from ingest.geometry.sweep.turning import SteeredAxle, furthest

STEEPEST_DEG = 45.0
"""No wheel leans, and no head swings, by so much."""
FURTHEST_DEG = 80.0
"""No wheel is steered so far."""
LIKE_RADIANS_DEG = 1.2
"""A sweep that goes no further is no sweep; it may stand in radians (1.2 rad are 69 deg)."""
MOST_ROWS = 100_000
"""A quarter of an hour at 100 readings a second: more than any sweep."""
BAD_INPUT = ("too-few-positions", "span", "sign")
"""What the file is to blame for, not the measurement."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    declare_options(parser)


@dataclass(frozen=True, slots=True)
class _Fit:
    """How a sweep is fitted."""

    noise: SweepNoise | None
    terms: SweepTerms
    limits: SweepLimits
    roll: bool


def run(args: argparse.Namespace) -> int:
    """Fit and print. A refused measurement and bad input leave by their errors."""
    files = files_of(args)
    check_options(args)
    how = _how(args)
    standing = standing_of(args)
    sweeps = {side: _read(path, side, args) for side, path in files.items()}
    steerings = _steerings(files, sweeps, how)
    steered = [furthest(sweep.steer_rad) for sweep in sweeps.values()]
    answer = Answer(steerings, steered, _axle(sweeps, how.noise), _base(args), standing)
    if args.drawing is not None:
        write_whole(args.drawing, drawn(answer))
    print(json.dumps(as_json(answer)) if args.json else as_text(answer))
    return 0


def _how(args: argparse.Namespace) -> _Fit:
    noise, limits = None, SweepLimits()
    if args.sigma_deg is not None:
        noise = SweepNoise(args.sigma_deg * DEG, (args.steer_sigma_deg or 0.0) * DEG)
    if args.max_u_deg is not None:
        limits = SweepLimits(u_rad=args.max_u_deg * DEG, u_rolling_rad=args.max_u_deg * DEG)
    terms = SweepTerms(zero_rad=args.u_zero_deg * DEG)
    return _Fit(noise, terms, limits, args.axle_roll == "fitted")


def _read(path: str, side: Side, args: argparse.Namespace) -> Sweep:
    own_toe = args.toe_left_deg if side is Side.LEFT else args.toe_right_deg
    table = read_table(path, ("incl_y_deg",), (STEER, PLATE, "incl_x_deg"))
    if len(table.lines) > MOST_ROWS:
        reason = f"{len(table.lines)} data rows; no sweep has more than {MOST_ROWS}"
        raise InputError(table.name, None, reason)
    if STEER not in table.columns and PLATE not in table.columns:
        raise InputError(table.name, 1, f"no column {STEER}; name how far the wheel was steered")
    _check_angles(table)
    steer = STEER if STEER in table.columns else PLATE
    if args.swivel == "free":
        table.columns.pop("incl_x_deg", None)
    tilt = table.columns.get("incl_x_deg")
    _check_radians(table, steer)
    return Sweep(
        side,
        table.columns[steer] * DEG,
        table.columns["incl_y_deg"] * DEG,
        None if tilt is None else tilt * DEG,
        toe_rad=(args.toe_deg if own_toe is None else own_toe) * DEG,
        by_plate=steer == PLATE,
    )


def _check_angles(table: Table) -> None:
    for title, values in table.columns.items():
        limit = STEEPEST_DEG if title.startswith("incl") else FURTHEST_DEG
        wrong = np.flatnonzero(np.abs(values) >= limit)
        if wrong.size:
            row = int(wrong[0])
            reason = f"{title} is {values[row]:g}, not within {limit:g} deg"
            raise InputError(table.name, table.lines[row], reason)


def _check_radians(table: Table, steer: str) -> None:
    """Refuse a sweep so short that it stands in radians, or is none."""
    values = table.columns[steer]
    low, high = float(values.min()), float(values.max())
    if low < high and max(-low, high) < LIKE_RADIANS_DEG:
        reason = f"{steer} goes from {low:g} to {high:g}: radians? give degrees, or steer further"
        raise InputError(table.name, None, reason)


def _steerings(files: dict[Side, str], sweeps: dict[Side, Sweep], how: _Fit) -> list[Steering]:
    """Fit what was read; what is wrong with a file itself is told as such, with its name."""
    if how.roll and len(sweeps) == 2:
        left, right = _together(files, sweeps)
        with _blaming(" and ".join(files.values())):
            both = fit_axle(
                left, right, noise=how.noise, terms=how.terms, limits=how.limits, roll=True
            )
        return list(both)
    found = []
    for side, sweep in sweeps.items():
        with _blaming(files[side], side if len(sweeps) > 1 else None):
            found.append(
                fit_sweep(sweep, noise=how.noise, terms=how.terms, limits=how.limits, roll=how.roll)
            )
    return found


@contextlib.contextmanager
def _blaming(files: str, side: Side | None = None) -> Iterator[None]:
    """Tell what is wrong with the readings themselves as bad input; name the side, of two."""
    try:
        yield
    except MeasurementRefused as refused:
        text = refused.text if side is None else f"{side} wheel: {refused.text}"
        if refused.code in BAD_INPUT:
            raise InputError(_name(files), None, text) from refused
        raise MeasurementRefused(
            refused.code, text, figure=refused.figure, limit=refused.limit
        ) from refused


def _name(file: str) -> str:
    return "standard input" if file == STANDARD_INPUT else file


def _together(files: dict[Side, str], sweeps: dict[Side, Sweep]) -> tuple[Sweep, Sweep]:
    """Return both sides with the roll of their axle following the steering of both."""
    left, right = sweeps[Side.LEFT], sweeps[Side.RIGHT]
    if len(left) != len(right):
        reason = (
            f"{len(right)} readings, {files[Side.LEFT]} has {len(left)}; with the axle's roll "
            "fitted each row is read on both sides at once"
        )
        raise InputError(files[Side.RIGHT], None, reason)
    mean = (left.steer_rad + right.steer_rad) / 2.0
    return replace(left, roll_by_rad=mean), replace(right, roll_by_rad=mean)


def _axle(sweeps: dict[Side, Sweep], noise: SweepNoise | None) -> SteeredAxle | None:
    """Return both wheels at the same positions; without rows in step no turn can be told."""
    if len(sweeps) < 2:
        return None
    left, right = (sweeps[side].steer_rad for side in Side)
    u_rad = noise.steer_rad if noise is not None and noise.steer_rad > 0.0 else None
    if len(left) != len(right):
        left = right = np.zeros(0)
    return SteeredAxle(left, right, u_rad)


def _base(args: argparse.Namespace) -> tuple[float, float] | None:
    if args.wheelbase_m is None:
        return None
    return args.kingpin_spacing_m, args.wheelbase_m
