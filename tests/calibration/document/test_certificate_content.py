"""A complete certificate, item by item of ISO/IEC 17025:2017, 7.8.

The list of items is from secondary copies of 7.8.2.1, 7.8.4.1 and 7.8.6; the standard itself is
not free. The wording is ours.
"""

from datetime import date

import pytest

from calibration.document.blocks import EndMark, Facts, Outcome, Table
from calibration.document.certificate import wording
from calibration.document.certificate.compose import certificate
from calibration.document.certificate.proof import traced
from calibration.document.html import render_html
from calibration.document.pdf import render_pdf
from calibration.records.record import CalibrationRecord
from calibration.records.signatures import sign
from calibration.records.text import seal

CLAUSES = {
    "7.8.2.1 a title": ["Calibration certificate"],
    "7.8.2.1 b laboratory": ["Kestrel Lane Works, Calibration Bench", "4 Kestrel Lane, Harrowmere"],
    "7.8.2.1 c place": ["Bench 1, in the laboratory"],
    "7.8.2.1 d number and end": ["cal-2026-0042", "End of certificate cal-2026-0042"],
    "7.8.2.1 e customer": ["Kestrel Lane Works, Bay 2", "Mira Tolland, bay foreman"],
    "7.8.2.1 f method": ["KL-M-03 Measuring heads on bar and sine bar", "edition 2"],
    "7.8.2.1 g item": ["LH-2", "0007", "00a1b2c3d4e5f607", "1.4.0", "clamp worn but tight"],
    "7.8.2.1 h received": ["Received 23 November 2026"],
    "7.8.2.1 i performed": ["Performed 24 November 2026 to 25 November 2026"],
    "7.8.2.1 j issued": ["Issued 25 November 2026"],
    "7.8.2.1 l item only": ["The results relate only to the item described here"],
    "7.8.2.1 n deviations": ["Deviations none"],
    "7.8.2.1 o people": ["Ada Brindle Performed by", "Jonas Wexcombe Authorised by"],
    "7.8.2.1 note in full": ["This document is copied as a whole or"],
    "7.8.4.1 a uncertainty": ["U is the expanded uncertainty", "(−0.0031 ± 0.0062)°", "2.13"],
    "7.8.4.1 b conditions": ["(20.4 ± 0.6) °C, k = 2.00", "(48 ± 5) %, k = 2.00"],
    "7.8.4.1 d before and after": ["As found, 24 November 2026", "As left, 25 November 2026"],
    "7.8.6 conformity": ["± 0.030°", "guard-u-4", "class KL-B", "conditional fail", "50 %"],
    "no accreditation": ["Not issued under accreditation."],
    "calibration or verification": ["Calibration, as used here", "Verification holds them"],
    "budget": ["Gauge block height", "uniform", "1.732", "Expanded, U (k = 2.00)"],
    "monte carlo": ["200000 trials, seed 7", "95.45 % of them between −0.0073° and 0.0049°"],
    "stability": [
        "Noise density 0.0013 °/√Hz",
        "0.00034° at 25.6 s",
        "−0.014°, time constant 210 s",
    ],
    "coefficients": ["incl_y: zero at 20 °C 0.4620 0.4870 0.0016 °", "rotation: harmonic 1, s"],
    "fits": ["gravity sphere, 24 attitudes", "zero_turn", "row 17"],
    "software": ["levelhead 0.1.0"],
    "previous": ["Follows cal-2025-0017"],
    "seal": ["not a qualified electronic signature"],
    "how to check": ["levelhead record check cal-2026-0042.json --key"],
}


@pytest.mark.parametrize("clause", CLAUSES)
def test_page_says(page, clause):
    for text in CLAUSES[clause]:
        assert text in page.text


@pytest.mark.real
@pytest.mark.parametrize("clause", CLAUSES)
def test_paper_says(sheets, clause):
    bare = "".join("".join(sheets).replace("\u200b", "").split())
    for text in CLAUSES[clause]:
        for part in text.split(" Performed by")[0].split(" Authorised by")[0].split():
            assert part in bare


MEAN = "told from their own mean: nothing here verifies"


