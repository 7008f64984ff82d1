"""What is said of a head whose drift over temperature nobody measured, and what to do about it."""

from collections.abc import Iterable

from calibration.records.parts import TiltPart


def undrifted(part: TiltPart) -> bool:
    """Say whether no oven told how the head drifts."""
    return not any((*part.bias_deg_per_degc, *part.scale_per_degc))


def drift_line(parts: Iterable[TiltPart]) -> str:
    """Return one line about the heads whose drift was not measured; "" where all were."""
    open_ = [part for part in parts if undrifted(part)]
    if not open_:
        return ""
    at = " and ".join(dict.fromkeys(f"{p.reference_temperature_degc:g} °C" for p in open_))
    each = max(2.0 * u for p in open_ for u in p.u_bias_deg_per_degc[:2])
    return (
        f"No drift over temperature was measured: inclinations are best at {at} (inside the "
        f"head), and each degree away from it adds {each:.2g}° to their U. Where that is too much, "
        "calibrate with an oven (levelhead bench --oven 5,20,35, or oven.csv)."
    )
