"""Files of limits: what was entered comes back as it was entered; what is wrong is one line.

Read a second time by the standard library's own readers of TOML and CSV, and held to the schema by
jsonschema.
"""

import csv
import datetime
import io
import json
import tomllib

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.decision import Rule
from ingest.core.errors import ConfigError, InputError
from ingest.core.frames import Side
from ingest.job.limits.faults import LimitsError
from ingest.job.limits.limit import EVERY, ROLES, VEHICLE, Figures, Key, Limit, Load, Origin
from ingest.job.limits.limitset import LimitSet, Version
from ingest.job.limits.quantities import Of, Quantity
from ingest.job.limits.units import EnteredUnit
from ingest.payload.limits_csv import dump_figures, parse_figures
from ingest.payload.limits_file import dump_limits, parse_limits
from ingest.payload.schemas import schema

line = st.text(
    st.characters(codec="utf-8", exclude_categories=("C", "Z"), include_characters=" \"\\,'="),
    min_size=1,
    max_size=30,
).filter(str.strip)
day = st.dates(datetime.date(1970, 1, 1), datetime.date(2100, 1, 1))
LOW, NOMINAL, HIGH = (
    ("-1.50", "-3/2", "-1.5e0", "-2", "-12."),
    ("0", "+0.10", "-0.0", "-0", ".5"),
    ("2", "1 1/2"),
)
SPELT = {
    EnteredUnit.DEGREES_MINUTES: (
        ("-0:30", "-1d 0.5"),
        ("0:00", "-0:05.50"),
        ("1:59.99", "1° 02'"),
    ),
}

VALIDATOR = jsonschema.Draft202012Validator(schema("limits-file/1"))


@st.composite
def limits(draw):
    quantity = draw(st.sampled_from(Quantity))
    kind = quantity.kind
    axles = st.sampled_from((1, 20, EVERY, *ROLES))
    key = Key(
        VEHICLE if kind.of is Of.VEHICLE else draw(axles),
        quantity,
        draw(st.sampled_from((None, *Side))) if kind.has_sides else None,
        draw(st.sampled_from(Load)),
    )
    unit = draw(st.sampled_from(EnteredUnit))
    low, nominal, high = (
        draw(st.sampled_from((None, *texts))) for texts in SPELT.get(unit, (LOW, NOMINAL, HIGH))
    )
    across = draw(st.sampled_from((None, "571.50 mm", "22 1/2 in", "1000mm")))
    figures = Figures(unit, low, nominal, high, across)
    try:
        return Limit(key, figures, Origin(draw(line), draw(day), draw(line)))
    except LimitsError:
        return None


@st.composite
def sets(draw):
    found = draw(st.lists(limits(), max_size=4))
    unique = {each.key: each for each in found if each is not None}
    number = draw(st.integers(1, 9))
    return LimitSet(
        Version(draw(st.from_regex(r"[a-z0-9][a-z0-9_-]{0,5}", fullmatch=True)), number),
        draw(line),
        draw(day),
        draw(line | st.just("")),
        draw(st.sampled_from(Rule)),
        tuple(unique.values()),
        draw(st.none() | st.builds(Version, st.just("older"), st.integers(1, 9))),
        draw(line | st.just("")),
        draw(st.none() | st.integers(1, number - 1)) if number > 1 else None,
    )


@given(sets())
@settings(max_examples=30)
def test_a_set_comes_back_from_its_file_as_it_was_entered(one):
    text = dump_limits(one)
    assert parse_limits(text, "here") == one
    plain = tomllib.loads(text, parse_float=str)
    told = json.loads(json.dumps(plain, default=str))
    VALIDATOR.validate(told)
    for limit, read in zip(one.limits, plain.get("limit", []), strict=True):
        for name in ("low", "nominal", "high"):
            given_as, found = getattr(limit.figures, name), read.get(name)
            assert (None if found is None else str(found)) == given_as
    if one.limits:
        figures = dump_figures(one)
        assert parse_figures(figures, "here") == one.limits
        rows = list(csv.DictReader(io.StringIO(figures)))
        assert [row["source"] for row in rows] == [e.origin.source for e in one.limits]
        assert [row["high"] or None for row in rows] == [e.figures.high for e in one.limits]


HEAD = """format = "levelhead-limits/1"
name = "ash"
version = 2
author = "R. Alder"
date = 2026-11-28
"""
LIMIT = """[[limit]]
axle = 1
quantity = "camber"
load = "any"
low = -0.5
high = 0.5
unit = "deg"
source = "a sheet"
date = 2026-11-28
author = "R. Alder"
"""


def test_a_number_keeps_its_digits_and_its_spelling():
    text = HEAD + LIMIT.replace("low = -0.5", "low = -0.50").replace("high = 0.5", 'high = "1/2"')
    (limit,) = parse_limits(text, "here").limits
    assert (limit.figures.low, limit.figures.high) == ("-0.50", "1/2")
    assert "low = -0.50\n" in dump_limits(parse_limits(text, "here"))


