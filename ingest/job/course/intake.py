"""What is looked at before anything is measured: worn or loose parts make every figure idle.

The items are common practice in heavy-vehicle workshops; limits of play and pressure are the
vehicle maker's.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to look at. ``loose``: where it is at fault, repair comes before alignment."""

    id: str
    title: str
    how: str
    loose: bool = False


ITEMS = (
    Item(
        "tyre-pressures",
        "tyre pressures",
        "cold, all tyres, to the figure for the load state; note what was set right",
    ),
    Item(
        "tyres",
        "tyres and rims",
        "same size and wear on an axle; note one-sided or feathered wear, it tells of the fault",
    ),
    Item(
        "ride-height",
        "ride height",
        "air springs filled, height by the maker's figure, load as the limits say",
    ),
    Item(
        "wheel-bearings",
        "wheel-bearing play",
        "wheel off the ground on stands: rock it top and bottom",
        loose=True,
    ),
    Item(
        "kingpins",
        "kingpin play",
        "as before, brake applied, so that the bearing does not take part",
        loose=True,
    ),
    Item(
        "tie-rods",
        "tie-rod and drag-link play",
        "wheels on the ground: a helper turns the steering to and fro, a hand on each joint",
        loose=True,
    ),
    Item(
        "torque-rods",
        "play of torque rods, springs and their fastenings",
        "bushes, U-bolts, hangers: look for rust trails and bright metal, pry by the maker's way",
        loose=True,
    ),
)

BY_ID = {item.id: item for item in ITEMS}


def item_called(name: str) -> Item | None:
    """Return the item of that id or title, as a person writes it; None where there is none."""
    wanted = " ".join(name.casefold().split())
    return next((item for item in ITEMS if wanted in (item.id, item.title)), None)
