"""Which results no longer hold once something was turned."""

from collections.abc import Mapping
from types import MappingProxyType

from ingest.geometry.corrections.wanted import Quantity

STALE: Mapping[Quantity, tuple[str, ...]] = MappingProxyType(
    {
        Quantity.AXLE_HEADING: (
            "heading axle {n}",
            "scrub angle axle {n}",
            "setback axle {n}",
            "lateral offset axle {n}",
            "mean heading of the drive axles",
            "steering-wheel position",
            "all that is told against axle {n}",
        ),
        Quantity.LATERAL_OFFSET: (
            "lateral offset axle {n}",
            "heading axle {n}",
            "scrub angle axle {n}",
            "setback axle {n}",
            "all that is told against axle {n}",
        ),
        Quantity.TOTAL_TOE: (
            "total toe axle {n}",
            "toe axle {n} left",
            "toe axle {n} right",
            "turning angles axle {n}",
            "toe-out on turns axle {n}",
            "steering-wheel position",
            "parallelism of the steer axles",
        ),
        Quantity.STEERING_WHEEL: (
            "steering-wheel position",
            "toe axle {n} left",
            "toe axle {n} right",
            "lock angles axle {n}",
            "parallelism of the steer axles",
        ),
        Quantity.STEER_PARALLELISM: (
            "parallelism of the steer axles",
            "toe axle {n} left",
            "toe axle {n} right",
            "lock angles axle {n}",
        ),
        Quantity.LOCK_ANGLE: ("lock angle axle {n} {side}", "turning angles axle {n}"),
        Quantity.CASTER: (
            "caster axle {n} left",
            "caster axle {n} right",
            "camber axle {n} left",
            "camber axle {n} right",
            "SAI and included angle axle {n}",
            "total toe axle {n}",
            "turning angles axle {n}",
            "steering-wheel position",
        ),
        Quantity.CAMBER: (),
    }
)


def stale_after(quantity: Quantity, axle: int, side: str = "") -> tuple[str, ...]:
    """Return the names of the results that hold no longer; they hold again once measured."""
    return tuple(name.format(n=axle, side=side).strip() for name in STALE[quantity])
