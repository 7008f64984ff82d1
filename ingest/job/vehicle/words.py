"""Axles in words."""

from collections.abc import Iterable


def named(axles: Iterable[int]) -> str:
    """Return axles in words: "axle 1", "axles 1 and 4", "axles 1, 2 and 4"."""
    numbers = [str(axle) for axle in axles]
    if len(numbers) == 1:
        return f"axle {numbers[0]}"
    return f"axles {', '.join(numbers[:-1])} and {numbers[-1]}"
