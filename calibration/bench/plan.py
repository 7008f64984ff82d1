"""The steps of a calibration in their order, from what the workshop has at hand.

As found comes before any adjustment, and as left repeats its points.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from calibration.bench.bar_check import BarCheck
from calibration.bench.bar_pair import BarPair
from calibration.bench.dividing_rounds import DividingRounds
from calibration.bench.full_turn import FullTurn
from calibration.bench.known_points import KnownPoints, as_before, tilt_points, turn_points
from calibration.bench.oven_round import OvenRound
from calibration.bench.procedure import Row, Target, kept
from calibration.bench.recording import Recording, cooling, soak, still_recording, warm_up
from calibration.bench.sine_steps import SineSteps
from calibration.bench.steps import Act, Series, Step
from calibration.bench.tumble import Tumble
from calibration.bench.turned_about import Reversal
from calibration.files.references import Kind, Reference
from calibration.records.parts import AzimuthChannel, Coefficients

REFERENCES = Act(
    "References",
    ("The references of the sheet are looked up in the register.",),
    "a result is worth what its references are worth: out of date or without a certificate, "
    "the work stops here",
)
FIT_ALONE = Act(
    "Coefficients of each head alone",
    ("The readings of each head are fitted, and its draft is begun.",),
    "what a head's own errors hide on the bar is taken off first",
)
FIT = Act(
    "Coefficients",
    ("All readings are fitted, and the draft of the record is written.",),
    "from here on the draft holds what was measured; readings can still be added and fitted again",
)
VERIFY_FOUND = Act(
    "Verification as found",
    ("The points as found are evaluated with what was in force before.",),
    "what the head did until today decides about what was measured with it",
)
VERIFY_LEFT = Act(
    "Verification as left",
    ("The points as left are evaluated with the new coefficients.",),
    "the certificate stands on what the head does from now on",
)
SIGN = Act(
    "Signing",
    ("The record is checked for what a certificate must say, and signed.",),
    "a signed record cannot be changed without anybody noticing",
)
CERTIFICATE = Act(
    "Certificate",
    ("The certificate is written as HTML, PDF and XML.",),
    "all three say what the record says",
)
BAR_FOUND = "Zero of toe on the bar, as found"
BAR_LEFT = "Zero of toe on the bar, as left"
LARGEST_SHARE = 0.3
"""Stacks up to this share of the bar's length: beyond 17 degrees a sine bar loses its use."""
STACKS = 4
TURNED = (Kind.REFERENCE_ENCODER, Kind.INDEXING_PLATE)


@dataclass(frozen=True, slots=True)
class HeadAtHand:
    """A head to be calibrated: its letter, serial and raw channels."""

    letter: str
    serial: str
    channels: frozenset[str]


@dataclass(frozen=True, slots=True)
class Scope:
    """How long recordings last, which channels are turned, and which looks along the bar.

    ``oven_degc``: the temperatures of the oven's soaks; none, where there is no oven. ``seats``:
    how heads sit on the spindle, by channel, where the sheet states it.
    """

    warm_up_s: float = 900.0
    still_s: float = 600.0
    soak_s: float = 3600.0
    oven_degc: tuple[float, ...] = ()
    turned: tuple[str, ...] = ("rotation",)
    azimuth: AzimuthChannel = "azimuth_cross"
    seats: Mapping[str, str] = field(default_factory=dict)


def steps_of(
    heads: Sequence[HeadAtHand],
    references: Sequence[Reference],
    scope: Scope,
    rows: Mapping[str, tuple[Row, ...]],
    known: Mapping[str, Coefficients] = MappingProxyType({}),
) -> tuple[Step, ...]:
    """Return the steps for one head, or for two on the bar.

    ``rows`` are those on file: the points as left follow those as found. ``known`` is what the
    drafts say of each head, by letter: the bar's readings are corrected by it.
    """
    letters = [head.letter if len(heads) > 1 else "" for head in heads]
    steps = [Step("references", REFERENCES)]
    for head, folder in zip(heads, letters, strict=True):
        steps += _readings(head, folder, references, scope)
    bar = first_of(references, Kind.BAR)
    if len(heads) == 2 and bar is not None:
        pair = BarPair(float(bar.value) / 1e3, scope.azimuth, known=known)
        steps += [Step("fit alone", FIT_ALONE), Step("bar", Series(pair))]
    steps.append(Step("fit", FIT))
    runs = [_Runs(h, f, references, scope, rows) for h, f in zip(heads, letters, strict=True)]
    see_each_other = len(heads) == 2 and bar is not None and scope.azimuth == "azimuth_cross"
    on_bar = see_each_other and any(run.found.plan for run in runs)
    if on_bar:
        steps.append(Step("bar found", Series(BarCheck("bar-found.csv", BAR_FOUND))))
    for run in runs:
        steps += run.before()
    if on_bar:
        steps.append(Step("bar left", Series(BarCheck("bar-left.csv", BAR_LEFT))))
    for run in runs:
        steps += run.after()
    return tuple(steps)


def first_of(references: Sequence[Reference], *kinds: Kind) -> Reference | None:
    """Return the first reference of these kinds."""
    return next((r for r in references if r.kind in kinds), None)


