"""The light-test template is at true size, measured on the rendered page."""

from __future__ import annotations

import io

import numpy as np
import pypdfium2 as pdfium
import pytest

from app.paper.profile import blade_profile, measured_edges
from app.paper.template import (
    BLADE_LEFT_MM,
    BLADES_MM,
    MEASURED_TITLE,
    PAGES_MM,
    RULE_ACROSS_MM,
    RULE_ALONG_MM,
    PrinterCorrection,
    outline_of,
    template_dxf,
    template_pdf,
    template_svg,
)
from keycore.job import Entitlement
from keycore.refusal import Refusal
from tests.app.paper.made import CODE, PT, SEEN, SPEC, decoding, ink, line_at

CLOSE_MM = 0.02


def _rule_along(pdf, stretch=1.0, page="A4"):
    x, y = RULE_ALONG_MM
    middle = np.array(PAGES_MM[page]) / 2
    ends = [middle + (np.array([x + k, y - 4.2]) - middle) * [stretch, 1] for k in (0.0, 100.0)]
    first, last = (line_at(pdf, (cx - 0.4, cy - 0.5, cx + 0.4, cy + 0.5), across=False) for cx, cy in ends)
    return last - first


def _rule_across(pdf):
    x, y = RULE_ACROSS_MM
    first, last = (line_at(pdf, (x - 4.5, at - 0.4, x - 3.5, at + 0.4), across=True) for at in (y, y + 100.0))
    return last - first


@pytest.mark.parametrize("page", ["A4", "Letter"])
def test_rules_measure_one_hundred_millimetres(page):
    """Both rules are 100.00 mm between their end marks on both page sizes, and the page has its own true size."""
    pdf = template_pdf(CODE, SPEC, SEEN, "T-1", page=page)

    assert _rule_along(pdf, page=page) == pytest.approx(100.0, abs=CLOSE_MM)
    assert _rule_across(pdf) == pytest.approx(100.0, abs=CLOSE_MM)
    size = np.array(pdfium.PdfDocument(pdf)[0].get_size()) / PT
    assert size == pytest.approx(np.array(PAGES_MM[page]), abs=CLOSE_MM)


def test_every_root_height_and_position_is_true():
    """On the rendered page each floor lies its root height over the back, and its flanks stand round its position."""
    pdf = template_pdf(CODE, SPEC, SEEN, "T-1")
    foot = BLADES_MM[0]
    for label, position in zip(CODE, SPEC.cut_positions_mm, strict=True):
        x, root = BLADE_LEFT_MM + position, SPEC.root_of(label)
        back = line_at(pdf, (x - 0.2, foot - 0.4, x + 0.2, foot + 0.4), across=True)
        floor = line_at(pdf, (x - 0.2, foot - root - 0.3, x + 0.2, foot - root + 0.3), across=True)
        up = foot - root - 0.2  # 0.2 mm over the floor a flank of 45 degrees is 0.2 mm out
        left, right = (
            line_at(pdf, (x + s * 0.6 - 0.12, up - 0.02, x + s * 0.6 + 0.12, up + 0.02), across=False) for s in (-1, 1)
        )

        assert back - floor == pytest.approx(root, abs=CLOSE_MM)
        assert (left + right) / 2 - BLADE_LEFT_MM == pytest.approx(position, abs=CLOSE_MM)
        assert right - left == pytest.approx(0.8 + 2 * 0.2, abs=CLOSE_MM)


def test_printing_at_full_size_is_asked_for():
    """The file tells the viewer not to scale."""
    document = pdfium.PdfDocument(template_pdf(CODE, SPEC, SEEN, "T-1"))

    assert pdfium.raw.FPDF_VIEWERREF_GetPrintScaling(document) == 0


