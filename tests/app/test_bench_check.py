"""The check of the cut key on the bench: by calipers, by picture, recorded, drawn, opened again."""

from __future__ import annotations

from pathlib import Path

import pytest

from app.bench import Bench
from app.bench_check import (
    CALIPER_SIGMA_MM,
    check_by_calipers,
    check_work,
    cut_key_picture,
    overlay_of_calipers,
    overlay_of_picture,
    recorded_overlay,
    take_check,
)
from app.bench_paper import job_sheet_of, pages_of
from app.bench_work import load_picture
from app.picture.values import PictureReading
from keycore.job import Entitlement
from keycore.jobfolder import load_job
from keycore.refusal import Refusal
from tests.app.made import CODE, made_reading, png
from tests.app.test_bench_keep import SEEN, SPEC, read_job

CUT = ("3", "1", "3", "5", "4")
CUT_SHADE = 150


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Bench:
    """A job that was read as 3-1-2-5-4, settled; a picture of shade 150 shows a key cut to 3-1-3-5-4."""
    job = read_job(monkeypatch)
    job.set_entitlement(SEEN)
    job.decide_code("-".join(CODE))

    def reader(picture: object, spec: object, marks: object = None, **_more: object) -> PictureReading:
        shade = int(picture.rgb.flat[0])  # type: ignore[attr-defined]
        if shade == 9:
            raise Refusal("no key was found; mark it.", code="read.no-key")
        return made_reading(SPEC, marks, CUT if shade == CUT_SHADE else CODE)  # type: ignore[arg-type]

    monkeypatch.setattr("app.picture.read.read_picture", reader)
    return job


def put(bench: Bench, shade: int) -> None:
    """Put a picture of the cut key into the job."""
    bench.add_picture(load_picture(png(shade), name="cut.png"), shows="cut key")


def test_wrong_cut_is_found_in_a_picture_and_recorded(bench: Bench, tmp_path: Path) -> None:
    """Cut 3 is a depth too deep: the check fails there alone, is recorded, and can be drawn again."""
    before = bench.decoding
    put(bench, CUT_SHADE)
    work = check_work(bench)
    assert work is not None and bench.work() is None  # the code does not wait for the cut key
    result = work.run()
    assert take_check(bench, result)

    check = bench.state.cut_key_check
    assert check is not None and check["outcome"] == "fail" and check["measured_by"] == "picture"
    assert [row["outcome"] for row in check["checks"]].index("fail") == 2
    assert [row["outcome"] for row in check["checks"]].count("fail") == 1
    assert check["picture"]["reads_as"] == list(CUT) and check["file"] == "cut.png"
    assert bench.decoding == before and bench.undo_words == "record the check of the cut key"
    bench.save(tmp_path / "job")
    bench.close()
    record, _problems = load_job(tmp_path / "job")
    assert record.state == "cut" and [picture.shows for picture in record.pictures] == ["key", "cut key"]
    again = Bench.open_job(tmp_path / "job")
    repeated = check_work(again)
    assert repeated is not None and repeated.known is not None
    drawing = overlay_of_picture(again, repeated.run())
    assert "FAIL" in " ".join(getattr(item, "text", "") for item in drawing.items)
    assert "over its code" in sheet_words(again)
    again.close()


def test_good_key_passes_by_calipers_and_the_job_is_done(bench: Bench, tmp_path: Path) -> None:
    """Figures within the tolerance: pass, recorded, the job's state is done; a failed key leaves it at cut."""
    good = [SPEC.root_of(label) + 0.005 for label in CODE]
    found = check_by_calipers(bench, good)
    assert found.outcome == "pass" and bench.state.cut_key_check == found.to_json()
    assert {check.sigma_mm for check in found.checks} == {CALIPER_SIGMA_MM}
    bench.save(tmp_path / "job")
    assert load_job(tmp_path / "job")[0].state == "done"
    bad = check_by_calipers(bench, [*good[:4], good[4] + 0.3])
    bench.save()

    assert load_job(tmp_path / "job")[0].state == "cut" and "deepen" in bad.text()
    drawn = recorded_overlay(bench)
    assert drawn is not None and drawn.to_svg("x") == overlay_of_calipers(bench, bad).to_svg("x")
    assert "over its code" in sheet_words(bench)
    bench.set_cut_key_check({"format": "keycheck/1", "outcome": "pass", "checks": [{}], "code": [], "words": []})
    assert recorded_overlay(bench) is None
    bench.close()


def sheet_words(bench: Bench) -> str:
    """All words of the job sheet, whose pages can be shown before they are printed."""
    import pypdfium2 as pdfium

    pdf = job_sheet_of(bench)
    document = pdfium.PdfDocument(pdf)
    text = " ".join(page.get_textpage().get_text_bounded() for page in document)
    assert len(pages_of(pdf, 40)) == len(document) and all(page.shape[2] == 3 for page in pages_of(pdf, 40))
    document.close()
    return " ".join(text.split())


def test_hand_marks_on_the_cut_keys_picture_are_taken(bench: Bench) -> None:
    """A picture that is not read by itself is marked by hand like any other, and read again."""
    put(bench, 9)
    work = check_work(bench)
    assert work is not None
    refused = work.run()
    with pytest.raises(Refusal, match="no key was found"):
        take_check(bench, refused)
    bench.move_mark("shoulder", (60.0, 150.0))
    marked = check_work(bench)

    assert marked is not None and marked.key != work.key and marked.key.marks is not None
    assert bench.state.cut_key_check is None


def test_late_check_of_another_code_is_dropped(bench: Bench) -> None:
    """The code was settled anew while the picture was read: what comes back is not recorded."""
    put(bench, CUT_SHADE)
    work = check_work(bench)
    assert work is not None
    result = work.run()
    bench.decide_code("3-1-2-5-5")

    assert not take_check(bench, result) and bench.state.cut_key_check is None
    bench.remove_picture(1)
    assert cut_key_picture(bench) is None and check_work(bench) is None and not take_check(bench, result)


def test_papers_show_the_wanted_key_while_the_cut_one_is_looked_at(bench: Bench) -> None:
    """The annotated picture and the record are of the wanted key, whichever picture is shown."""
    from app.bench_export import annotated_drawings_of

    shown = bench.job().reading
    put(bench, CUT_SHADE)

    assert bench.state.picture is not None and bench.state.picture.shows == "cut key"
    assert bench.job().reading == shown
    assert [title for title, _drawing in annotated_drawings_of(bench)] == ["copy.png"]


def test_overlay_needs_the_entitlement(bench: Bench) -> None:
    """It shows a code."""
    found = check_by_calipers(bench, [SPEC.root_of(label) for label in CODE])
    bench.set_entitlement(Entitlement())
    with pytest.raises(Refusal, match="still to be recorded"):
        overlay_of_calipers(bench, found)
