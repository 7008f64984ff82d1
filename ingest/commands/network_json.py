"""The answer of ``levelhead network`` as the JSON of the plain-file interface."""

import math
from typing import Any

import numpy as np

from calibration.measured import Measured
from ingest.commands.network_answer import Answer, Standing
from ingest.core.units import DEG
from ingest.geometry.network.advising import Advice
from ingest.geometry.network.judging import Checked
from ingest.geometry.network.proving import Foretold
from ingest.geometry.network.quantities import Quantity
from ingest.geometry.network.results import Result
from ingest.geometry.network.stations import Network, Reading

MM = 1e-3


def as_json(found: Answer, *, design: bool) -> dict[str, Any]:
    """Return the answer: degrees, metres and millimetres, finite numbers or null."""
    judgement, network = found.judgement, found.adjusted.network
    limits = judgement.chi2_limits
    whole: dict[str, Any] = {"design": True} if design else {}
    whole |= _quantities(found.results)
    whole["stations"] = _stations(found)
    whole["residuals"] = _residuals(found)
    whole["dof"] = judgement.dof
    if not design:
        whole |= {
            "chi2": judgement.chi2,
            "chi2_limits": None if limits is None else list(limits),
            "variance_factor": judgement.variance_factor,
            "suspect": found.suspect,
            "suspect_zero": found.suspect_zero,
            "suspect_alike": list(found.alike),
        }
    whole["undetermined"] = list(found.undetermined)
    angular = {result.quantity.label: result.quantity.angular for result in found.results}
    whole["settled_by"] = {
        name: _settling(network, advice, angular=angular[name])
        for name, advice in found.settling.items()
    }
    whole["best_added"] = _sharpening(network, found.sharpening)
    whole["stands_on"] = [_standing(network, each) for each in found.standing]
    whole["proof"] = [_foretold(each) for each in found.proof]
    return _blank(whole) if design else whole


VALUES = (
    *("toe_deg", "heading_deg", "scrub_deg", "total_toe_deg", "setback_deg"),
    *("lateral_offset_mm", "thrust_deg", "drive_heading_deg", "parallelism_deg"),
)


def _blank(whole: dict[str, Any]) -> dict[str, Any]:
    """Take out of a design what nobody has measured."""
    for key in ("wheels", "axles"):
        whole[key] = [{k: v for k, v in each.items() if k not in VALUES} for each in whole[key]]
    whole["vehicle"] = {k: v for k, v in whole["vehicle"].items() if k not in VALUES}
    for each in whole["residuals"]:
        del each["residual"], each["standardised"]
    for each in whole["proof"]:
        each["distance_m"] = None
    return whole


def _quantities(found: tuple[Result, ...]) -> dict[str, Any]:
    wheels: dict[str, dict[str, Any]] = {}
    axles: dict[str, dict[str, Any]] = {}
    vehicle: dict[str, Any] = {}
    for result in found:
        quantity = result.quantity
        if quantity.of.startswith("axle ") and quantity.name != "toe":
            number = int(quantity.of.removeprefix("axle "))
            into = axles.setdefault(quantity.of, {"axle": number})
        elif quantity.of:
            into = wheels.setdefault(quantity.of, {"id": quantity.of})
        else:
            into = vehicle
        into |= _pair(quantity, result.measured)
    return {"wheels": list(wheels.values()), "axles": list(axles.values()), "vehicle": vehicle}


def _pair(quantity: Quantity, measured: Measured | None) -> dict[str, float | None]:
    unit, name = (DEG, "deg") if quantity.angular else (MM, "mm")
    key = f"{quantity.name}_{name}"
    if measured is None:
        return {key: None, f"u_{key}": None}
    return {key: measured.value / unit, f"u_{key}": measured.u / unit}


def _stations(found: Answer) -> list[dict[str, Any]]:
    adjusted = found.adjusted
    u = np.sqrt(np.maximum(adjusted.covariance.diagonal(), 0.0))
    rows = []
    for station in adjusted.network.stations:
        x = adjusted.unknowns.x(station.id)
        known = station.id in found.placed
        values = [*adjusted.state[x : x + 2].tolist(), *u[x : x + 2].tolist()]
        names = ("x_m", "y_m", "u_x_m", "u_y_m")
        told = dict(zip(names, values if known else [None] * 4, strict=True))
        rows.append({"id": station.id, **told})
    return rows


def _residuals(found: Answer) -> list[dict[str, Any]]:
    """Return one entry for each observation of the file, null where it was not used."""
    checked = dict(zip(found.adjusted.rows, found.judgement.checked, strict=False))
    readings = found.adjusted.network.readings
    return [_residual(reading, checked.get(i)) for i, reading in enumerate(readings)]


def _residual(reading: Reading, checked: Checked | None) -> dict[str, Any]:
    keys = ("residual", "redundancy", "standardised", "detectable", "harm_deg", "harms")
    if checked is None:
        return dict.fromkeys(keys)
    unit = DEG if reading.is_angular else 1.0
    return {
        "residual": checked.residual / unit,
        "redundancy": checked.redundancy,
        "standardised": checked.standardised,
        "detectable": None if checked.detectable is None else checked.detectable / unit,
        "harm_deg": None if checked.harm is None else checked.harm / DEG,
        "harms": checked.harmed,
    }


def _settling(network: Network, advice: Advice | None, *, angular: bool) -> dict[str, Any] | None:
    if advice is None:
        return None
    u = {"u_deg": advice.u / DEG} if angular else {"u_mm": advice.u / MM}
    return {"add": [_line(network, reading) for reading in advice.readings]} | u


def _standing(network: Network, each: Standing) -> dict[str, Any]:
    quantity = each.result.quantity
    unit, name = (DEG, "u_deg") if quantity.angular else (MM, "u_mm")
    return {
        "quantity": quantity.label,
        name: each.u / unit,
        "setups": each.set_ups,
        "shares": [
            {"cause": share.cause, "share": share.share, "of": list(share.of)}
            for share in each.shares
        ],
        "best_added": _sharpening(network, each.advice),
    }


def _sharpening(network: Network, advice: Advice | None) -> dict[str, Any] | None:
    if advice is None:
        return None
    return _line(network, advice.readings[0]) | {"u_deg": advice.u / DEG}


def _line(network: Network, reading: Reading) -> dict[str, Any]:
    """Return an added reading; ``setup`` null: in a further one, or where it needs none."""
    line = reading.line
    told: dict[str, Any] = {"type": str(reading.kind), "at": line.at, "to": line.to}
    if reading.is_angular:
        further = not network.allows(reading)
        told |= {"setup": None if further else reading.setup, "further_setup": further}
    return told


def _foretold(each: Foretold) -> dict[str, Any]:
    told, read, off = each.told, each.read, each.off
    return {
        "at": each.at,
        "to": each.to,
        "less": None if each.less is None else list(each.less),
        "distance_m": None if told is None else told.value,
        "u_distance_m": None if told is None else told.u,
        "check": each.check,
        "read_m": None if read is None else read.value,
        "off_m": None if off is None else off.value,
        "u_off_m": None if off is None or not math.isfinite(off.u) else off.u,
        "agrees": each.agrees,
    }
