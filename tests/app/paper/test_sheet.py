"""The job sheet: everything of a job on A4 and Letter, refused without entitlement, nothing off the page."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pypdfium2 as pdfium
import pytest

from app.paper.annotated import annotated_drawing
from app.paper.sheet import PAGES, job_sheet
from keycore.conformity import check_cut_key
from keycore.decode import decode
from keycore.job import HeldDepth, Job, JobHolds, JobPicture
from keycore.measured import CutReading, Readings, SizeReference
from keycore.refusal import Refusal
from keycore.spec import list_specs, spec_to_json
from keycore.trials import plan_trials
from tests.app.paper.made import SEEN, SPEC, decoding, straight_picture

JOB = Job(
    number="T-17",
    created=datetime(2026, 1, 15, 9, 0),
    program_version="0",
    entitlement=SEEN,
    spec=spec_to_json(SPEC),
    pictures=(JobPicture(file="copy.png", sha256="ab" * 32, original_name="copy <of> key & more.png"),),
    holds=JobHolds(ruled_out=(HeldDepth(cut=1, depth="0"),)),
    notes="Blank from the club <b>.",
)


PROMISED = (
    "Job sheet T-17", "3-1-4-2-5", "Customer and entitlement", SEEN.asked_by, SEEN.proof_seen, SEEN.seen_by,
    "2026-01-15 10:30", "copy <of> key & more.png", "How the scale was found", "spacing of the cuts", "Depth ladder",
    "The code and its rivals", "cut 1 is not 0", "Cut list", "19.800", "0.7795", "With depth keys", "Trial plan",
    "The cut key, measured", "±0.040 mm", "6.660 to 6.740", "Signatures", "eyes, hands, swarf",
    "Blank from the club <b>.",
)  # fmt: skip


@pytest.fixture(scope="module", params=["A4", "Letter"])
def sheet(request):
    """A sheet with every part, and its page size."""
    d = decoding()
    rgb, blade, cuts = straight_picture()
    drawing = annotated_drawing(rgb, blade, cuts, d, SEEN, "T-17", heading=False)
    plan = plan_trials([(c.code, c.probability) for c in d.codes], d.spec)
    return job_sheet(JOB, d, annotated=[("copy.png", drawing)], plan=plan, page=request.param), request.param


def _texts(pdf):
    document = pdfium.PdfDocument(pdf)
    pages = [page.get_textpage().get_text_bounded() for page in document]
    document.close()
    return [" ".join(text.split()) for text in pages]


def test_sheet_holds_every_part(sheet):
    """Each part that the job sheet promises stands on it, with its figures."""
    said = " ".join(_texts(sheet[0]))

    for words in PROMISED:
        assert words in said, words


def test_every_page_has_its_size_its_number_and_free_margins(sheet):
    """All pages are of the size asked for, say who asked and which page it is, and keep 12 mm free all round."""
    pdf, size = sheet
    document = pdfium.PdfDocument(pdf)
    for number, text in enumerate(_texts(pdf), 1):
        page = document[number - 1]
        assert page.get_size() == pytest.approx(PAGES[size], abs=0.01)
        assert f"page {number} of {len(document)}" in text and "Job T-17. Asked by" in text
        dark = page.render(scale=100 / 72, grayscale=True).to_numpy() < 250
        rows, columns = np.flatnonzero(dark.any(axis=1)), np.flatnonzero(dark.any(axis=0))
        free = 12 / 25.4 * 100
        assert rows[0] > free and columns[0] > free
        assert rows[-1] < dark.shape[0] - free and columns[-1] < dark.shape[1] - free


@pytest.mark.parametrize("lines", range(0, 60, 6))
def test_no_page_is_left_empty(lines):
    """However long the notes are, the last page carries more than its foot."""
    pages = _texts(job_sheet(JOB.changed(notes="one line\n" * lines), decoding()))
    foot = 210  # letters of the foot, about

    assert all(len(text) > foot + 50 for text in pages)


def test_foot_says_the_whole_entitlement_or_shows_that_it_goes_on():
    """Two rows are used before anything is cut short."""
    long = SEEN.model_copy(update={"asked_by": "The trustees of the boathouse by the old harbour (invented) " * 2})
    said = _texts(job_sheet(JOB.changed(entitlement=long), decoding()))[0]
    longer = long.model_copy(update={"asked_by": long.asked_by * 4})
    cut = _texts(job_sheet(JOB.changed(entitlement=longer), decoding()))[0]

    assert "proof seen by the demo's locksmith (invented) on 2026-01-15." in said
    assert "... " in cut and "page 1 of" in cut


def test_no_sheet_without_entitlement():
    """A job whose entitlement is not whole gets no sheet."""
    job = JOB.changed(entitlement=SEEN.model_copy(update={"seen_by": " "}))

    with pytest.raises(Refusal, match="who saw the proof"):
        job_sheet(job, decoding())


def test_settled_code_and_measured_key_are_shown():
    """The code the locksmith settled on goes on the sheet, beside the picture's own; the check is shown by cuts."""
    job = JOB.changed(decided_code=("3", "1", "4", "2", "4"))
    check = check_cut_key(job.decided_code, SPEC, [6.7, 7.7, 6.2, 7.2, 6.4], 0.01)
    said = " ".join(_texts(job_sheet(job, decoding(), check=check)))

    recorded = job_sheet(job.changed(cut_key_check=check.to_json()), decoding())

    assert " ".join(_texts(recorded)) == said
    assert "The picture's likeliest code is another: 3-1-4-2-5" in said and "settled on" in said
    assert "+0.200" in said and "6.400 ± 0.010" in said and f"The key: {check.outcome}." in said


@pytest.mark.parametrize("entry", [e for e in list_specs() if e.spec is not None], ids=lambda e: e.name)
def test_sheet_can_be_made_for_every_shipped_table(entry):
    """No shipped table, whatever its edges, counts or length, breaks the sheet."""
    spec = entry.spec.for_count(max(entry.spec.allowed_counts))
    middle = float(spec.roots_mm[len(spec.depths) // 2])
    cuts = tuple(
        CutReading(20 * middle, 0.5, 20 * position, 0.5, edge=edge)
        for edge in (1, 2)[: spec.edge_count]
        for position in spec.cut_positions_mm
    )
    d = decode(Readings(cuts, (SizeReference("length", "both", 200.0, 0.2, 10.0),)), spec)
    seen = SEEN.model_copy(update={"authority_reference": "R-1"})

    pdf = job_sheet(JOB.changed(entitlement=seen, spec=spec_to_json(spec), holds=JobHolds()), d)

    assert any("Signatures" in text for text in _texts(pdf))


def test_same_job_gives_the_same_bytes():
    """A sheet made again from the same job is the same file."""
    assert job_sheet(JOB, decoding()) == job_sheet(JOB, decoding())
