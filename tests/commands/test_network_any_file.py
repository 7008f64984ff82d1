"""Whatever is done to a network file, the command ends with a result or one line."""

import contextlib
import copy
import io
import json
import math

import numpy as np
import pytest

from ingest.cli import main


def base():
    place = {
        "L1": (5.2, 1.0),
        "R1": (5.2, -1.0),
        "L2": (0.0, 1.0),
        "R2": (0.0, -1.0),
        "P": (7.0, 0.0),
    }
    stations = []
    for name, (x, y) in place.items():
        wheel = {"axle": int(name[1]), "side": "left" if name[0] == "L" else "right"} if y else {}
        stations.append({"id": name, "x_m": x, "y_m": y} | wheel)
    observations = []
    for at, (x, y) in place.items():
        for to, (p, q) in place.items():
            if at == to:
                continue
            angle = math.degrees(math.atan2(q - y, p - x))
            line = {"at": at, "to": to}
            observations.append({"type": "direction", "angle_deg": angle, "sigma_deg": 0.01} | line)
            length = math.dist((x, y), (p, q))
            observations.append({"type": "distance", "distance_m": length, "sigma_m": 0.005} | line)
    return {"stations": stations, "observations": observations, "centre_line": ["P", 2]}


ODD = (
    None,
    True,
    -1,
    0,
    1e308,
    -1e-300,
    5e-324,
    10**400,
    "",
    "L1",
    "X",
    [],
    {},
    [1, 2],
    179.999,
    359.9,
)


def damaged(rng):
    """Return a document with a few things dropped, doubled, or replaced by odd values."""
    document = base()
    for _ in range(int(rng.integers(1, 4))):
        part = document[rng.choice(["stations", "observations"])]
        if not isinstance(part, list) or not part:
            continue
        act, i = rng.integers(0, 5), int(rng.integers(0, len(part)))
        if act == 0:
            del part[: int(rng.integers(1, len(part) + 1))]
        elif act == 1:
            part.append(copy.deepcopy(part[i]))
        elif act == 2 and isinstance(part[i], dict) and part[i]:
            part[i][rng.choice(sorted(part[i]))] = ODD[int(rng.integers(0, len(ODD)))]
        elif act == 3 and isinstance(part[i], dict):
            for key in ("angle_deg", "x_m", "y_m", "distance_m", "sigma_deg"):
                if isinstance(part[i].get(key), float):
                    part[i][key] *= float(rng.choice([-1.0, 0.0, 0.5, 1.5, 1e-6, 1e3]))
        else:
            kept = rng.random(len(part)) < rng.uniform(0.1, 0.9)
            part[:] = [each for each, keep in zip(part, kept, strict=True) if keep]
    return document


@pytest.mark.parametrize("share", range(4))
def test_ends_with_a_result_or_one_line(tmp_path, share):
    ends = {0: 0, 2: 0, 3: 0}
    for seed in range(share, 240, 4):
        rng = np.random.default_rng(seed)
        path = tmp_path / "network.json"
        path.write_text(json.dumps(damaged(rng)))
        words = [[], ["--json"], ["--design", "--json"], ["--drawing", str(tmp_path / "n.svg")]]
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = main(["network", str(path), *words[int(rng.integers(0, len(words)))]])
        assert code in ends, seed
        ends[code] += 1
        assert err.getvalue().count("\n") == (1 if code else 0), seed
        assert bool(out.getvalue()) is (code == 0), seed
        assert "nan" not in out.getvalue().lower(), seed
    assert all(count > 0 for code, count in ends.items() if code != 3)
