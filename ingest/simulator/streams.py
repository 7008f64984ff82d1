"""Random streams that depend on a seed and a name alone, never on who asked first."""

import zlib

import numpy as np


def stream(seed: int, *name: str | int) -> np.random.Generator:
    """Return the random stream called ``name`` of a seed.

    Two streams of different names are independent; the same seed and name always give the
    same numbers (the name enters as CRC-32 words of NumPy's ``SeedSequence``).
    """
    words = [zlib.crc32(str(part).encode()) for part in name]
    return np.random.default_rng(np.random.SeedSequence([seed, *words]))
