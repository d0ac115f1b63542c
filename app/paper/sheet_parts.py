"""The parts of the job sheet, each a function from the sheet's content to what stands on the page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reportlab.platypus import Flowable, Spacer

from app.paper.ladder import ladder_drawing
from app.paper.sheet_style import BODY, SMALL, Drawn, framed, part, table, words
from app.paper.words import CAUTIONS, cut_name, percent, plain, root_meaning, table_line
from keycore.codes import code_to_json, format_code
from keycore.spec import MM_PER_INCH, KeySpec

if TYPE_CHECKING:
    from app.paper.sheet import SheetContent

RIVALS = 8
MOST_TRIALS = 12


def code_part(content: SheetContent) -> list[Flowable]:
    """Job, table, code and verdict, and the cautions that come before everything."""
    job, decoding, spec = content.job, content.decoding, content.decoding.spec
    best = decoding.codes[0]
    standing = words(f"{job.created:%Y-%m-%d}   state: {job.state}", SMALL, align=2)
    top = table(
        [[words(f"Job sheet {job.number}", 15, "bold", 2), standing]],
        [120, 60],
        headed=False,
        lined=False,
    )  # fmt: skip
    said = f"{decoding.verdict_words}; the likeliest code has {percent(best.probability)}"
    settled = [] if job.decided_code is None else [words("This is the code that the locksmith settled on.", BODY)]
    if job.decided_code is not None and job.decided_code != best.code:
        settled.append(words(f"The picture's likeliest code is another: {format_code(best.code, spec)}.", BODY, "bold"))
    cautions = [words(line, SMALL, space=0.5) for line in CAUTIONS]
    if spec.restricted:
        reference = content.entitlement.authority_reference or ""
        cautions.insert(0, words(f"RESTRICTED key system; authority's reference: {reference}.", BODY, "bold"))
    if spec.is_unconfirmed:
        cautions.insert(0, words("UNCONFIRMED table: compare it with a chart before a key is cut.", BODY, "bold"))
    return [
        top,
        words(table_line(spec), BODY, space=4),
        framed(words(format_code(content.code, spec), 20, "bold", 5), words(said, BODY + 1, space=1), *settled),
        Spacer(1, 4),
        *cautions,
        Spacer(1, 9),
    ]


def entitlement_part(content: SheetContent) -> list[Flowable]:
    """Who asked, what proof was seen, by whom, when."""
    e = content.entitlement
    rows = [
        ["asked by", e.asked_by],
        ["address", e.address or ""],
        ["proof seen", e.proof_seen],
        ["seen by", e.seen_by],
        ["seen on", "" if e.seen_on is None else f"{e.seen_on:%Y-%m-%d %H:%M}"],
        ["authority's reference", e.authority_reference or ""],
    ]
    return part("Customer and entitlement", table([row for row in rows if row[1]], [40, 140], headed=False))


def pictures_part(content: SheetContent) -> list[Flowable]:
    """Every picture's name and digest, then the annotated blades."""
    out: list[Flowable] = []
    if content.job.pictures:
        rows = [["file", "came as", "shows", "SHA-256 of its bytes"]]
        for picture in content.job.pictures:
            page = f", page {picture.page}" if picture.page > 1 else ""
            rows.append([picture.file + page, picture.original_name, picture.shows, picture.sha256])
        out += part("Pictures", table(rows, [38, 38, 16, 88]))
    for title, drawing in content.annotated:
        out += part(f"The blade as read: {title}", Drawn(drawing))
    return out


def scale_part(content: SheetContent) -> list[Flowable]:
    """Every size reference, what it gives by itself, and whether they agree; growth."""
    decoding = content.decoding
    scale = decoding.scale
    rows = [["reference", "axis", "px per mm", "uncertainty", "off by", "used", "remark"]]
    for r in scale.references:
        sigma = f"{100 * r.px_per_mm.sigma / r.px_per_mm.value:.2f} %"
        used = "yes" if r.used else "no"
        rows.append([r.name, r.axis, f"{r.px_per_mm.value:.3f}", sigma, f"{r.pull:+.1f} ×", used, r.note])
    along, across = scale.px_per_mm_along, scale.px_per_mm_across
    sentence = "The references agree." if scale.agree else scale.disagreement
    return part(
        "How the scale was found",
        table(rows, [36, 16, 22, 22, 22, 12, 50], right=(2, 3, 4)),
        Spacer(1, 3),
        words(
            f"All together: {along.value:.3f} ± {along.sigma:.3f} px/mm along the blade, {across.value:.3f} ± "
            f"{across.sigma:.3f} across. {sentence} Growth, by which every root reads too high: "
            f"{plain(decoding.growth_mm)} ± {decoding.growth_sigma_mm:.2f} mm.",
            SMALL,
        ),
        *[words(f"Reduction route. {' '.join(content.reduction)}", SMALL) for _ in content.reduction[:1]],
        words("Off by: how many of its own uncertainties a reference lies from all of them together.", SMALL),
        *[words(warning, SMALL, space=1) for warning in decoding.warnings],
    )


