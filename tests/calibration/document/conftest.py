"""A complete calibration of an invented head, by an invented workshop, signed with a test key."""

import hashlib
import math
import subprocess
from datetime import date
from html.parser import HTMLParser

import numpy as np
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from calibration.document.certificate.compose import certificate
from calibration.document.html import render_html
from calibration.document.pdf import render_pdf
from calibration.records.adjustment import adjustment_of
from calibration.records.record import CalibrationRecord
from calibration.records.signatures import sign
from calibration.records.text import seal
from calibration.reporting import report_expanded
from calibration.units import Unit

DAY = date(2026, 11, 24)
TILT_AT = (-10, -5, -2, 0, 2, 5, 10)
TURN_AT = tuple(range(0, 360, 30))


def sha(name):
    return hashlib.sha256(name.encode()).hexdigest()


def point(channel, nominal, direction, error, expanded):
    shown = report_expanded(error, expanded, Unit.DEGREE)
    places = f".{shown.dp}f"
    reference = f"{nominal:{places}}"
    return {
        "channel": channel,
        "nominal": str(nominal),
        "direction": direction,
        "repeats": 3,
        "reference": reference,
        "indication": f"{float(reference) + shown.value:{places}}",
        "error": f"{shown.value:{places}}",
        "U": f"{shown.U:{places}}",
        "k": "2",
        "unit": "deg",
    }


def points(seed, tilt_zero, tilt_scale, turn_amplitude):
    random = np.random.default_rng(seed)
    made = []
    for direction, order in (("up", 1), ("down", -1)):
        for at in TILT_AT[::order]:
            error = tilt_zero + tilt_scale * at + random.normal(0, 0.0008)
            made.append(point("incl_y", at, direction, error, 0.0061))
    for direction, order in (("up", 1), ("down", -1)):
        for at in TURN_AT[::order]:
            wave = turn_amplitude * math.sin(math.radians(at + 40))
            made.append(point("rotation", at, direction, wave + random.normal(0, 0.002), 0.014))
    return made


def figures(*values):
    names = (
        ("incl_y", "max-error", "0.0062", "2"),
        ("incl_y", "repeatability", None, None),
        ("incl_y", "hysteresis", None, None),
        ("incl_y", "linearity", "0.0062", "2.13"),
        ("rotation", "max-error", "0.014", "2"),
    )
    return [
        {"channel": c, "name": n, "value": v, "U": U, "k": k, "unit": "deg"}
        for (c, n, U, k), v in zip(names, values, strict=True)
    ]


def verdicts(tilt, tilt_word, tilt_p, turn, turn_word, turn_p):
    rows = (
        ("incl_y", "0.030", tilt, "0.0062", tilt_word, tilt_p),
        ("rotation", "0.100", turn, "0.014", turn_word, turn_p),
    )
    return [
        {
            "channel": channel,
            "name": "max-error",
            "low": f"-{limit}",
            "high": limit,
            "value": value,
            "U": U,
            "k": "2",
            "unit": "deg",
            "rule": "guard-u-4",
            "decision": word,
            "p_conform": p,
        }
        for channel, limit, value, U, word, p in rows
    ]


def tilt_part(bias, scale):
    return {
        "reference_temperature_degc": 20.0,
        "bias_deg": (0.112, bias),
        "u_bias_deg": (0.0018, 0.0016),
        "matrix": ((1.0004, 0.0021), (-0.0017, scale)),
        "u_matrix": ((0.00021, 0.00018), (0.00019, 0.00022)),
        "bias_deg_per_degc": (0.0011, -0.0008),
        "u_bias_deg_per_degc": (0.0002, 0.0002),
        "scale_per_degc": (0.0, 0.00001),
        "u_scale_per_degc": (0.0, 0.000004),
        "dof": 66.0,
    }


def coefficients(bias, scale, cosine, sine):
    harmonics = (
        {"order": 1, "cos_deg": cosine, "sin_deg": sine, "u_deg": 0.0021},
        {"order": 2, "cos_deg": 0.012, "sin_deg": -0.007, "u_deg": 0.0021},
    )
    return {
        "tilt": tilt_part(bias, scale),
        "encoders": {"rotation": {"zero_deg": -0.084, "u_zero_deg": 0.003, "harmonics": harmonics}},
        "ports": {
            "azimuth_cross": {
                "forward_m": 0.6,
                "outward_m": 0.28,
                "u_forward_m": 0.001,
                "u_outward_m": 0.001,
            }
        },
        "stub_m": 0.25,
        "u_stub_m": 0.001,
        "channels": {"incl_y": {"noise_deg": 0.003, "resolution_deg": 0.001}},
    }


