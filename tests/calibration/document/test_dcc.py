"""The DCC export: held against the schemas of the PTB, and read back element by element.

Places of the items follow dcc.xsd 3.3.0 and SI_Format.xsd 2.2.0. The ``basic_`` names of the
quantities are common practice of the good-practice examples.
"""

import re

import pytest
from lxml import etree

from calibration.document.dcc.export import render_dcc
from calibration.document.dcc.schemas import check_schema
from calibration.errors import DccRefused
from calibration.records.adjustment import adjustment_of, holds
from calibration.records.signatures import sign

NS = {"dcc": "https://ptb.de/dcc", "si": "https://ptb.de/si"}


def read(record):
    return etree.fromstring(render_dcc(record))


def texts(root, path):
    return [" ".join("".join(node.itertext()).split()) for node in root.iterfind(path, NS)]


def revised(record, key, **changes):
    """Return a record with other values, adjusted anew where that is another adjustment."""
    draft = record.revised(**changes)
    if not holds(draft):
        step = adjustment_of(draft, key, "2026-11-25T09:30:00Z", "Ada Brindle")
        left = draft.as_left and draft.as_left.model_copy(update={"after": step.sha256})
        adjusted = {"adjustment": step, "as_left": left} if draft.adjusted else {"adjustment": None}
        draft = draft.revised(**adjusted)
    return sign(draft, key)


@pytest.fixture(scope="module")
def root(complete):
    return read(complete)


@pytest.fixture(scope="session")
def from_folder(dcc_schemas):
    """Return what reads a schema of the set."""

    def get(path):
        return (dcc_schemas / path).read_bytes()

    return get


def test_is_valid_against_the_schemas(complete, from_folder):
    check_schema(render_dcc(complete), from_folder)


FACE = {"what": "face against the rollers", "value": "0.0002", "unit": "deg", "U": "0.002"}
GROWTH = {"what": "more of it with the stack's height", "value": "0", "unit": "mm/m", "U": "0.001"}


def with_more(record, key):
    """Return the record with further values of its first reference, signed again."""
    first, *others = record.model_dump(mode="json")["references"]
    return revised(record, key, references=[first | {"also": [FACE, GROWTH]}, *others])


def test_stays_valid_with_further_values_of_a_reference(complete, signing_key, from_folder):
    check_schema(render_dcc(with_more(complete, signing_key)), from_folder)


def test_further_values_of_a_reference_are_quantities_of_it(complete, signing_key):
    more = with_more(complete, signing_key)
    (node, *_) = read(more).findall(".//dcc:measuringEquipments/dcc:measuringEquipment", NS)
    assert texts(node, ".//si:value") == [complete.references[0].value, "0.0002", "0"]
    assert texts(node, ".//si:valueExpandedMU") == [complete.references[0].U, "0.002", "0.001"]


CHANGES = {
    "nothing adjusted": {"adjusted": False, "as_left": None},
    "no humidity": {
        "environment": {"temperature": {"value": "20.4", "U": "0.6", "k": "2", "unit": "Cel"}}
    },
    "due agreed": {"due_agreed": True},
    "in the laboratory": {"place": "laboratory"},
    "replaces another": {"amends": {"record_id": "cal-2026-0041", "sha256": "0" * 64}},
    "from outside": {"external": "drift by another laboratory"},
    "first of its head": {"previous": None, "received": None},
    "simulated": {"simulated": True},
    "nothing found": {"as_found": None, "deviations": "the head arrived dead"},
}


@pytest.mark.parametrize("change", CHANGES)
def test_stays_valid_when(change, complete, signing_key, from_folder):
    changes = dict(CHANGES[change])
    if change == "nothing adjusted":
        changes |= {"coefficients_before": complete.coefficients, "adjustment": None}
    check_schema(render_dcc(revised(complete, signing_key, **changes)), from_folder)