def with_only(record, *named):
    """Return the record with figures of these channels and names in its run in force."""
    run = record.run_in_force
    one = next(f for f in run.figures if f.name == "max-error")
    figures = tuple(one.model_copy(update={"channel": c, "name": n}) for c, n in named)
    return record.model_copy(update={"as_left": run.model_copy(update={"figures": figures})})


def test_says_that_no_figure_of_an_encoder_covers_its_zero(page, complete):
    run = complete.run_in_force
    assert any(figure.channel in wording.CIRCULAR for figure in run.figures)
    assert MEAN in page.text


def small_print(record):
    return " ".join(b.text for b in certificate(record).blocks if getattr(b, "role", "") == "small")


def test_says_of_a_zero_that_was_verified_no_more_that_it_was_not(complete):
    turned = (("azimuth_cross", "max-error"), ("rotation", "max-error"))
    before = small_print(with_only(complete, *turned))
    after = small_print(with_only(complete, *turned, ("azimuth_cross", "zero")))
    assert f"azimuth_cross are {MEAN} its zero, on which toe stands." in before
    assert f"rotation are {MEAN} its zero, and no toe or camber stands on it." in after
    assert f"azimuth_cross are {MEAN}" not in after
    assert "The zero of azimuth_cross was verified on the reference bar" in after
    assert "verified on the reference bar" not in before


def test_says_where_every_reference_comes_from(page, complete):
    for used in complete.references:
        assert traced(used) in page.text
        assert used.certificate_sha256 in page.text
    assert traced(complete.references[0]) == (
        "KL-BAR-1, reference bar: 2000.012 mm with U = 0.020 mm (k = 2.00), by certificate "
        "FMO-26-0118 of Fenmoor Metrology Office, issued 2 March 2026, due 2 March 2027."
    )


def test_lists_every_point_of_both_runs(complete):
    tables = [b for b in certificate(complete).blocks if isinstance(b, Table)]
    listed = [t for t in tables if t.caption.startswith(("As found", "As left"))]
    shown = [row for table in listed for row in table.rows]
    assert len(shown) == len(complete.as_found.points) + len(complete.as_left.points)
    first = complete.as_found.points[0]
    signed = [first.nominal, first.reference, first.indication, first.error, first.U]
    nominal, *measured = (text.replace("-", "−") for text in signed)
    assert shown[0] == (nominal, "up", "3", *measured, "2.00")


def test_names_key_and_hash_of_a_signed_record(page, complete):
    assert complete.sha256 in page.text
    assert f"key {complete.signatures[0].key_id} (Ed25519)" in page.text


def test_ends_with_the_end_mark(complete):
    assert isinstance(certificate(complete).blocks[-1], EndMark)


@pytest.mark.real
def test_every_sheet_carries_number_and_page(sheets):
    for i, sheet in enumerate(sheets, 1):
        assert f"Page {i} of {len(sheets)}" in sheet
        assert "cal-2026-0042" in sheet
    assert "End of certificate" in sheets[-1]
    assert len(sheets) > 3


def test_printed_page_carries_number_and_page(complete):
    html = render_html(certificate(complete))
    rule = '"cal-2026-0042" "    Page " counter(page) " of " counter(pages)'
    assert rule in html


def facts(record):
    found = {}
    for block in walk(certificate(record).blocks):
        if isinstance(block, Facts):
            found |= dict(block.items)
    return found


def walk(blocks):
    for block in blocks:
        yield block
        for cell in getattr(block, "cells", ()):
            yield from walk(cell)


def words(record, read_page):
    return read_page(render_html(certificate(record))).text


def test_keeps_the_due_date_to_itself_unless_agreed(complete, read_page):
    assert "24 November 2027" not in words(complete, read_page)
    agreed = complete.revised(due_agreed=True)
    assert facts(agreed)["Next due"] == "24 November 2027, as agreed"


def test_names_an_accreditation_instead_of_denying_one(complete, read_page):
    said = complete.statements[:2]
    accredited = complete.revised(accreditation="HAS 0471", statements=said)
    text = words(accredited, read_page)
    assert "Accreditation HAS 0471" in text
    assert "Not issued under accreditation" not in text


def test_says_what_no_certificate_goes_without_even_when_the_record_forgot(complete, read_page):
    text = words(complete.revised(statements=()), read_page)
    assert "relate only to the item" in text
    assert "Not issued under accreditation." in text
    assert "copied as a whole" in text