def reference(name, kind, value, unit, expanded, certificate):
    return {
        "id": name,
        "kind": kind,
        "certificate": certificate,
        "certificate_sha256": sha(certificate),
        "issuer": "Fenmoor Metrology Office",
        "value": value,
        "unit": unit,
        "U": expanded,
        "k": "2",
        "issued": date(2026, 3, 2),
        "due": date(2027, 3, 2),
    }


def line(source, estimate, u, distribution, divisor, sensitivity, contribution, dof):
    keys = ("source", "estimate", "u", "distribution", "divisor", "sensitivity")
    values = (source, estimate, u, distribution, divisor, sensitivity)
    return dict(zip(keys, values, strict=True)) | {"contribution": contribution, "dof": dof}


def budget(channel, expanded, u):
    return {
        "channel": channel,
        "at": "at 10 deg, the worst point",
        "unit": "deg",
        "lines": [
            line(
                "Gauge block height", "34.730", "0.00012", "normal", "2", "0.291", "0.000035", None
            ),
            line("Sine bar length", "200.000", "0.0010", "normal", "2", "-0.051", "0.000051", None),
            line("Resolution", "0", "0.00029", "uniform", "1.732", "1", "0.00029", None),
            line("Repeatability", "-0.0012", "0.0011", "t", "1", "1", "0.0011", "12"),
            line("Temperature drift", "0.4", "0.58", "uniform", "1.732", "-0.0008", "0.00046", "8"),
        ],
        "u": u,
        "dof": "58",
        "k": "2",
        "U": expanded,
        "monte_carlo": {
            "trials": 200000,
            "seed": 7,
            "u": u,
            "low": "-0.0073",
            "high": "0.0049",
            "probability": "0.9545",
        },
    }


def still(channel):
    taus = [0.1 * 2**i for i in range(13)]
    curve = []
    for tau in taus:
        deviation = math.sqrt(0.00095**2 / tau + 0.0002**2 + (0.00001 * tau) ** 2)
        spread = 0.03 + 0.008 * math.sqrt(tau)
        ends = {"low": deviation * (1 - spread), "high": deviation * (1 + 1.4 * spread)}
        curve.append({"tau_s": tau, "deviation": deviation, **ends})
    return {
        "channel": channel,
        "unit": "deg",
        "recorded_s": "1800",
        "noise_density": "0.0013",
        "bias_instability": "0.00034",
        "at_tau_s": "25.6",
        "warm_up": "-0.014",
        "warm_up_s": "210",
        "per_degc": "-0.0008",
        "curve": curve,
    }


def fit():
    return {
        "kind": "sphere",
        "channel": "incl",
        "method": "gravity sphere, 24 attitudes",
        "names": ("bias_y", "scale_y"),
        "values": (0.0085, 1.0119),
        "u": (0.00003, 0.0002),
        "covariance": ((1e-9, 0.0), (0.0, 4e-8)),
        "dof": 66.0,
        "sigma": 0.00005,
        "rank": 2,
        "undetermined": ("zero_turn",),
        "distrusted": ("row 17",),
    }


def papers():
    return {
        "record_id": "cal-2026-0042",
        "head": {
            "head_id": "00a1b2c3d4e5f607",
            "serial": "0007",
            "model": "LH-2",
            "firmware": "1.4.0",
            "condition": "clean, clamp worn but tight",
        },
        "issued": date(2026, 11, 25),
        "received": date(2026, 11, 23),
        "performed_from": DAY,
        "performed_to": date(2026, 11, 25),
        "due": date(2027, 11, 24),
        "due_agreed": False,
        "lab": {
            "name": "Kestrel Lane Works, Calibration Bench",
            "address": "4 Kestrel Lane, Harrowmere",
            "country": "GB",
        },
        "place": "Bench 1, in the laboratory",
        "customer": {
            "name": "Kestrel Lane Works, Bay 2",
            "address": "4 Kestrel Lane, Harrowmere",
            "contact": "Mira Tolland, bay foreman",
        },
        "method": {"name": "KL-M-03 Measuring heads on bar and sine bar", "version": "edition 2"},
        "performed_by": "Ada Brindle",
        "authorised_by": "Jonas Wexcombe",
        "deviations": "none",
        "environment": {
            "temperature": {"value": "20.4", "U": "0.6", "k": "2", "unit": "Cel"},
            "humidity": {"value": "48", "U": "5", "k": "2", "unit": "%"},
        },
        "references": [
            reference("KL-BAR-1", "bar", "2000.012", "mm", "0.020", "FMO-26-0118"),
            reference("KL-SINE-1", "sine-bar", "200.0013", "mm", "0.0020", "FMO-26-0119"),
            reference("KL-BLK-1", "gauge-blocks", "34.73002", "mm", "0.00024", "FMO-26-0120"),
            reference("KL-T-1", "thermometer", "0.04", "Cel", "0.10", "FMO-26-0121"),
        ],
        "raw": [
            {"what": "sphere.csv", "sha256": sha("sphere"), "bytes": 2214},
            {"what": "left.csv", "sha256": sha("left"), "bytes": 4105},
        ],
        "software": {"name": "levelhead", "version": "0.1.0", "settings_sha256": sha("settings")},
        "decision_rule": "guard-u-4",
        "head_class": "class KL-B",
        "previous": {"record_id": "cal-2025-0017", "sha256": sha("before")},
    }