@pytest.mark.parametrize(
    "decision", ["pass", "conditional-pass", "conditional-fail", "fail", "none"]
)
def test_every_decision_has_its_word(decision, complete, signing_key, from_folder):
    verdicts = tuple(v.model_copy(update={"decision": decision}) for v in complete.as_left.verdicts)
    run = complete.as_left.model_copy(update={"verdicts": verdicts})
    content = render_dcc(revised(complete, signing_key, as_left=run))
    check_schema(content, from_folder)
    word = re.sub("-(.)", lambda m: m.group(1).upper(), decision)
    found = texts(etree.fromstring(content), ".//dcc:conformity")[2:]
    assert found == ([] if decision == "none" else [word, word])


HOSTILE = {
    "markup": "<a>&b;]]><!--x--><?pi?>",
    "entity": "&xxe; %pe; <!DOCTYPE a [<!ENTITY xxe SYSTEM 'file:///etc/passwd'>]>",
    "quotes": "'\"` ${x} $(x) {{x}}",
    "long": "x" * 300,
    "wide": "漢字 🙂 e\u0301 \u00a0",
    "not a character": "a\ufffeb\uffffc",
}


@pytest.mark.parametrize("kind", HOSTILE)
def test_hostile_texts_stay_texts(kind, complete, signing_key, from_folder):
    text = HOSTILE[kind]
    changes = {"performed_by": text, "place": text, "deviations": text}
    changes["customer"] = {"name": text, "address": text, "contact": text}
    changes["head"] = complete.head.model_copy(update={"model": text, "condition": text})
    content = render_dcc(revised(complete, signing_key, **changes))
    check_schema(content, from_folder)
    shown = re.sub("[\ufffe\uffff]", "\ufffd", text)
    names = etree.fromstring(content).findall(".//dcc:customer/dcc:name/dcc:content", NS)
    assert [name.text for name in names] == [shown]


def test_what_is_simulated_says_so_first_and_is_not_traceable(root, complete, signing_key):
    found = read(revised(complete, signing_key, simulated=True))
    name = "dcc:administrativeData/dcc:statements/dcc:statement/dcc:name/dcc:content"
    assert texts(found, name)[0] == "Simulated"
    assert "Simulated" not in texts(root, name)
    assert texts(found, ".//dcc:statement/dcc:traceable") == ["false"]
    assert texts(root, ".//dcc:statement/dcc:traceable") == ["true"]
    every = ".//dcc:measuringEquipment/dcc:certificate/dcc:traceable"
    assert set(texts(found, every)) == {"false"}
    assert set(texts(root, every)) == {"true"}
    assert texts(found, ".//dcc:item/dcc:name/dcc:content") == ["Measuring head, SIMULATED"]


def test_names_item_people_and_dates(root):
    assert root.get("schemaVersion") == "3.3.0"
    core = "dcc:administrativeData/dcc:coreData/dcc:"
    assert texts(root, f"{core}uniqueIdentifier") == ["cal-2026-0042"]
    assert texts(root, f"{core}receiptDate") == ["2026-11-23"]
    assert texts(root, f"{core}beginPerformanceDate") == ["2026-11-24"]
    assert texts(root, f"{core}endPerformanceDate") == ["2026-11-25"]
    assert texts(root, f"{core}issueDate") == ["2026-11-25"]
    assert texts(root, f"{core}previousReport/dcc:referralID") == ["cal-2025-0017"]
    item = ".//dcc:items/dcc:item/dcc:"
    assert texts(root, f"{item}identifications/dcc:identification/dcc:value") == [
        "0007",
        "00a1b2c3d4e5f607",
    ]
    assert texts(root, f"{item}installedSoftwares/dcc:software/dcc:release") == ["1.4.0"]
    signers = [
        (texts(p, "dcc:person/dcc:name"), texts(p, "dcc:mainSigner"))
        for p in root.iterfind(".//dcc:respPerson", NS)
    ]
    assert signers == [(["Jonas Wexcombe"], ["true"]), (["Ada Brindle"], ["false"])]