def test_says_when_nothing_was_adjusted(complete, read_page):
    text = words(complete.revised(adjusted=False, as_left=None), read_page)
    assert "Nothing was adjusted" in text
    assert "As left, " not in text


def test_says_when_there_are_no_results_from_before(complete, read_page):
    reason = "as found: the head was dead on arrival"
    text = words(complete.revised(as_found=None, deviations=reason), read_page)
    assert "There are no results from before" in text
    assert reason in text


def test_names_results_from_outside_and_the_certificate_it_replaces(complete, read_page):
    link = {"record_id": "cal-2026-0041", "sha256": "0" * 64}
    outside = "temperature drift: by Fenmoor Metrology Office"
    text = words(complete.revised(external=outside, amends=link), read_page)
    assert f"From outside {outside}" in text
    assert "Replaces cal-2026-0041" in text


def outcome(record):
    return next(b for b in certificate(record).blocks if isinstance(b, Outcome))


def with_decisions(record, *decisions):
    run = record.as_left
    judged = zip(run.verdicts, decisions, strict=True)
    verdicts = tuple(v.model_copy(update={"decision": d}) for v, d in judged)
    return record.revised(as_left=run.model_copy(update={"verdicts": verdicts}))


@pytest.mark.parametrize(
    ("decisions", "word", "held"),
    [
        (("pass", "pass"), "Pass", True),
        (("pass", "conditional-pass"), "Conditional pass", True),
        (("conditional-fail", "pass"), "Conditional fail", False),
        (("conditional-fail", "fail"), "Fail", False),
        (("none", "pass"), "Pass", True),
        (("none", "none"), "Calibrated", None),
    ],
)
def test_outcome_is_the_worst_decision_on_the_results_in_force(complete, decisions, word, held):
    found = outcome(with_decisions(complete, *decisions))
    assert (found.word, found.held) == (word, held)


@pytest.mark.parametrize(
    ("rule", "risk"), [("simple", "50 %"), ("guard-u", "2.5 %"), ("guard-u-4", "conditional pass")]
)
def test_tells_the_decision_rule_with_its_risk(complete, read_page, rule, risk):
    text = words(complete.revised(decision_rule=rule), read_page)
    start = text.index(f"Rule “{rule}”")
    assert risk in text[start : start + 500]


def test_a_draft_says_so_and_what_it_lacks(draft, read_page):
    bare = CalibrationRecord(
        record_id="cal-2026-0043",
        head={"head_id": "00a1b2c3d4e5f607"},
        issued=date(2026, 11, 25),
        performed_from=date(2026, 11, 25),
        performed_to=date(2026, 11, 25),
    )
    text = words(seal(bare), read_page)
    assert "DRAFT, not signed" in text
    assert "7.8.2.1 e: customer.name is blank" in text
    assert "No verification points have been measured yet." in text
    assert outcome(bare).word == "Open"
    for each in (bare, draft):
        assert "Nobody has signed this record" in words(each, read_page)
        assert "levelhead record check" not in words(each, read_page)
    assert "nobody has signed it yet" in words(draft, read_page)


@pytest.mark.real
def test_a_draft_is_marked_on_every_sheet(draft, complete, pdf_text):
    mark = "DRAFT,notsigned"  # letter by letter, since it runs aslant
    for record, marked in ((draft, True), (complete, False)):
        for sheet in pdf_text(render_pdf(certificate(record))):
            assert (mark in "".join(sheet.split())) == marked


@pytest.mark.real
@pytest.mark.parametrize(("signed", "mark"), [(True, "SIMULATED"), (False, "SIMULATED,DRAFT")])
def test_simulated_work_is_marked_on_every_sheet(complete, signing_key, pdf_text, signed, mark):
    record = complete.revised(simulated=True)
    sheets = pdf_text(render_pdf(certificate(sign(record, signing_key) if signed else record)))
    assert len(sheets) > 3
    for sheet in sheets:
        assert mark in "".join(sheet.split())