def results():
    return {
        "coefficients": coefficients(0.487, 1.0119, 0.21, -0.214),
        "coefficients_before": coefficients(0.462, 1.0087, 0.02, -0.03),
        "adjusted": True,
        "fits": [fit()],
        "stability": [still("incl_y")],
        "as_found": {
            "performed": DAY,
            "points": points(3, 0.021, 0.0019, 0.12),
            "figures": figures("0.0412", "0.0011", "0.0019", "0.0140", "0.124"),
            "verdicts": verdicts("0.0412", "fail", "0.0002", "0.124", "fail", "0.0003"),
        },
        "as_left": {
            "performed": date(2026, 11, 25),
            "points": points(4, -0.0012, 0.0001, 0.004),
            "figures": figures("-0.0031", "0.0010", "0.0018", "0.0021", "0.009"),
            "verdicts": verdicts("-0.0031", "pass", "1", "0.009", "pass", "1.0000"),
        },
        "budgets": [budget("incl_y", "0.0062", "0.0031"), budget("rotation", "0.014", "0.007")],
    }


@pytest.fixture(scope="session")
def signing_key():
    return Ed25519PrivateKey.from_private_bytes(bytes(range(32)))


@pytest.fixture(scope="session")
def draft(signing_key):
    """A record with everything in it but a signature of the whole."""
    bare = CalibrationRecord.model_validate(papers() | results())
    step = adjustment_of(bare, signing_key, "2026-11-25T09:30:00Z", "Ada Brindle")
    left = bare.as_left.model_copy(update={"after": step.sha256})
    return seal(bare.revised(adjustment=step, as_left=left))


@pytest.fixture(scope="session")
def complete(draft, signing_key):
    """The same, signed."""
    return sign(draft, signing_key)


class Page(HTMLParser):
    """What a browser makes of an HTML file: its words, its tags, what it would fetch or run."""

    VOID = frozenset({"meta", "br", "hr"})

    def __init__(self, html):
        super().__init__(convert_charrefs=True)
        self.words, self.tags, self.attributes, self.open = [], [], [], []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, name, value) for name, value in attrs]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag, f"</{tag}> closes what it did not open"

    def handle_data(self, data):
        if self.open[-1:] != ["style"]:
            self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())


@pytest.fixture(scope="session")
def read_page():
    """Return what reads the text of an HTML file."""
    return Page


@pytest.fixture(scope="session")
def pdf_text(real_part, tmp_path_factory):
    """Return what reads the text of a PDF file: the whole, or its pages."""
    program = real_part("pdftotext")
    folder = tmp_path_factory.mktemp("pdf")

    def read(content):
        path = folder / f"{hashlib.sha256(content).hexdigest()}.pdf"
        path.write_bytes(content)
        done = subprocess.run([program, "-raw", path, "-"], capture_output=True, check=True)
        return done.stdout.decode("utf-8").split("\f")[:-1]

    return read


@pytest.fixture(scope="session")
def page(complete, signing_key):
    """The complete certificate as a page."""
    return Page(render_html(certificate(complete, [signing_key.public_key()])))


@pytest.fixture(scope="session")
def sheets(complete, signing_key, pdf_text):
    """The text of every page of the complete certificate on paper."""
    return pdf_text(render_pdf(certificate(complete, [signing_key.public_key()])))
