"""The certificate's own sentences and the names that people use."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from calibration.decision import Rule
from calibration.records.fields import Conformity
from calibration.records.results import Figure
from calibration.reporting import on_screen

CHANNELS: Mapping[str, str] = MappingProxyType(
    {
        "incl_x": "Inclination of the forward axis (incl_x)",
        "incl_y": "Inclination of the shaft's axis (incl_y)",
        "incl_z": "Inclination of the up axis (incl_z)",
        "rotation": "Rotation about the shaft (rotation)",
        "azimuth_cross": "Azimuth across (azimuth_cross)",
        "azimuth_track": "Azimuth along (azimuth_track)",
        "steer": "Turn plate (steer)",
        "temperature": "Temperature",
    }
)
CIRCULAR = frozenset({"rotation", "azimuth_cross", "azimuth_track", "steer"})
"""Channels that may go round, and have harmonics."""

FIGURES: Mapping[str, str] = MappingProxyType(
    {
        "max-error": "Largest error",
        "repeatability": "Repeatability",
        "hysteresis": "Hysteresis",
        "linearity": "Linearity",
        "cross-axis": "Cross-axis error",
        "zero": "Zero error",
    }
)
DECISIONS: Mapping[Conformity, str] = MappingProxyType(
    {
        "pass": "Pass",
        "conditional-pass": "Conditional pass",
        "conditional-fail": "Conditional fail",
        "fail": "Fail",
        "none": "Not decided",
    }
)
WORST_LAST: tuple[Conformity, ...] = ("pass", "conditional-pass", "conditional-fail", "fail")

KINDS: Mapping[str, str] = MappingProxyType(
    {
        "bar": "reference bar",
        "sine-bar": "sine bar",
        "gauge-block": "gauge block",
        "gauge-blocks": "set of gauge blocks",
        "thermometer": "thermometer",
    }
)

UNCERTAINTY_SHORT = (
    "What stands after ± is the expanded uncertainty U with its coverage factor k, for a "
    "probability of about 95 %; “Results of calibration” says more of it."
)
NO_ZERO = (
    "Errors of {channels} are told from their own mean: nothing here verifies {whose} zero, on "
    "which toe stands."
)
DIFFERENCES = (
    "Errors of {channels} are told from their own mean: nothing here verifies {whose} zero, and no "
    "toe or camber stands on it."
)
ZERO_ON_BAR = (
    "The zero of {channels} was verified on the reference bar, by readings that no coefficient was "
    "fitted to."
)
OPEN_ZEROS = (
    "The zero of {channels} is left open. A reference that is turned knows angles against each "
    "other, and nothing tells how the head sat on it. Of a rotation only differences are used, so "
    "that nothing stands on its zero; an azimuth with an open zero tells no direction, and no "
    "result may be based on it."
)
UNCERTAINTY = (
    "U is the expanded uncertainty: the standard uncertainty, found by the rules of the GUM "
    "(JCGM 100:2008), times the coverage factor k that stands beside it. The value that a figure "
    "stands for lies within ± U of it with a probability of about 95 %. Where many readings stand "
    "behind a figure k is 2.00, as for a normal distribution; where there are few, k is Student's "
    "factor for them; where a figure is the largest of several, its k covers each of those that "
    "could be the largest. U tells how well the head was known on the days of the work. It says "
    "nothing of how the head holds over time."
)
RULES: Mapping[Rule, str] = MappingProxyType(
    {
        Rule.SIMPLE: (
            "Rule “simple”: a figure passes when it lies within its limits or on one of them, and "
            "its uncertainty is not taken into account. The risk: a figure that lies on a limit "
            "is passed wrongly with a chance of up to 50 %."
        ),
        Rule.GUARD_U: (
            "Rule “guard-u”: each limit is moved inward by the figure's own U, and a figure "
            "passes within what remains. The risk: with k = 2 a figure is passed wrongly with a "
            "chance below 2.5 %. A figure between the moved limit and U beyond the limit itself "
            "is decided neither way."
        ),
        Rule.GUARD_U_4: (
            "Rule “guard-u-4”: each limit is moved inward by the figure's own U. Within the moved "
            "limits a figure passes, beyond a limit by more than U it fails; with k = 2 either "
            "is wrong with a chance below 2.5 %. Between the moved limit and the limit it is a "
            "conditional pass, and beyond the limit by up to U a conditional fail: each of these "
            "two may be wrong with a chance of up to 50 %."
        ),
    }
)
AT_ITS_POINT = "Deciding error"
"""What is held to the limits of the largest error: not the largest of several, but one error."""
DECIDED_AT_POINTS = (
    "The limits of the largest error are held against the error at each point, with the U and k "
    "that this point has among the results; the point that does worst decides, and is the one "
    "shown here. The largest error itself, under “Results in force”, was picked for its size, and "
    "its U is wider by as much as that picking calls for."
)
DECIDED_BEFORE_ROUNDING = (
    "Figures on a limit count as within it. Decisions are made on unrounded numbers; P is the "
    "probability that the true value conforms."
)
CALIBRATION = (
    "Calibration, as used here, gives the head's errors and how well they are known. Verification "
    "holds them against limits."
)
NO_VERIFICATION = "This certificate reports a calibration. No limits were held against its results."
NOT_MEASURED = "No verification points have been measured yet."
NOT_ADJUSTED = "Nothing was adjusted. The results as found are also those as left."
ADJUSTED = (
    "The head was adjusted between as found and as left: its coefficients were replaced, as listed "
    "under “Coefficients”, and the same points were measured again."
)
IMPACT = (
    "Before it was adjusted, this head read outside its limits. What was measured with it since "
    "its last good check may be affected and has to be looked at again."
)
FOUND_MISSING = (
    "The head was adjusted. There are no results from before, for the reason given here."
)
TRACEABLE = (
    "The results are traceable to the International System of Units through the references named "
    "under “Traceability”, each of which has a certificate of its own."
)
SIMULATED_TRACED = (
    "The references below are simulated as the readings are; they and their certificates may be "
    "invented. Nothing ties these values to the International System of Units."
)
NOT_TRACEABLE = "No reference is named yet, and without one nothing is traceable."
MOVED = (
    "The reference of this channel knows angles against each other and no zero, so these errors "
    "are taken from their own mean. “Reference” is what the reference said with that mean of {by} "
    "added to it, and “Error” is “Indication” less “Reference”."
)
MOVED_2 = (
    " Such a reference may itself stop otherwise when it is come to from the other side: the "
    "hysteresis of this channel is that of head and reference together."
)
"""What a record of version 2, which knows no shares, has to leave open."""
TOGETHER = (
    "Up and down differ by more than the papers of the reference explain. Largest error and "
    "hysteresis of this channel are those of head and reference together: nothing tells their "
    "shares apart. Half of the gap is a line of the budgets, and so in every U of the channel."
)
UNCHECKED = (
    "This document was made without a public key, so nobody looked whether the record behind it "
    "is what its signer signed. Whoever alters a record can seal it anew. Rely on nothing here "
    "before the record was checked with the laboratory's public key, as told under “Integrity”."
)
ADJUSTED_BY = (
    "Adjusted at {at} (UTC) by {by}, after the run as found and before the run as left: a step "
    "signed on its own over the old and the new coefficients and the results as found, {key}."
)
NO_THERMOMETER = "none among the references; no result is corrected for it"
SEAL = (
    "The signature is an integrity seal: it shows that nothing in the record was changed since "
    "the holder of the key signed it. It is not a qualified electronic signature."
)
UNSIGNED = "Nobody has signed this record, so it proves nothing yet."
SIMULATED_MARK = "SIMULATED"
SIMULATED_DRAFT_MARK = "SIMULATED, DRAFT"
SIMULATED = (
    "Nothing here was measured. The readings come from simulated heads on a simulated bench; the "
    "laboratory, its references and their certificates may be invented. No result may be based "
    "on it."
)
SIMULATED_TRACE = "Nothing in it is traceable, since nothing was measured."
DRAFT_MARK = "DRAFT, not signed"
DRAFT = (
    "This is a draft. Nobody has signed its record, and nothing may be based on it. It still "
    "lacks the following to become a certificate:"
)
COMPLETE_DRAFT = (
    "This is a draft. Its record is complete, but nobody has signed it yet, and nothing may be "
    "based on it."
)


def channel_name(channel: str) -> str:
    """Return a channel's name for people; one of somebody else's making stands for itself."""
    return CHANNELS.get(channel, channel)


def of_channels(text: str, channels: Sequence[str]) -> str:
    """Fill channels into a sentence that may be of one or of several."""
    whose = "its" if len(channels) == 1 else "their"
    return text.format(channels=" and ".join(channels), whose=whose)


def found_at(figure: Figure) -> str:
    """Return where a figure was found, under which condition, and whether it is the head's."""
    shared = ("of head and reference together",) if figure.together else ()
    at = on_screen(figure.at) if figure.at else ""
    return ", ".join((*((at,) if at else ()), *shared))


def kind_name(kind: str) -> str:
    """Return what a reference is."""
    return KINDS.get(kind, kind.replace("-", " "))
