"""The job sheet: one job on paper, from the customer's entitlement to the signature."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from reportlab.lib.pagesizes import A4, LETTER
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate, Spacer

from app.paper.drawing import PT_PER_MM, Drawing
from app.paper.sheet_parts import (
    code_part,
    cut_key_part,
    cut_list_part,
    entitlement_part,
    ladder_part,
    notes_part,
    pictures_part,
    rivals_part,
    scale_part,
    signature_part,
    trials_part,
)
from app.paper.sheet_style import FOOT_MM, NumberedCanvas, page_words
from app.paper.template import PageSize
from app.paper.words import require_entitlement
from keycore.codes import Code
from keycore.conformity import CutKeyCheck
from keycore.cutting import CutList, cut_list
from keycore.decode import Decoding
from keycore.job import Entitlement, Job
from keycore.trials import TrialPlan

MARGIN_MM = 15.0
PAGES: dict[PageSize, tuple[float, float]] = {"A4": A4, "Letter": LETTER}


@dataclass(frozen=True)
class SheetContent:
    """All that a job sheet shows.

    Attributes
    ----------
    decoding
        The reading of all pictures together.
    annotated
        A title and a drawing (:func:`app.paper.annotated.annotated_drawing` with ``heading=False``) for each picture.
    plan, check, overlay
        The trial plan, the check of the cut key as keycheck/1, and its overlay (:mod:`app.paper.overlay`, without
        heading), where there are any.
    reduction
        The reduction route of an enlarged copy, in sentences.
    """

    job: Job
    decoding: Decoding
    entitlement: Entitlement
    code: Code
    cuts: CutList
    annotated: tuple[tuple[str, Drawing], ...] = ()
    plan: TrialPlan | None = None
    check: Mapping[str, Any] | None = None
    overlay: Drawing | None = None
    reduction: tuple[str, ...] = ()


def job_sheet(
    job: Job,
    decoding: Decoding,
    *,
    annotated: Sequence[tuple[str, Drawing]] = (),
    plan: TrialPlan | None = None,
    check: CutKeyCheck | None = None,
    overlay: Drawing | None = None,
    reduction: Sequence[str] = (),
    page: PageSize = "A4",
) -> bytes:
    """The job sheet as PDF; refused until the entitlement is whole.

    The code on it is the one that the locksmith settled on, else the likeliest; the check of the cut key is the one
    given, else the one in the job's record.
    """
    entitlement = require_entitlement(job.entitlement, decoding.spec, "The job sheet")
    code = job.decided_code or decoding.codes[0].code
    record = _check_record(job, check)
    content = SheetContent(
        job, decoding, entitlement, code, cut_list(code, decoding.spec), tuple(annotated), plan, record, overlay,
        tuple(reduction),
    )  # fmt: skip
    out = io.BytesIO()
    document = _document(out, content, PAGES[page])
    document.build(_story(content), canvasmaker=_canvas_maker(content))
    return out.getvalue()


def _check_record(job: Job, check: CutKeyCheck | None) -> Mapping[str, Any] | None:
    if check is not None:
        return check.to_json()
    record = job.cut_key_check
    if not isinstance(record, dict) or record.get("format") != "keycheck/1":
        return None
    return record


def _story(content: SheetContent) -> list[Flowable]:
    parts = (
        code_part, entitlement_part, pictures_part, scale_part, ladder_part, rivals_part, cut_list_part, trials_part,
        cut_key_part, notes_part, signature_part,
    )  # fmt: skip
    story = [flowable for part in parts for flowable in part(content)]
    while isinstance(story[-1], Spacer):  # a gap after the last part could fall onto a page of its own
        story.pop()
    return story


def _document(out: io.BytesIO, content: SheetContent, size: tuple[float, float]) -> BaseDocTemplate:
    margin = MARGIN_MM * PT_PER_MM
    foot = margin + FOOT_MM * PT_PER_MM
    document = BaseDocTemplate(
        out, pagesize=size, title=f"Job sheet {content.job.number}", creator="Valleygauge", invariant=1
    )
    frame = Frame(margin, foot, size[0] - 2 * margin, size[1] - margin - foot, 0, 0, 0, 0)
    document.addPageTemplates([PageTemplate("sheet", [frame], pagesize=size)])
    return document


def _canvas_maker(content: SheetContent) -> Any:
    lines = page_words(content.job.number, content.entitlement)

    def make(*positions: Any, **names: Any) -> NumberedCanvas:
        return NumberedCanvas(*positions, foot=lines, margin=MARGIN_MM * PT_PER_MM, **names)

    return make
