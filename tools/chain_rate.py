"""How fast the filter chain is, as ratios: against a float and a list per sample, by block size.

The yardstick is the least that a script does with decoded samples: take each one out of the
arrays, turn its eight codes into degrees and append them to a list. Run it by itself, on a
quiet machine: ``.venv/bin/python tools/chain_rate.py``.
"""

import time
from collections.abc import Callable
from datetime import date

import numpy as np

from calibration.record import CalibrationRecord, EncoderPart, Harmonic, TiltPart, seal
from calibration.sensors import Correction
from ingest.chain.chain import Chain, ChainSettings
from ingest.core.blocks import RawRun
from ingest.core.channels import CHANNELS
from ingest.core.counters import LinkCounters
from ingest.core.ids import BootId

RATE_HZ = 100.0
SAMPLES = {1: 10_000, 5: 50_000, 50: 200_000, 5000: 1_000_000}
REPEATS = 3


def stream(samples: int) -> RawRun:
    """Noise about steady readings on all channels, arrivals up to a millisecond late."""
    rng = np.random.default_rng(1)
    t_us = np.arange(samples) * round(1e6 / RATE_HZ)
    codes = rng.normal(2_000.0, 100.0, (len(CHANNELS), samples))
    return RawRun(
        boot=BootId(1),
        seq=np.arange(samples) & 0xFFFF,
        t_us=t_us & 0xFFFFFFFF,
        status=np.zeros(samples, np.uint8),
        codes=np.rint(codes).astype(np.int32),
        arrived_ns=t_us * 1000 + rng.integers(0, 1_000_000, samples),
    )


def pieces(run: RawRun, size: int) -> list[RawRun]:
    """The run in blocks."""
    spans = [slice(at, at + size) for at in range(0, len(run), size)]
    return [
        RawRun(
            run.boot,
            run.seq[span],
            run.t_us[span],
            run.status[span],
            np.ascontiguousarray(run.codes[:, span]),
            run.arrived_ns[span],
        )
        for span in spans
    ]


def correction() -> Correction:
    """A record with everything in it: cross-axis, temperature and three harmonics."""
    zero, u = (0.0, 0.0, 0.0), (0.01, 0.01, 0.01)
    tilt = TiltPart(
        reference_temperature_degc=20.0,
        bias_deg=(0.1, -0.2, 0.05),
        u_bias_deg=u,
        matrix=((1.001, 0.002, 0.0), (-0.002, 0.999, 0.001), (0.0, 0.001, 1.0)),
        u_matrix=(u, u, u),
        bias_deg_per_degc=(0.001, 0.002, 0.0),
        u_bias_deg_per_degc=u,
        scale_per_degc=zero,
        u_scale_per_degc=u,
    )
    harmonics = tuple(Harmonic(order=k, cos_deg=0.1, sin_deg=0.1, u_deg=0.01) for k in (1, 2, 4))
    encoder = EncoderPart(zero_deg=0.5, u_zero_deg=0.01, harmonics=harmonics)
    record = CalibrationRecord(
        record_id="cal-2031-0003",
        head_id="00112233aabbccdd",
        issued=date(2031, 1, 1),
        due=None,
        tilt=tilt,
        encoders={"rotation": encoder, "azimuth_cross": encoder},
        ports={},
        stub_m=0.2,
        u_stub_m=0.001,
        channels={},
    )
    return Correction.from_record(seal(record))


def script(blocks: list[RawRun]) -> None:
    """The yardstick: one sample at a time."""
    kept: list[tuple[int, list[float]]] = []
    for block in blocks:
        for t_us, codes in zip(block.t_us.tolist(), block.codes.T.tolist(), strict=True):
            kept.append((t_us, [code * 1e-4 for code in codes]))


def seconds(work: Callable[[], None]) -> float:
    """The best of a few runs, in processor time of this process."""
    best = float("inf")
    for _ in range(REPEATS):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return best


def main() -> None:
    record = correction()
    print("samples a block | chain us a block | chain samples/s | of that a bare script does")
    for size, samples in SAMPLES.items():
        blocks = pieces(stream(samples), size)

        def run_chain(blocks: list[RawRun] = blocks) -> None:
            chain = Chain(ChainSettings(), record, RATE_HZ, LinkCounters())
            for block in blocks:
                chain.feed(block)

        def run_script(blocks: list[RawRun] = blocks) -> None:
            script(blocks)

        chain_s, script_s = seconds(run_chain), seconds(run_script)
        print(
            f"{size:15d} | {chain_s / len(blocks) * 1e6:16.1f} | {samples / chain_s:15,.0f} | "
            f"{script_s / chain_s:.2f} times"
        )


if __name__ == "__main__":
    main()
