"""Why an adjuster does not do what a person tries."""


class Stuck(Exception):
    """It does not move: seized, at the end of its travel, or the linkage cannot close."""


class NotAtHand(Exception):
    """No such adjuster, position, shim or wedge is there."""