def test_states_what_a_certificate_must(root, complete):
    said = " ".join(texts(root, ".//dcc:statements/dcc:statement/dcc:declaration"))
    for text in (*complete.statements, "Rule “guard-u-4”", "U is the expanded uncertainty"):
        assert text in said
    assert complete.sha256 in said
    assert complete.signatures[0].key_id in said
    assert "not a qualified electronic signature" in said
    assert "2027-11-24" not in said
    assert "24 November 2027" not in said


def test_traces_every_reference_to_its_certificate(root, complete):
    found = root.findall(".//dcc:measuringEquipments/dcc:measuringEquipment", NS)
    assert len(found) == len(complete.references) == 4
    for node, used in zip(found, complete.references, strict=True):
        proof = "dcc:certificate/dcc:"
        assert texts(node, f"{proof}referralID") == [used.certificate]
        assert texts(node, f"{proof}procedure") == ["SHA-256"]
        assert texts(node, f"{proof}value") == [used.certificate_sha256]
        assert texts(node, f"{proof}inValidityRange") == ["true"]
        assert texts(node, f"{proof}traceable") == ["true"]
        assert used.issuer in texts(node, f"{proof}description")[0]
        assert texts(node, ".//si:value") == [used.value]
        assert texts(node, ".//si:valueExpandedMU") == [used.U]
        assert texts(node, "dcc:identifications//dcc:value") == [used.id]
    assert texts(found[0], ".//si:unit") == [r"\milli\metre"]
    assert texts(found[3], ".//si:unit") == [r"\degreecelsius"]


def test_tells_before_from_after_adjustment(root, complete, signing_key):
    status = "dcc:measurementResults/dcc:measurementResult//dcc:status"
    assert texts(root, status) == ["beforeAdjustment", "afterAdjustment"]
    once = revised(
        complete,
        signing_key,
        adjusted=False,
        adjustment=None,
        as_left=None,
        coefficients_before=complete.coefficients,
    )
    assert texts(read(once), status) == []


def quantity(result, ref):
    return result.find(f".//dcc:quantity[@refType='{ref}']/si:realListXMLList", NS)


@pytest.mark.parametrize(
    ("ref", "field"),
    [
        ("basic_nominalValue", "nominal"),
        ("basic_referenceValue", "reference"),
        ("basic_measuredValue", "indication"),
        ("basic_measurementError", "error"),
    ],
)
def test_lists_every_point_as_the_record_has_it(root, complete, ref, field):
    runs = root.findall(".//dcc:measurementResult", NS)
    for run, node in zip((complete.as_found, complete.as_left), runs, strict=True):
        results = node.findall("dcc:results/dcc:result", NS)
        for channel, result in zip(("incl_y", "rotation"), results, strict=False):
            points = [point for point in run.points if point.channel == channel]
            values = quantity(result, ref).find("si:valueXMLList", NS).text.split()
            assert values == [getattr(point, field) for point in points]
            units = quantity(result, ref).find("si:unitXMLList", NS).text.split()
            assert units == [r"\degree"] * len(points)


def test_gives_every_error_its_expanded_uncertainty(root, complete):
    points = [p for p in complete.as_found.points if p.channel == "incl_y"]
    errors = quantity(root.find(".//dcc:result", NS), "basic_measurementError")
    known = errors.find("si:measurementUncertaintyUnivariateXMLList/si:expandedMUXMLList", NS)
    assert known.find("si:valueExpandedMUXMLList", NS).text.split() == [p.U for p in points]
    assert known.find("si:coverageFactorXMLList", NS).text.split() == [p.k for p in points]
    assert set(known.find("si:coverageProbabilityXMLList", NS).text.split()) == {"0.9545"}


def test_uses_no_deprecated_form(root):
    names = {etree.QName(node).localname for node in root.iter(etree.Element)}
    assert not names & {"expandedUnc", "expandedUncXMLList", "coverageInterval"}