def test_two_rule_lengths_correct_the_printer():
    """A printer that made 99.2 and 100.5 mm gets a page that it will print true; a second pass builds on the first."""
    correction = PrinterCorrection.from_rules(99.2, 100.5)
    pdf = template_pdf(CODE, SPEC, SEEN, "T-1", correction=correction)

    assert _rule_along(pdf, correction.along) * 0.992 == pytest.approx(100.0, abs=CLOSE_MM)
    again = PrinterCorrection.from_rules(100.1, 100.0, correction)
    assert (again.along, again.across) == pytest.approx((100 / 99.2 * 100 / 100.1, 100 / 100.5))


@pytest.mark.parametrize("length", [89.0, 10.0, 0.0, float("nan"), float("inf")])
def test_impossible_rule_lengths_are_refused(length):
    """A rule read in centimetres or not read at all is answered in a sentence."""
    with pytest.raises(Refusal, match="rule along cannot measure"):
        PrinterCorrection.from_rules(length, 100.0)


def test_no_template_without_entitlement():
    """Every form of the template is refused until the entitlement is whole."""
    for make in (template_pdf, template_svg, template_dxf):
        with pytest.raises(Refusal, match="who saw the proof"):
            make(CODE, SPEC, Entitlement(asked_by="A"), "T-1")


def test_dxf_is_in_millimetres_with_true_lengths():
    """Read back, the DXF has mm units, the blade's own corners, and rules of 100 mm."""
    import ezdxf

    document = ezdxf.read(io.StringIO(template_dxf(CODE, SPEC, SEEN, "T-1")))
    lines = {len(e): np.array(e.get_points("xy")) for e in document.modelspace().query("LWPOLYLINE[layer=='BLADE']")}
    rules = [e.dxf.start.distance(e.dxf.end) for e in document.modelspace().query("LINE[layer=='RULES']")]

    assert document.units == ezdxf.units.MM and rules == pytest.approx([100.0, 100.0])
    edge = lines[max(lines)]
    for label, position in zip(CODE, SPEC.cut_positions_mm, strict=True):
        assert np.interp(position, edge[:, 0], edge[:, 1]) == pytest.approx(SPEC.root_of(label), abs=1e-6)


def test_svg_unit_is_the_millimetre():
    """The SVG's box is the page in mm, so a user unit is a millimetre."""
    svg = template_svg(CODE, SPEC, SEEN, "T-1")

    assert 'width="210mm" height="297mm" viewBox="0 0 210 297"' in svg


def test_nominal_profile_follows_flat_and_flanks():
    """A 45-degree cut of depth 5.7 in a blade of 8.4: floor 0.8 wide, each flank 2.7 long."""
    edge = blade_profile(CODE, SPEC).edges[0]
    at = [19.8, 19.8 + 0.4, 19.8 + 0.4 + 1.0, 19.8 + 0.4 + 2.7, 19.8 + 0.4 + 2.8]

    assert np.interp(at, edge[:, 0], edge[:, 1]) == pytest.approx([5.7, 5.7, 6.7, 8.4, 8.4])


def test_outline_in_pixels_becomes_key_millimetres():
    """Pixels right of the shoulder and above the back come out as mm of x and y, with a scale for each direction."""
    outline = outline_of(np.array([[110.0, 160.0]]), 10.0, 200.0, 0.1, (20.0, 10.0))

    assert outline == pytest.approx(np.array([[5.0, (200 + 11 - 160) / 10]]))


def test_measured_roots_stand_where_they_were_measured():
    """The third blade, drawn from a reading, has each floor at the measured root height."""
    read = decoding()
    pdf = template_pdf(CODE, SPEC, SEEN, "T-1", outline_mm=measured_edges(read), outline_title=MEASURED_TITLE)
    foot = BLADES_MM[2]
    for cut, position in zip(read.cuts, SPEC.cut_positions_mm, strict=True):
        x = BLADE_LEFT_MM + position
        edge = measured_edges(read)[0]
        assert np.interp(position, edge[:, 0], edge[:, 1]) == pytest.approx(cut.root_mm)
        dark, mm, _corner = ink(pdf, (x - 0.03, foot - cut.root_mm - 0.03, x + 0.03, foot - cut.root_mm + 0.03))
        assert dark.mean() > 0.9, (cut, mm)