def stacks_of(blocks: Reference, length_mm: float) -> tuple[str, ...]:
    """Return a few heights of single blocks, or whole mm where the set names no blocks."""
    highest = LARGEST_SHARE * length_mm
    own = sorted(b.nominal_mm for b in blocks.blocks if 0.02 * length_mm <= b.nominal_mm <= highest)
    if not own:
        return tuple(f"{round(share * length_mm)}" for share in (0.025, 0.05, 0.1, 0.175))
    picked = {own[round(i * (len(own) - 1) / (STACKS - 1))] for i in range(STACKS)}
    return tuple(f"{size:f}" for size in sorted(picked))


def _readings(
    head: HeadAtHand, folder: str, references: Sequence[Reference], scope: Scope
) -> Iterator[Step]:
    """Yield what is measured to fit one head's coefficients, and its stability."""
    own = (head.letter,)
    yield _step("warm-up", warm_up(scope.warm_up_s, 4 * scope.warm_up_s, own), folder)
    if "incl_z" in head.channels:
        yield _step("sphere", Series(Tumble(heads=own)), folder)
    bar, blocks = first_of(references, Kind.SINE_BAR), first_of(references, Kind.GAUGE_BLOCKS)
    if bar is not None and blocks is not None:
        length_mm = float(bar.value)
        steps = SineSteps(length_mm, stacks_of(blocks, length_mm), heads=own)
        yield _step("steps", Series(steps), folder)
    yield _step("reversal", Series(Reversal(heads=own)), folder)
    for channel in scope.turned:
        if channel in head.channels:
            known = first_of(references, *TURNED) is not None
            turn = FullTurn(channel, heads=own, seat=scope.seats.get(channel, ""))
            work = Series(turn if known else DividingRounds(channel, heads=own))
            yield _step(f"{'turn' if known else 'closure'} {channel}", work, folder)
    yield _step("still", still_recording(scope.still_s, own), folder)
    yield from _oven(head, folder, references, scope)


def _oven(
    head: HeadAtHand, folder: str, references: Sequence[Reference], scope: Scope
) -> Iterator[Step]:
    """Yield soak and readings for each temperature; without a sine bar the head stays level."""
    own = (head.letter,)
    bar, blocks = first_of(references, Kind.SINE_BAR), first_of(references, Kind.GAUGE_BLOCKS)
    length_mm, height = math.nan, ""
    if bar is not None and blocks is not None:
        length_mm = float(bar.value)
        stacks = stacks_of(blocks, length_mm)
        height = stacks[len(stacks) // 2]
    for degc in scope.oven_degc:
        yield _step(f"soak {degc:g}", soak(degc, scope.soak_s, own), folder)
        yield _step(f"oven {degc:g}", Series(OvenRound(degc, length_mm, height, own)), folder)
    if scope.oven_degc:
        yield _step("cool", cooling(scope.soak_s, own), folder)


@dataclass(frozen=True, slots=True)
class _Runs:
    """As found, adjustment, as left, signing and certificate of one head.

    Two heads are both adjusted before either is verified as left: they share the bar.
    """

    head: HeadAtHand
    folder: str
    references: Sequence[Reference]
    scope: Scope
    rows: Mapping[str, tuple[Row, ...]]

    @property
    def found(self) -> KnownPoints:
        """The points as found; none, where no reference tells their angles."""
        points = _points(self.head, self.references, self.scope)
        return KnownPoints("found.csv", "Points as found", points, (self.head.letter,))

    def before(self) -> Iterator[Step]:
        """Yield what ends with the adjustment."""
        if self.found.plan:
            yield _step("found", Series(self.found), self.folder)
            yield _step("verify-found", VERIFY_FOUND, self.folder)
        yield _step("adjust", _adjustment(self.head), self.folder)

    def after(self) -> Iterator[Step]:
        """Yield what comes after it."""
        found = self.found
        if found.plan:
            taken = kept(self.rows.get(_step("found", Series(found), self.folder).path, ()))
            left = as_before(found, taken, "left.csv", "Points as left")
            yield _step("left", Series(left), self.folder)
            yield _step("verify-left", VERIFY_LEFT, self.folder)
        yield _step("sign", SIGN, self.folder)
        yield _step("certificate", CERTIFICATE, self.folder)


def _points(head: HeadAtHand, references: Sequence[Reference], scope: Scope) -> tuple[Target, ...]:
    bar, blocks = first_of(references, Kind.SINE_BAR), first_of(references, Kind.GAUGE_BLOCKS)
    points: tuple[Target, ...] = ()
    if bar is not None and blocks is not None:
        stacks = stacks_of(blocks, float(bar.value))
        for channel in ("incl_x", "incl_y"):
            points += tilt_points(
                channel, float(bar.value), stacks[1::2], named=bool(blocks.blocks)
            )
    told = first_of(references, *TURNED)
    for channel in scope.turned:
        if channel in head.channels and told is not None:
            points += turn_points(channel, reference_id=told.id)
    return points


def _adjustment(head: HeadAtHand) -> Act:
    return Act(
        "Adjustment",
        (
            f"The new coefficients are put in force for head {head.serial}.",
            f"Type {head.serial} to adjust it.",
        ),
        "an adjustment changes what the head says from now on; nobody makes one by accident",
        confirm=head.serial,
    )


def _step(name: str, work: Series | Recording | Act, folder: str) -> Step:
    return Step(f"{name} {folder}".strip(), work, folder)