def ladder_part(content: SheetContent) -> list[Flowable]:
    """The ladder drawing with its key."""
    decoding = content.decoding
    return part(
        "Depth ladder",
        Drawn(ladder_drawing(decoding)),
        words(
            f"Rungs: the table's depths at true height, {root_meaning(decoding.spec)}; grey: probability. Heavy line: "
            "the root as measured, with its standard uncertainty. A question mark: another depth is not far behind.",
            SMALL,
        ),
    )


def rivals_part(content: SheetContent) -> list[Flowable]:
    """The likeliest codes and what was held."""
    decoding, spec = content.decoding, content.decoding.spec
    rows = [["", "code", "probability"]]
    rows += [
        [str(i), format_code(r.code, spec), percent(r.probability)] for i, r in enumerate(decoding.codes[:RIVALS], 1)
    ]
    holds = content.job.holds
    n = len(decoding.cuts)
    said = [f"{_cut(spec, h.cut, n)} held at {h.depth}" for h in holds.held]
    said += [f"{_cut(spec, h.cut, n)} is not {h.depth}" for h in holds.ruled_out]
    known = (
        f"The locksmith's own knowledge, taken in: {', '.join(said)}." if said else "No depth was held or ruled out."
    )
    return part("The code and its rivals", table(rows, [8, 110, 30], right=(2,)), Spacer(1, 3), words(known, SMALL))


def cut_list_part(content: SheetContent) -> list[Flowable]:
    """Positions and heights for the machine, then the order of depth keys, then what to mind."""
    cuts, spec = content.cuts, content.decoding.spec
    n = len(cuts.rows)
    rows = [["cut", "depth", "position mm", "root mm", "position in", "root in", "removed mm"]]
    for i, row in enumerate(cuts.rows):
        removed = "" if row.removed_mm is None else f"{row.removed_mm:.3f}"
        lengths = [f"{row.position_mm:.3f}", f"{row.root_mm:.3f}"]
        inches = [f"{row.position_mm / MM_PER_INCH:.4f}", f"{row.root_mm / MM_PER_INCH:.4f}"]
        rows.append([cut_name(spec, i, n), row.depth, *lengths, *inches, removed])
    form = spec.cut_form
    angle = "angle not known" if form.angle_deg is None else f"{form.angle_deg:g} degrees"
    flat = "flat not known" if form.flat_mm is None else f"flat {form.flat_mm:.2f} mm"
    steps = []
    for step in cuts.depth_keys:
        names = [
            f"{cut} at {at:.2f}" if spec.edge_count == 1 else f"edge {edge} cut {cut} at {at:.2f}"
            for edge, cut, at in step.cuts
        ]
        steps.append([step.depth, f"{step.root_mm:.3f}", ", ".join(names)])
    body: list[Flowable] = [
        table(rows, [22, 16, 28, 26, 28, 26, 28], right=(2, 3, 4, 5, 6)),
        Spacer(1, 3),
        words(
            f"Positions from the {spec.gauge_from}; roots {root_meaning(spec)}. Cutter: {angle}, {flat}. Allowed: root "
            f"±{spec.tolerance.root_mm:.3f} mm, position ±{spec.tolerance.position_mm:.3f} mm.",
            SMALL,
            space=4,
        ),
        words("With depth keys, shallow first:", BODY, "bold"),
        table([["depth key", "root mm", "cuts, with their positions in mm"], *steps], [22, 22, 136], right=(1,)),
        Spacer(1, 3),
        *[words(f"Mind: {warning}", SMALL, space=1) for warning in cuts.warnings],
    ]
    return part("Cut list", *body, together=len(cuts.rows) <= 12)


