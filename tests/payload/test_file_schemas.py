"""The schemas of the plain files, held by jsonschema (an outside validator) on both drafts against
the examples of their documents, and against what the readers take."""

import copy
import json
import re
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from calibration.errors import CalibrationError
from ingest.core.errors import IngestError
from ingest.payload.correction import parse_correction
from ingest.payload.level_file import load_level
from ingest.payload.network_file import NetworkFileError, parse_network_file
from ingest.payload.schemas import FILES, schema

GEOMETRY = Path(__file__).parents[2] / "ingest" / "geometry"
ROOMS = {
    "network-file/1": ("network", parse_network_file),
    "level-file/1": ("level", lambda text: load_level(text, "file")),
    "correction-file/1": ("corrections", lambda text: parse_correction(text, "file")),
}
BEYOND_DRAFT_07 = ("prefixItems", "unevaluatedProperties", "dependentRequired", "$dynamicRef")
DRAFTS = (jsonschema.Draft7Validator, jsonschema.Draft202012Validator)
TESTED_WITH_THEIR_READERS = {"limits-file/1", "vehicle-file/1"}
NOT_EVEN_READ = {"wrong-unit.json"}
ODD = (None, True, 0, -1, 2.5, 1e308, "", "left", [], [1], {}, {"left": 1})


def examples(name):
    text = (GEOMETRY / ROOMS[name][0] / "FILES.md").read_text(encoding="utf-8")
    found = re.findall(r"^```file (\S+\.json)\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)
    return {each: json.loads(content) for each, content in found}


EXAMPLES = [(name, each, doc) for name in ROOMS for each, doc in examples(name).items()]


def reads(name, document):
    try:
        ROOMS[name][1](json.dumps(document))
    except (IngestError, CalibrationError, NetworkFileError):
        return False
    return True


def places(node, path=()):
    """Yield every place in a document, the whole left out."""
    steps = node if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ()
    for step in steps:
        yield (*path, step)
        yield from places(node[step], (*path, step))


def put(document, path, value):
    changed = copy.deepcopy(document)
    where = changed
    for step in path[:-1]:
        where = where[step]
    where[path[-1]] = value
    return changed


@pytest.mark.parametrize("name", FILES)
def test_a_schema_is_valid_in_both_drafts_and_keeps_to_what_they_share(name):
    found = schema(name)
    for draft in DRAFTS:
        draft.check_schema(found)
    text = json.dumps(found)
    assert not any(word in text for word in BEYOND_DRAFT_07)
    # A word of AsyncAPI's own, with another meaning there than in OpenAPI.
    assert '"discriminator"' not in text


def test_every_plain_file_has_a_schema_and_examples():
    assert set(FILES) == {*ROOMS, *TESTED_WITH_THEIR_READERS}
    assert all(examples(name) for name in ROOMS)


@pytest.mark.parametrize(("name", "each", "document"), EXAMPLES)
def test_the_examples_of_the_documents_are_what_the_schema_says(name, each, document):
    for draft in DRAFTS:
        assert draft(schema(name)).is_valid(document) is (each not in NOT_EVEN_READ)
        assert not draft(schema(name)).is_valid(document | {"remark": 1})
        assert not draft(schema(name)).is_valid({})


@pytest.mark.parametrize("name", ROOMS)
def test_a_schema_refuses_nothing_that_the_reader_takes(name):
    rng = np.random.default_rng(9)
    validators = [draft(schema(name)) for draft in DRAFTS]
    taken = refused = 0
    for _, document in list(examples(name).items())[-8:]:
        everywhere = list(places(document))
        for i in rng.permutation(len(everywhere))[:25].tolist():
            odd = put(document, everywhere[i], ODD[int(rng.integers(len(ODD)))])
            if reads(name, odd):
                taken += 1
                assert all(each.is_valid(odd) for each in validators), (everywhere[i], odd)
            else:
                refused += not validators[0].is_valid(odd)
    assert taken > 0
    assert refused > 10


def test_a_pitch_may_stand_alone_or_in_a_list():
    (document,) = (d for _, each, d in EXAMPLES if each == "toe.json")
    validator = jsonschema.Draft7Validator(schema("correction-file/1"))
    for pitch, fits in ((1.5, True), ([1.5], True), ([1.5, 1.5], True), ([1, 1, 1], False)):
        odd = put(document, ("adjuster", "pitch_mm"), pitch)
        assert validator.is_valid(odd) is fits is reads("correction-file/1", odd)


def test_a_port_is_two_numbers():
    (document,) = (d for _, each, d in EXAMPLES if each == "tractor.json")
    validator = jsonschema.Draft7Validator(schema("network-file/1"))
    for port, fits in (([0.1, 0.2], True), ([0.1], False), ([0.1, 0.2, 0.3], False), (0.1, False)):
        odd = put(document, ("observations", 0, "at_port_m"), port)
        assert validator.is_valid(odd) is fits is reads("network-file/1", odd)