@pytest.mark.parametrize("spelt", ["-0", "+0.10", "-0.50", "0", "1/4", ".25", "0.", "1e-1"])
def test_a_spelling_that_toml_does_not_keep_is_written_in_quotes(spelt):
    one = parse_limits(HEAD + LIMIT.replace("high = 0.5", f'nominal = "{spelt}"'), "here")
    assert one.limits[0].figures.nominal == spelt
    assert parse_limits(dump_limits(one), "here") == one


BAD = {
    "not TOML": HEAD + "limit = [[",
    "format: ": HEAD.replace("format", "formal") + LIMIT,
    "a newer file needs the newer program": HEAD.replace("limits/1", "limits/2") + LIMIT,
    "author: is needed": HEAD.replace("author", "#"),
    "colour = 'red': no such key": HEAD + 'colour = "red"\n',
    "a?b = 1: no such key": HEAD + '"a\\nb" = 1\n',
    "cannot name a set": HEAD.replace('"ash"', '"Ash tree"'),
    "version = 0": HEAD.replace("version = 2", "version = 0"),
    "versions count from 1, to": HEAD.replace("version = 2", f"version = {10**30}"),
    "cannot restore 2": HEAD + "restores = 2\n",
    "a day is needed": HEAD.replace("2026-11-28", "5"),
    "limit 1.quantity = 'kamber': choose 'camber'": HEAD + LIMIT.replace("camber", "kamber"),
    "limit 1.unit = 'grad': choose 'deg'": HEAD + LIMIT.replace("deg", "grad"),
    "limit 1.load: is needed": HEAD + LIMIT.replace("load", "#"),
    "limit 1.low": HEAD + LIMIT.replace("-0.5", "true"),
    "limit 1, axle 1 camber: low: 'NaN' is not": HEAD + LIMIT.replace("-0.5", "nan"),
    "limit 1, axle 1 camber: low 0.9 is above": HEAD + LIMIT.replace("-0.5", "0.9"),
    "limit 2, camber: 'front' is no": HEAD + LIMIT + LIMIT.replace("1", '"front"', 1),
    "axle 1 camber has two figures": HEAD + LIMIT + LIMIT,
    "larger than": "#" * (2**20 + 1),
}


@pytest.mark.parametrize("says", BAD)
def test_a_file_that_is_wrong_is_one_line(says):
    with pytest.raises((ConfigError, InputError)) as refused:
        parse_limits(BAD[says], "ash.toml")
    assert str(refused.value).startswith("ash.toml: ")
    assert says in str(refused.value)
    assert "\n" not in str(refused.value)
    assert len(str(refused.value)) < 600


TITLES = "axle,quantity,side,load,low,nominal,high,unit,across,source,date,author\n"
BAD_CSV = {
    "ash.csv:1: no column axle": "",
    "ash.csv: no limits after the header": TITLES,
    "ash.csv:1: column 'colour' is not known": TITLES.replace("side", "colour"),
    "ash.csv:1: column 'high' is there twice": TITLES.replace("low", "high"),
    "ash.csv:1: no column unit": TITLES.replace("unit", "side", 1),
    "ash.csv:2: 13 cells, the header has 12 (decimal commas?": TITLES
    + "1,camber,,any,0,5,,1,deg,,s,2026-11-28,A\n",
    "ash.csv:2: unit is empty: is needed": TITLES + "1,camber,,any,0,,1,,,s,2026-11-28,A\n",
    "ash.csv:2: side is 'middle': choose": TITLES
    + "1,camber,middle,any,0,,1,deg,,s,2026-11-28,A\n",
    "ash.csv:2: date is 'today'": TITLES + "1,camber,,any,0,,1,deg,,s,today,A\n",
    "ash.csv:2: date is '99999999": TITLES + f"1,toe,,any,0,,1,deg,,s,{'9' * 5000},A\n",
    "ash.csv:2: camber: '99999999": TITLES + f"{'9' * 5000},camber,,any,0,,1,deg,,s,2026-11-28,A\n",
    "ash.csv:2: date is '86400'": TITLES + "1,camber,,any,0,,1,deg,,s,86400,A\n",
    "ash.csv:3: axle 1 toe: high: 'x' is not": TITLES
    + "1,camber,,any,0,,1,deg,,s,2026-11-28,A\n1,toe,,any,0,,x,deg,,s,2026-11-28,A\n",
    "ash.csv:2: not CSV": TITLES + '1,"camber"x,,any\n',
}


@pytest.mark.parametrize("says", BAD_CSV)
def test_a_table_that_is_wrong_is_one_line_with_its_row(says):
    with pytest.raises(InputError) as refused:
        parse_figures(BAD_CSV[says], "ash.csv")
    assert says in str(refused.value)
    assert "\n" not in str(refused.value)
    assert len(str(refused.value)) < 600
