"""The report's own sentences, and the names that people use for results."""

from collections.abc import Mapping
from types import MappingProxyType

DECISIONS: Mapping[str, str] = MappingProxyType(
    {"inside": "inside", "undecided": "undecided", "outside": "outside", "none": "no limit"}
)

QUANTITIES: Mapping[str, str] = MappingProxyType(
    {
        "camber": "camber",
        "toe": "toe to the centre line",
        "total-toe": "total toe",
        "heading": "heading to the centre line",
        "scrub": "scrub to the reference axle",
        "setback": "setback",
        "lateral-offset": "lateral offset",
        "caster": "caster",
        "sai": "steering-axis inclination",
        "included-angle": "included angle",
        "cross-camber": "camber, left less right",
        "cross-caster": "caster, left less right",
        "cross-sai": "steering-axis inclination, left less right",
        "toe-out-left": "toe-out on turns to the left",
        "toe-out-right": "toe-out on turns to the right",
        "turning-angle-left": "steered to the left",
        "turning-angle-right": "steered to the right",
        "lock-angle": "turning angle at the stop",
        "thrust": "thrust angle of the vehicle",
        "drive-heading": "mean heading of the drive axles",
        "parallelism": "steer axles to each other",
    }
)

UNCERTAINTY = (
    "Each result is given as (value \u00b1 U). U is the expanded uncertainty: the value lies "
    "within \u00b1 U of it with a probability of about 95 %. U holds what the calibration of the "
    "heads leaves open, the noise seen, the run-out of each wheel, and what mounting and settling "
    "scatter in this bay. Inside and outside are said where that is so with U taken into account "
    "(guard band U, JCGM 106:2012); undecided means that this measurement cannot tell."
)
SIGNS = (
    "Positive: camber, top outward; toe, front inward; heading, scrub and thrust, to the left; "
    "setback, right wheel behind left; lateral offset, to the left; caster, top rearward."
)
NOT_FINISHED = "This job was given up: {reason}. Nothing here proves a finished state."
OPEN = "This job is still open. The figures are those of the moment at which this was made."
STALE = "Something was moved after it was measured; these results hold no longer: {topics}."
UNREAD = (
    "Something was moved after it was measured, and these results were not measured again "
    "({reason}): {topics}."
)
SIMULATED = "All of it was measured by simulated heads on a simulated vehicle, for practice."
UNSIGNED = "Not signed yet."
MAKER_FIRST = "The vehicle maker's figures and instructions come before any other limit named here."
CAUTION = (
    "After alignment: fastenings that were loosened were to be tightened to the maker's torque; "
    "have them checked again after the distance that the maker names. A changed load, tyre or ride "
    "height changes these figures."
)
SEAL = (
    "The signature is an integrity seal: it shows that nothing was changed since somebody who had "
    "the key signed. The record of this job holds every event behind this page; with it, anybody "
    "can check what stands here."
)


def topic_name(topic: str) -> str:
    """Return a result's name for people: ``axle/1/left/camber`` is "Axle 1 left, camber"."""
    place, _, name = topic.rpartition("/")
    words = QUANTITIES.get(name, name.replace("-", " "))
    if place == "vehicle":
        return words.capitalize()
    _, number, side = place.split("/")
    where = f"Axle {number}" if side == "both" else f"Axle {number} {side}"
    return f"{where}, {words}"