def trials_part(content: SheetContent) -> list[Flowable]:
    """In which order to cut and try, with room to note what happened; what has been tried already."""
    spec = content.decoding.spec
    out: list[Flowable] = []
    if content.plan is not None:
        rows = [["step", "blank", "do", "opens with", "by now", "tried", "opened"]]
        for s in content.plan.steps[:MOST_TRIALS]:
            cuts = ", ".join(cut_name(spec, c - 1, len(s.code)) for c in s.cut)
            do = f"cut {format_code(s.code, spec)}" if s.fresh else f"deepen {cuts}: {format_code(s.code, spec)}"
            by_now = percent(s.opened_by_now)
            rows.append([str(s.number), str(s.blank), do, percent(s.probability), by_now, "", ""])
        body: list[Flowable] = [table(rows, [11, 13, 76, 24, 24, 16, 16], right=(3, 4)), Spacer(1, 3)]
        if len(content.plan.steps) > MOST_TRIALS:
            body.append(words(f"The first {MOST_TRIALS} of {len(content.plan.steps)} steps are listed.", SMALL))
        body += [words(line, SMALL, space=1) for line in content.plan.summary()]
        out += part("Trial plan", *body)
    if content.job.trials:
        rows = [["blank", "code", "opened", "when", "note"]]
        for t in content.job.trials:
            opened = {True: "yes", False: "no", None: ""}[t.opened]
            when = "" if t.tried_on is None else f"{t.tried_on:%Y-%m-%d %H:%M}"
            rows.append([str(t.blank), format_code(t.code, spec), opened, when, t.note])
        out += part("Trials made", table(rows, [14, 60, 18, 32, 56]))
    return out


def cut_key_part(content: SheetContent) -> list[Flowable]:
    """The cut key as measured and judged; empty boxes where it has not been measured yet."""
    spec, check = content.decoding.spec, content.check
    n = len(content.cuts.rows)
    if not check:
        rows = [["cut", "depth", "nominal mm", "allowed mm", "measured mm", "passes"]]
        for i, row in enumerate(content.cuts.rows):
            t = spec.tolerance.root_mm
            allowed = f"{row.root_mm - t:.3f} to {row.root_mm + t:.3f}"
            rows.append([cut_name(spec, i, n), row.depth, f"{row.root_mm:.3f}", allowed, "", ""])
        note = "Measure every root of the cut key with calipers and write it down before the key leaves the bench."
        body: list[Flowable] = [
            table(rows, [22, 16, 28, 42, 40, 32], right=(2, 3), tall_mm=6.5),
            Spacer(1, 3),
            words(note, SMALL),
        ]
        return part("The cut key, measured", *body, together=n <= 20)
    rows = [["cut", "what", "nominal mm", "measured mm", "off by mm", "result", "what to do"]]
    for c in check["checks"]:
        name = str(c["cut"]) if spec.edge_count == 1 else f"edge {c['edge']} cut {c['cut']}"
        measured = f"{c['measured_mm']:.3f} ± {c['sigma_mm']:.3f}"
        off = f"{c['measured_mm'] - c['nominal_mm']:+.3f}"
        rows.append([name, c["what"], f"{c['nominal_mm']:.3f}", measured, off, c["outcome"], c["words"]])
    whole = words(f"The key: {check['outcome']}.", BODY, "bold")
    more = [words(line, SMALL, space=1) for line in check["words"]]
    if check["code"] != code_to_json(content.code, spec):
        more.append(words("Mind: the key was checked against another code than this sheet's.", BODY, "bold"))
    title = "The cut key, measured" if check.get("measured_by") != "picture" else "The cut key, read from a picture"
    made = table(rows, [22, 16, 22, 28, 20, 20, 52], right=(2, 3, 4))
    out = part(title, made, Spacer(1, 3), whole, *more, together=len(rows) <= 14)
    return out if content.overlay is None else [*out, *part("The cut key over its code", Drawn(content.overlay))]


def notes_part(content: SheetContent) -> list[Flowable]:
    """What the locksmith wrote."""
    return part("Notes", words(content.job.notes, BODY)) if content.job.notes.strip() else []


def signature_part(content: SheetContent) -> list[Flowable]:
    """Room for two signatures, and what made this paper."""
    statement = (
        "The customer states that they may have this key, and that they have received the number of keys written here."
    )
    rows = [
        ["locksmith: name, signature, date", ""],
        ["customer: name, signature, date", ""],
        ["keys handed over; copy or picture returned or destroyed", ""],
    ]
    return part(
        "Signatures",
        words(statement, BODY),
        table(rows, [60, 120], headed=False, tall_mm=11.0),
        Spacer(1, 3),
        words(f"Made by Valleygauge {content.job.program_version}.", SMALL),
    )


def _cut(spec: KeySpec, number: int, cuts: int) -> str:
    """A cut counted from 1 over the whole code, in a sentence."""
    name = cut_name(spec, number - 1, cuts)
    return name if spec.edge_count == 2 else f"cut {name}"
