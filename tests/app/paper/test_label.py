"""Labels for the key tag: true size, nothing of the customer, a code only with its entitlement."""

from __future__ import annotations

from datetime import date

import pypdfium2 as pdfium
import pytest

from app.paper.label import label_drawing, label_pdf
from keycore.job import Entitlement
from keycore.refusal import Refusal
from tests.app.paper.made import CODE, PT, SEEN, SPEC


def _pages(pdf):
    document = pdfium.PdfDocument(pdf)
    pages = [(page.get_size(), page.get_textpage().get_text_bounded()) for page in document]
    scaling = pdfium.raw.FPDF_VIEWERREF_GetPrintScaling(document)
    document.close()
    return pages, scaling


def test_label_without_code_says_number_and_day_only():
    """No customer, no code, no entitlement wanted; as many pages as labels, each of the label's own size."""
    drawing = label_drawing("HB-0007", made_on=date(2026, 3, 4), entitlement=SEEN, size_mm=(40.0, 15.0))
    pages, scaling = _pages(label_pdf(drawing, "HB-0007", 3))

    assert len(pages) == 3 and scaling == 0
    for size, text in pages:
        assert size == pytest.approx((40 * PT, 15 * PT), abs=0.01)
        assert text.split() == ["HB-0007", "2026-03-04"]


def test_label_with_code_needs_the_entitlement_and_still_names_no_customer():
    """A tag with a code is a code."""
    with pytest.raises(Refusal, match="A label with the code carries a code and is made only with the entitlement"):
        label_drawing("HB-0007", code=CODE, spec=SPEC, entitlement=Entitlement(asked_by="A"))
    drawing = label_drawing("HB-0007", table="Harbourside 5", code=CODE, spec=SPEC, entitlement=SEEN)
    text = _pages(label_pdf(drawing, "HB-0007"))[0][0][1]

    assert "3-1-4-2-5" in text and "Harbourside 5" in text
    assert "Keeper" not in text and "register" not in text


@pytest.mark.parametrize("size", [(50.0, 20.0), (25.0, 12.0), (120.0, 120.0)])
def test_everything_lies_within_the_label(size):
    """Long numbers and codes shrink until they fit, with a margin."""
    drawing = label_drawing(
        "A-number-of-many-characters-0123456789", made_on=date(2026, 3, 4), table="Harbourside 5", code=CODE, spec=SPEC,
        entitlement=SEEN, size_mm=size,
    )  # fmt: skip
    boxes = sorted((item.box for item in drawing.items), key=lambda box: box[1])

    assert all(x0 >= 1.5 and x1 <= size[0] - 1.5 and y0 >= 0.5 and y1 <= size[1] - 0.5 for x0, y0, x1, y1 in boxes)
    assert all(above[3] <= below[1] + 0.05 for above, below in zip(boxes, boxes[1:], strict=False))


@pytest.mark.parametrize("size", [(5.0, 20.0), (50.0, 500.0)])
def test_impossible_labels_are_refused(size):
    """A size that no label has, and no labels at all."""
    with pytest.raises(Refusal, match="A label's sides"):
        label_drawing("1", size_mm=size)
    with pytest.raises(Refusal, match="Between 1 and"):
        label_pdf(label_drawing("1"), "1", 0)
