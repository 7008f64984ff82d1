"""``levelhead calibrate still``: noise, bias instability, warm-up and drift of a recording."""

import argparse
import math
from pathlib import Path
from typing import Any

from calibration.document.certificate.uncertainty import stability_chart
from calibration.drafting.draft import filled
from calibration.drafting.still import StillFound, find_still
from calibration.drafting.wander import unsteady
from calibration.files.sheet import REFERENCE_DEGC
from ingest.commands.calibrate_advice import Advice
from ingest.commands.calibrate_work import (
    Answer,
    Work,
    add_draft_arguments,
    read_series,
    write_draft,
)
from ingest.commands.writing import see_replaceable, write_whole


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("file", metavar="FILE.csv", help="evenly spaced readings at rest")
    add_draft_arguments(parser)
    parser.add_argument(
        "--plot", metavar="F.svg", help="draw the Allan deviation, one file a channel"
    )


def find(args: argparse.Namespace, work: Work) -> Answer:
    """Evaluate, write and say."""
    draft = work.draft(args.head, args.onto, args.previous)
    series, raw = read_series(args.file, draft, ("still",))
    found = find_still(series, work.sheet.reference_degc if work.sheet else REFERENCE_DEGC)
    answer = _answer(found)
    extra: list[str] = []
    if args.plot:
        extra += [_drawn(each, Path(args.plot)) for each in found]
    if draft is not None:
        channels = dict(draft.channels)
        channels |= {each.channel: each.figures for each in found}
        stability = tuple(each.stability for each in found)
        changed: dict[str, Any] = {"channels": channels}
        if draft.coefficients.tilt is not None:
            changed["tilt"] = unsteady(draft.coefficients.tilt, stability)
        draft = filled(
            draft,
            coefficients=changed,
            fits=(),
            raw=[raw],
            performed=series.days,
            stability=stability,
            adjusted=draft.adjusted,  # a recording changes nothing that a reading is corrected by
        )
        extra.append(write_draft(args.output, args.onto, draft))
    return Answer("\n".join([answer.text, *extra]), answer.as_json)


def _drawn(found: StillFound, path: Path) -> str:
    """Draw a channel beside the others: ``still.svg`` becomes ``still-incl_x.svg``."""
    own = path.with_name(f"{path.stem}-{found.channel}{path.suffix or '.svg'}")
    see_replaceable(own, lambda start: b"<svg" in start, "drawing")
    write_whole(own, stability_chart(found.stability).svg)
    return f"drawn: {own}"


def _open(found: StillFound) -> tuple[str, ...]:
    """Return what the recording does not tell."""
    told = found.stability
    unseen = ["noise density (no white stretch)"] if told.noise_density is None else []
    unseen += ["bias instability (the curve still falls)"] if told.still_falls else []
    if found.drift is None:
        return (*unseen, "warm-up and drift per degC (no temperature, or none that fits)")
    if told.warm_up is None:
        unseen.append("warm-up (none proven)")
    return (*unseen, *(["drift per degC (none proven)"] if told.per_degc is None else []))


def _next(found: StillFound) -> Advice:
    told = found.stability
    if told.still_falls and told.at_tau_s is not None:
        longest = 8.0 * float(told.at_tau_s)
        return Advice(f"record {longest:.0f} s or more, until the curve has its floor", True)
    if told.per_degc is None:
        text = "record from switching on, or while the room warms by a few degrees"
        return Advice(text, needed=False)
    return Advice("record twice as long, which narrows the floor's interval most", needed=False)


def _answer(found: tuple[StillFound, ...]) -> Answer:
    lines: list[str] = []
    data: list[dict[str, Any]] = []
    for each in found:
        told = each.stability
        density = "no white stretch" if told.noise_density is None else f"{told.noise_density}°/√Hz"
        most = "at most " if told.still_falls else ""
        lines.append(
            f"{each.channel}: noise {density}, bias instability {most}{told.bias_instability}° at "
            f"{told.at_tau_s} s{', where the curve still falls' if most else ''}"
        )
        if told.warm_up is not None:
            lines.append(f"  warm-up {told.warm_up}°, time constant {told.warm_up_s} s")
        if told.per_degc is not None:
            lines.append(f"  {told.per_degc}° per degC")
        open_ = _open(each)
        if each.drift is not None:
            lines.append(f"  warm-up and drift: rank {each.drift.rank} of {len(each.drift.names)}")
        lines.append(f"  still open: {'; '.join(open_) or 'nothing'}")
        advice = _next(each)
        lines += advice.lines
        data.append(
            told.model_dump(mode="json", exclude={"curve"})
            | {"open": list(open_)}
            | advice.as_json
            | {
                "tau_s": each.allan.tau_s.tolist(),
                "deviation_deg": each.allan.deviation.tolist(),
                "low_deg": each.allan.low.tolist(),
                "high_deg": each.allan.high.tolist(),
                "noise_deg": each.figures.noise_deg,
                "edf": [e if math.isfinite(e) else None for e in each.allan.edf.tolist()],
            }
        )
    return Answer("\n".join(lines), {"what": "still", "channels": data})