def test_simulated_work_says_so_and_claims_no_traceability(complete, page, read_page, signing_key):
    text = words(sign(complete.revised(simulated=True), signing_key), read_page)
    assert text.count("SIMULATED") == 1
    assert "The readings come from simulated heads" in text
    assert wording.TRACEABLE in page.text
    assert wording.TRACEABLE not in text
    assert "simulated" not in page.text.lower()


def test_a_signed_certificate_bears_no_mark(page):
    assert "DRAFT" not in page.text


def test_warns_when_the_head_was_found_outside_its_limits(complete, read_page):
    assert "As found, before adjustment: fail." in words(complete, read_page)
    assert "As found, not within its limits" in words(complete, read_page)
    good = complete.as_found.model_copy(update={"verdicts": complete.as_left.verdicts})
    text = words(complete.revised(as_found=good), read_page)
    assert "As found, before adjustment: pass." in text
    assert "not within its limits" not in text


def test_leaves_out_coefficients_that_nobody_fitted(page):
    assert "incl_y: drift of scale" in page.text
    assert "incl_x: drift of scale" not in page.text


def test_a_row_that_does_not_fit_the_others_is_not_said_to_be_left_out(page, complete):
    """Each fit keeps all its rows: its degrees of freedom and scatter are those of all of them."""
    assert any(fit.distrusted for fit in complete.fits)
    assert "Rows that do not fit the others" in page.text
    assert "with every row in them" in page.text
    assert "set aside" not in page.text


def test_one_figure_has_one_uncertainty(complete):
    """What is picked as the largest and what decides at its point differ in U: two names."""
    body = complete.model_dump(mode="json")
    body["as_left"]["figures"][0] |= {"U": "0.0078", "k": "2.50"}
    record = seal(CalibrationRecord.model_validate(body))
    tables = [b for b in certificate(record).blocks if isinstance(b, Table)]
    seen: dict[tuple[str, str, str], set[tuple[str, str]]] = {}
    for table in tables:
        titles = [column.title for column in table.columns]
        if "Figure" not in titles:
            continue
        for row in table.rows:
            cells = dict(zip(titles, row, strict=True))
            channel = next(c for c in ("incl_y", "rotation") if c in cells["Channel"])
            run = cells.get("Run", "as left")
            stated = seen.setdefault((run, channel, cells["Figure"]), set())
            stated.add((cells["Result"], cells["k"]))
    assert len(seen) > 5
    assert all(len(stated) == 1 for stated in seen.values())
    text = render_html(certificate(record))
    assert "the point that does worst decides" in text


FACE = {"what": "face against the plane of the rollers", "value": "0", "unit": "deg", "U": "0.002"}


def test_traces_an_angle_of_a_reference_beside_its_length(complete):
    used = complete.references[0]
    body = used.model_dump(mode="json")
    with_face = type(used).model_validate(body | {"also": [FACE]})
    assert "; face against the plane of the rollers 0° with U = 0.002° (k = 2.00)" in traced(
        with_face
    )
    # A record from before that says nothing of it keeps its form, and so its hash and signature.
    assert "also" not in body


def test_says_that_a_reference_without_a_zero_was_moved(complete, page):
    """The plate said 0.000 where the column says −0.294 (7.8.4.1 a: what was measured)."""
    body = complete.model_dump(mode="json")
    assert all("moved" not in point for point in body["as_left"]["points"])
    for run in ("as_found", "as_left"):
        for point in body[run]["points"]:
            if point["channel"] == "rotation":
                point["moved"] = "-0.2939"
    text = render_html(certificate(seal(CalibrationRecord.model_validate(body))))
    assert "what the reference said with that mean of −0.2939° added to it" in text
    assert text.count("knows angles against each other and no zero") == 2
    assert "knows angles against each other" not in page.text


@pytest.mark.real
def test_a_hash_on_paper_is_found_and_copied_as_it_is(sheets, complete):
    text = "\n".join(sheets)
    hashes = [complete.sha256, complete.adjustment.sha256, complete.software.settings_sha256]
    hashes += [file.sha256 for file in complete.raw]
    hashes += [used.certificate_sha256 for used in complete.references]
    for each in hashes:
        assert each in text
    assert "\u200b" not in text


def signed_on(sheet):
    words = sheet.split()
    return "Brindle Performed by" in " ".join(words)


