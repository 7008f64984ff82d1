"""``levelhead schemas``: the contract, printed."""

import json

import jsonschema
import pytest

from ingest.cli import main
from ingest.payload.schemas import FILES, schema, schema_names
from tests.job.vehicles import SHIPPED, tables


def test_all_schemas_are_printed_under_the_names_that_the_service_and_the_documents_tell(capsys):
    assert main(["schemas"]) == 0
    printed = json.loads(capsys.readouterr().out)
    assert sorted(printed) == sorted([*schema_names().values(), *FILES])
    for name, each in printed.items():
        assert each["$id"] == f"urn:levelhead:{name}"
        jsonschema.Draft202012Validator.check_schema(each)


def test_one_schema_is_printed_by_its_name(capsys):
    assert main(["schemas", "reading/1"]) == 0
    assert json.loads(capsys.readouterr().out)["$id"] == "urn:levelhead:reading/1"


@pytest.mark.parametrize("name", ["reading/2", "reading", ""])
def test_an_unknown_name_is_one_line_that_lists_the_others(capsys, name):
    assert main(["schemas", name]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert "reading/1" in said.err


@pytest.mark.parametrize("name", SHIPPED)
def test_the_shipped_vehicles_fit_the_schema_and_a_misspelt_key_does_not(name):
    validator = jsonschema.Draft202012Validator(schema("vehicle-file/1"))
    found = tables(name)
    validator.validate(found)
    found["axle"][0]["trak_m"] = 2.0
    assert not validator.is_valid(found)
