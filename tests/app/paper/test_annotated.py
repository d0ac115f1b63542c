"""The annotated picture: what it says, where it says it, and that it hides nothing."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np
import pytest

from app.paper.annotated import DPI, annotated_drawing, draw_annotated, spread
from app.paper.drawing import Picture, Text
from keycore.job import Entitlement
from keycore.refusal import Refusal
from tests.app.paper.made import SEEN, decoding, straight_picture


@pytest.fixture(scope="module")
def drawing():
    """The annotated drawing of the invented strip."""
    rgb, blade, cuts = straight_picture()
    return annotated_drawing(rgb, blade, cuts, decoding(), SEEN, "T-1", picture_name="strip.png")


def test_no_label_lies_on_the_picture_or_on_another_label(drawing):
    """Every label's box is clear of the picture, of every other label, and inside the sheet."""
    picture = next(item for item in drawing.items if isinstance(item, Picture))
    boxes = [item.box for item in drawing.items if isinstance(item, Text) and item.text]
    x0, y0 = picture.at
    on = (x0, y0, x0 + picture.size_mm[0], y0 + picture.size_mm[1])

    for i, box in enumerate(boxes):
        assert box[0] >= -0.01 and box[2] <= drawing.width_mm + 0.01 and box[3] <= drawing.height_mm
        for other in [on, *boxes[:i]]:
            apart = box[2] <= other[0] or other[2] <= box[0] or box[3] <= other[1] + 0.3 or other[3] <= box[1] + 0.3
            assert apart, (i, box, other)


def test_code_roots_job_and_entitlement_are_written(drawing):
    """The sheet says the code, each root in mm, the verdict, the job and who is entitled."""
    said = " ".join(item.text for item in drawing.items if isinstance(item, Text))

    assert "3-1-4-2-5" in said and "Job T-1" in said and "Keeper of the boathouse" in said and "register entry" in said
    assert len(re.findall(r"\d\.\d\d mm", said)) >= 5 and decoding().verdict in said


def test_picture_has_its_dpi_and_enough_contrast_in_grey():
    """At 300 dpi the sheet is 186 mm wide; printed in grey its lines are nearly black on nearly white bands."""
    rgb, blade, cuts = straight_picture()
    made = draw_annotated(rgb, blade, cuts, decoding(), SEEN, "T-1")
    grey = np.asarray(made.image.convert("L"))

    assert made.dpi == DPI == 300 and made.image.width == pytest.approx(186 / 25.4 * 300, abs=1)
    assert np.percentile(grey, 1) < 30 and grey.max() == 255


def test_vector_form_is_whole_and_holds_the_same_words(drawing):
    """The SVG parses, has mm for units, and its texts are those of the drawing."""
    root = ElementTree.fromstring(drawing.to_svg("title"))
    texts = [e.text for e in root.iter("{http://www.w3.org/2000/svg}text")]

    assert root.attrib["width"].endswith("mm")
    assert texts == [item.text for item in drawing.items if isinstance(item, Text)]


def test_no_annotated_picture_without_entitlement():
    """A code does not get onto paper until who, what proof, by whom and when are recorded."""
    rgb, blade, cuts = straight_picture()

    with pytest.raises(Refusal, match="when the proof was seen"):
        draw_annotated(rgb, blade, cuts, decoding(), Entitlement(asked_by="A", proof_seen="b", seen_by="c"), "T-1")


def test_crowded_labels_are_spread_in_order():
    """Labels keep their order and distance, and stay near their cuts."""
    placed = spread([50.0, 51.0, 52.0, 90.0], 10.0, 0.0, 100.0)

    assert placed == pytest.approx([41.0, 51.0, 61.0, 90.0])
    assert spread([1.0, 2.0], 10.0, 0.0, 100.0) == pytest.approx([0.0, 10.0])
    assert spread([98.0, 99.0], 10.0, 0.0, 100.0) == pytest.approx([90.0, 100.0])


def test_names_in_other_letters_are_not_lost():
    """Letters beyond our own face come from a face of the system, or as their plain form, never as nothing."""
    rgb, blade, cuts = straight_picture()
    seen = SEEN.model_copy(update={"asked_by": "Łucja Žižek"})
    drawing = annotated_drawing(rgb, blade, cuts, decoding(), seen, "T-1")
    said = " ".join(item.text for item in drawing.items if isinstance(item, Text))

    assert re.search(r"Asked by .ucja .i.ek", said)