@pytest.mark.real
def test_pages_are_filled_and_the_names_stand_on_the_first(sheets):
    assert [signed_on(sheet) for sheet in sheets] == [True] + [False] * (len(sheets) - 1)
    assert "Results of calibration" in sheets[1].split("\n")[:3]
    assert min(len(sheet) for sheet in sheets) > 600


@pytest.mark.real
def test_a_first_page_that_runs_over_keeps_its_names_and_the_next_goes_on(complete, pdf_text):
    said = tuple(f"{n}: {'statement of the laboratory, ' * 4}" for n in range(15))
    sheets = pdf_text(render_pdf(certificate(complete.revised(statements=said))))
    assert signed_on(sheets[0])
    assert "14: statement" not in sheets[0]
    assert "14: statement" in sheets[1]
    assert "Results of calibration" in sheets[1]
    assert not any(map(signed_on, sheets[1:]))


def test_says_whether_anybody_looked_at_the_signature(complete, page, signing_key, read_page):
    """Whoever alters a record can seal it anew, and the name of the key stays in it."""
    key = complete.signatures[0].key_id
    assert page.text.count(f"key {key} (Ed25519), checked with its public key: holds") == 3
    assert "NOT CHECKED" not in page.text
    forged = complete.model_copy(update={"place": "elsewhere"})
    text = words(seal(forged), read_page)
    assert wording.UNCHECKED in text
    assert f"key {key} (Ed25519), NOT CHECKED" in text
    assert wording.UNCHECKED not in page.text
    caught = read_page(render_html(certificate(seal(forged), [signing_key.public_key()]))).text
    assert "checked with its public key: FAILS" in caught
    assert wording.UNCHECKED in caught


def test_simulated_references_are_said_to_be_simulated(complete, page, read_page):
    text = words(complete.revised(simulated=True), read_page)
    assert wording.SIMULATED_TRACED in text
    assert "is tied to the International System of Units by" not in text
    assert "is tied to the International System of Units by" in page.text


def test_says_when_and_by_whom_it_was_adjusted_as_a_step_of_its_own(complete, page):
    step = complete.adjustment
    assert (
        "Adjusted at 2026-11-25 09:30:00 (UTC) by Ada Brindle, after the run as found" in page.text
    )
    assert f"Adjustment SHA-256 {step.sha256}" in page.text


def with_figures(record, **changes):
    """Return the record with these values in the figures named."""

    def changed(run):
        figures = [f.model_copy(update=changes.get(f.name, {})) for f in run.figures]
        return run.model_copy(update={"figures": tuple(figures)})

    runs = {name: changed(getattr(record, name)) for name in ("as_found", "as_left")}
    return record.model_copy(update=runs)


def test_the_largest_error_says_under_which_condition(complete, read_page):
    where = {"at": "-10° down, other axis within 0.2° of level"}
    text = words(with_figures(complete, **{"max-error": where}), read_page)
    assert text.count("−10° down, other axis within 0.2° of level") == 4  # two channels, twice


def test_says_that_a_gap_is_of_head_and_reference_together(complete, page, read_page):
    together = {"at": "90°", "together": True}
    text = words(with_figures(complete, hysteresis=together), read_page)
    assert "90°, of head and reference together" in text
    assert text.count(wording.TOGETHER) == 2  # as found and as left
    assert "reference together" not in page.text


def test_names_the_thermometer_of_the_place(complete, page, read_page):
    assert "Thermometer KL-T-1" in page.text
    without = complete.revised(references=complete.references[:3])
    assert f"Thermometer {wording.NO_THERMOMETER}" in words(without, read_page)


def test_blocks_of_a_set_that_are_alike_are_named_in_one_breath(complete):
    used = complete.references[2]
    sizes = [("1", "0", "0.0002"), ("2.5", "0", "0.0002"), ("50", "0.0001", "0.0003")]
    also = [
        {"what": f"block {size} mm, deviation", "value": value, "unit": "mm", "U": U}
        for size, value, U in sizes
    ]
    text = traced(type(used).model_validate(used.model_dump(mode="json") | {"also": also}))
    assert "; blocks 1, 2.5 mm, deviation of each 0 mm with U = 0.0002 mm" in text
    assert "; block 50 mm, deviation 0.0001 mm with U = 0.0003 mm (k = 2.00)" in text
