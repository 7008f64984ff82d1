"""Hands that turn wheels of a rehearsed bay, stop by stop."""


def turn(bay, on, stops):
    """Turn wheels of different axles at once, stop by stop."""
    for name in on.values():
        assert bay.bay.work.begin(bay.head(name)).ok
    plans = [bay.demo.technician.stops(wheel, stops) for wheel in on]
    for steps in zip(*plans, strict=True):
        bay.advance(max(step.wait_s for step in steps) + 0.6)
        for name in on.values():
            take_stop(bay, name)
    for name in on.values():
        done = bay.bay.work.end(bay.head(name))
        assert done.ok, done.text


def take_stop(bay, name, tries=5):
    """Take a stop; a lost frame shortly before costs another try, as it does a person."""
    taken = bay.bay.work.take_stop(bay.head(name))
    while not taken.ok and tries:
        bay.advance(0.5)
        taken, tries = bay.bay.work.take_stop(bay.head(name)), tries - 1
    assert taken.ok, taken.text