def test_refuses_a_draft(draft):
    with pytest.raises(DccRefused, match="cal-2026-0042 is a draft; sign it first"):
        render_dcc(draft)


def test_refuses_a_record_that_was_signed_incomplete(complete):
    signed = complete.model_copy(update={"place": ""})
    with pytest.raises(DccRefused, match="place is blank"):
        render_dcc(signed)


def test_refuses_a_unit_that_the_d_si_lacks(complete, signing_key):
    figure = complete.as_left.figures[0].model_copy(update={"unit": "[in_i]"})
    run = complete.as_left.model_copy(update={"figures": (figure,)})
    with pytest.raises(DccRefused, match=r"the unit \[in_i\] has no form in the D-SI"):
        render_dcc(revised(complete, signing_key, as_left=run))


def schema(body="", imports=""):
    head = '<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema">'
    return f"<?xml version='1.0'?>{head}{imports}{body}</xs:schema>".encode()


def holding(**files):
    """Return a reader of a set of schemas that lie nowhere."""

    def get(path):
        if path not in files:
            raise DccRefused(f"schema {path} is missing", "give the whole set")
        return files[path]

    return get


def test_says_which_rule_was_broken():
    wants_more = schema('<xs:element name="a"><xs:complexType/></xs:element>')
    with pytest.raises(DccRefused, match=r"not valid against dcc\.xsd: Element 'a'"):
        check_schema(b"<a><b/></a>", holding(**{"dcc.xsd": wants_more}))


@pytest.mark.parametrize(
    "link",
    [
        "http://localhost:1/x.xsd",
        "//localhost/x.xsd",
        "file:///etc/passwd",
        "/etc/passwd",
        "../x.xsd",
        "a/../../x.xsd",
    ],
)
@pytest.mark.parametrize("kind", ["import", "include", "redefine"])
def test_follows_no_schema_out_of_the_set(link, kind):
    asked = []

    def get(path):
        asked.append(path)
        return schema(imports=f'<xs:{kind} schemaLocation="{link}"/>')

    with pytest.raises(DccRefused, match=r"schema dcc\.xsd leads out of the set"):
        check_schema(b"<a/>", get)
    assert asked == ["dcc.xsd"]


def test_follows_schemas_within_the_set():
    part = schema('<xs:element name="a" type="xs:int"/>')
    files = {
        "dcc.xsd": schema(imports='<xs:include schemaLocation="sub/p.xsd"/>'),
        "sub/p.xsd": part,
    }
    check_schema(b"<a>1</a>", holding(**files))
    with pytest.raises(DccRefused, match="xs:int"):
        check_schema(b"<a>x</a>", holding(**files))


def test_names_a_schema_that_is_missing():
    files = {"dcc.xsd": schema(imports='<xs:include schemaLocation="gone.xsd"/>')}
    with pytest.raises(DccRefused, match=r"gone\.xsd is missing"):
        check_schema(b"<a/>", holding(**files))


def test_refuses_schemas_that_are_no_xml():
    with pytest.raises(DccRefused, match=r"dcc\.xsd is no XML"):
        check_schema(b"<a/>", holding(**{"dcc.xsd": b"<not"}))


def test_refuses_xml_that_is_no_schema():
    with pytest.raises(DccRefused, match="schemas cannot be used"):
        check_schema(b"<a/>", holding(**{"dcc.xsd": b"<a/>"}))


def test_expands_no_entity_of_a_schema():
    bomb = b"""<!DOCTYPE s [<!ENTITY x SYSTEM "file:///etc/passwd">]>
    <xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema">
    <xs:annotation><xs:documentation>&x;</xs:documentation></xs:annotation>
    <xs:element name="a" type="xs:string"/></xs:schema>"""
    check_schema(b"<a>t</a>", holding(**{"dcc.xsd": bomb}))
