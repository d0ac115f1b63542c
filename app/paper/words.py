"""Sentences that several papers share, and the rule that no code goes onto paper without its entitlement."""

from __future__ import annotations

from keycore.codes import edge_lists
from keycore.decode import CutDecoding, Decoding
from keycore.job import Entitlement
from keycore.refusal import Refusal
from keycore.spec import KeySpec

CAUTIONS = (
    "Only for a key that this customer is entitled to; local law and licence rules come first.",
    "This paper can open somebody's door: keep it locked away, and destroy it when its time is over.",
    "At the machine: eyes, hands, swarf. The machine maker's instructions come before anything printed here.",
)


def require_entitlement(entitlement: Entitlement | None, spec: KeySpec, what: str) -> Entitlement:
    """The entitlement, complete, or a refusal that names the paper and what is missing."""
    missing = (entitlement or Entitlement()).missing_for_export(spec.restricted)
    if missing or entitlement is None:
        raise Refusal(
            f"{what} carries a code and is made only with the entitlement; still to be recorded: {', '.join(missing)}.",
            code="paper.no-entitlement",
        )
    return entitlement


def table_line(spec: KeySpec) -> str:
    """The table's name and how far it may be trusted."""
    words = [spec.name]
    if spec.designation:
        words.append(f"({spec.designation})")
    line = " ".join(words)
    if spec.is_unconfirmed:
        line += ": UNCONFIRMED table, compare it with a chart before a key is cut"
    elif spec.provenance.kind == "invented":
        line += ": an invented table"
    if spec.restricted:
        line += "; RESTRICTED"
    return line


def root_meaning(spec: KeySpec) -> str:
    """What a root height is measured from, in words."""
    return {
        "back": "from the back of the blade to the root",
        "opposite-floor": "from root to root, across the blade",
        "centreline": "from the blade's centreline to the root",
    }[spec.root_from]


def cut_name(spec: KeySpec, index: int, cuts: int) -> str:
    """Name of a cut of a flat code: "3", or "edge 2 cut 3" where both edges have their own."""
    per_edge = cuts // spec.edge_count
    number = index % per_edge + 1
    return str(number) if spec.edge_count == 1 else f"edge {index // per_edge + 1} cut {number}"


def percent(probability: float) -> str:
    """A probability as people read it; never rounded up to certainty."""
    if probability >= 0.9995:
        return "over 99.9\u00a0%"
    if probability < 0.0005:
        return "under 0.1\u00a0%"
    return f"{100 * probability:.1f}\u00a0%"


def plain(value: float, digits: int = 2) -> str:
    """A number with so many decimals, zero without a sign."""
    return f"{round(value, digits) + 0.0:.{digits}f}"


def is_doubtful(cut: CutDecoding) -> bool:
    """True where another depth of this cut is not far behind."""
    return cut.probability < 0.99


def code_rows(decoding: Decoding, code: tuple[str, ...] | None = None) -> list[list[str]]:
    """Labels of each edge of the likeliest code, or of another."""
    return edge_lists(decoding.codes[0].code if code is None else code, decoding.spec)
