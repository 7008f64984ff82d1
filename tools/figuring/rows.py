"""A row of figures, and how a rate is measured."""

import time


def row(what, value, unit, ratio=None, against=""):
    return {"what": what, "value": value, "unit": unit, "ratio": ratio, "against": against}


def rate(work, samples, seconds):
    """Return samples a second of repeated work."""
    ends, done, began = time.perf_counter() + seconds, 0, time.perf_counter()
    while time.perf_counter() < ends:
        work()
        done += samples
    return done / (time.perf_counter() - began)
