"""keyreading/1: what reading and decoding print as JSON, one object a line.

Every sigma of a root, of growth and of the scale is half the width of the interval round the value that holds 68.27 %
of the posterior (:mod:`keycore.spread`); a reference's own is a standard uncertainty.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from keycore.codes import code_to_json
from keycore.decoding import CutDecoding, Decoding
from keycore.marks import Finite, Marks
from keycore.scale import ReferenceReading

Probability = Annotated[float, Field(ge=0, le=1)]
WORTH_PRINTING = 1e-6


class _Member(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class CodeRow(_Member):
    """One code (two lists for independent edges) and its probability."""

    code: list[str] | list[list[str]]
    probability: Probability


class CutRow(_Member):
    """One cut; see :class:`keycore.decoding.CutDecoding`."""

    edge: Literal[1, 2] | None = None
    """Only where the key has two edges of its own."""
    root_mm: Finite
    sigma_mm: Finite
    depth: str
    probability: Probability
    margin_mm: Finite
    depths: dict[str, Probability]
    next_depth: str
    next_mm: Finite
    next_sigmas: Finite


class ReferenceRow(_Member):
    """One size reference: the scale it gives by itself, and how far it lies from all together in its own sigmas."""

    kind: str
    axis: str
    px_per_mm: Finite
    sigma_rel: Finite
    pull: Finite
    used: bool
    note: str = ""


class ScaleRow(_Member):
    """The scale along and across the blade."""

    px_per_mm_along: Finite
    px_per_mm_across: Finite
    sigma_rel: Finite
    references: list[ReferenceRow]


class KeyReading(_Member):
    """One picture's (or one set of figures') reading, or the sentence that says why there is none."""

    format: Literal["keyreading/1"] = "keyreading/1"
    picture: str
    key: Annotated[int, Field(ge=1)] | None = None
    """Which key of the picture, counted from 1; only where every key of it was read."""
    error: str | None = None
    spec: str | None = None
    codes: list[CodeRow] | None = None
    cuts: list[CutRow] | None = None
    scale: ScaleRow | None = None
    growth_mm: Finite | None = None
    growth_sigma_mm: Finite | None = None
    verdict: Literal["sure", "check", "unsure"] | None = None
    verdict_words: str | None = None
    warnings: list[str] | None = None
    marks: Marks | None = None

    @classmethod
    def from_decoding(cls, picture_name: str, decoding: Decoding, marks: Marks | None = None) -> KeyReading:
        """From what decoding says."""
        scale = decoding.scale
        return cls(
            picture=picture_name,
            spec=decoding.spec.name,
            codes=[
                CodeRow(code=code_to_json(ranked.code, decoding.spec), probability=_share(ranked.probability))
                for ranked in decoding.codes
            ],
            cuts=[_cut_row(cut, decoding.spec.edge_count == 2) for cut in decoding.cuts],
            scale=ScaleRow(
                px_per_mm_along=scale.px_per_mm_along.value,
                px_per_mm_across=scale.px_per_mm_across.value,
                sigma_rel=scale.sigma_rel,
                references=[_reference_row(reference) for reference in scale.references],
            ),
            growth_mm=decoding.growth_mm,
            growth_sigma_mm=decoding.growth_sigma_mm,
            verdict=decoding.verdict,
            verdict_words=decoding.verdict_words,
            warnings=list(decoding.warnings),
            marks=marks,
        )

    @classmethod
    def from_error(cls, picture_name: str, sentence: str) -> KeyReading:
        """For a picture that could not be read."""
        return cls(picture=picture_name, error=sentence)

    def to_json(self) -> dict[str, Any]:
        """Plain JSON members; those that do not apply are left out."""
        return self.model_dump(mode="json", exclude_none=True)

    def line(self) -> str:
        """One line of JSON."""
        return self.model_dump_json(exclude_none=True)


def from_decoding(picture_name: str, decoding: Decoding, marks: Marks | None = None) -> KeyReading:
    """See :meth:`KeyReading.from_decoding`."""
    return KeyReading.from_decoding(picture_name, decoding, marks)


def _cut_row(cut: CutDecoding, two_edges: bool) -> CutRow:
    return CutRow(
        edge=cut.edge if two_edges else None,
        root_mm=cut.root_mm,
        sigma_mm=cut.sigma_mm,
        depth=cut.depth,
        probability=_share(cut.probability),
        margin_mm=cut.margin_mm,
        depths={label: _share(p) for label, p in cut.depths.items() if p >= WORTH_PRINTING},
        next_depth=cut.next_depth,
        next_mm=cut.next_mm,
        next_sigmas=cut.next_sigmas,
    )


def _reference_row(reference: ReferenceReading) -> ReferenceRow:
    return ReferenceRow(
        kind=reference.kind,
        axis=reference.axis,
        px_per_mm=reference.px_per_mm.value,
        sigma_rel=reference.px_per_mm.sigma / reference.px_per_mm.value,
        pull=reference.pull,
        used=reference.used,
        note=reference.note,
    )


def _share(probability: float) -> float:
    """A probability without the last bits' rounding above 1."""
    return min(max(probability, 0.0), 1.0)
