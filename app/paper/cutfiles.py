"""Cut files: the cut list as CSV and JSON, with the job and the entitlement that lets it leave the program.

CSV columns: those of :data:`keycore.cutting.CSV_COLUMNS`, then :data:`JOB_COLUMNS`, the same in every row.  Decimal
points, lengths in mm and in inches, lines ended as RFC 4180 has it.
"""

from __future__ import annotations

import csv
import io
import json

from app.paper.words import CAUTIONS, require_entitlement
from keycore.cutting import CutList
from keycore.job import Entitlement

JOB_COLUMNS = ("job", "spec", "asked_by", "proof_seen", "seen_by", "seen_on", "authority_reference")


def cut_csv(cuts: CutList, entitlement: Entitlement | None, job_number: str) -> str:
    """The cut list as CSV."""
    entitlement = require_entitlement(entitlement, cuts.spec, "The cut file")
    rows = list(csv.reader(io.StringIO(cuts.csv(), newline="")))
    seen_on = "" if entitlement.seen_on is None else entitlement.seen_on.isoformat()
    job = [job_number, cuts.spec.name, entitlement.asked_by, entitlement.proof_seen, entitlement.seen_by, seen_on,
           entitlement.authority_reference or ""]  # fmt: skip
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([*rows[0], *JOB_COLUMNS])
    for row in rows[1:]:
        writer.writerow([*row, *(_harmless(text) for text in job)])
    return out.getvalue()


def cut_json(cuts: CutList, entitlement: Entitlement | None, job_number: str) -> str:
    """The cut list as JSON: cutlist/1 with the job, the entitlement and the cautions."""
    entitlement = require_entitlement(entitlement, cuts.spec, "The cut file")
    content = {
        **cuts.to_json(),
        "job": job_number,
        "entitlement": entitlement.model_dump(mode="json", exclude={"address"}),
        "cautions": list(CAUTIONS),
    }
    return json.dumps(content, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def _harmless(text: str) -> str:
    """A person's words kept from being taken for a formula by a spreadsheet."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text
