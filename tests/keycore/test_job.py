"""The job record: entitlement, versions, damage, copies for teaching."""

from __future__ import annotations

import json
import random
from datetime import UTC, datetime

import pytest

from keycore.job import (
    Entitlement,
    HeldDepth,
    Job,
    JobHolds,
    JobPicture,
    TrialDone,
    job_text,
    migrated,
    parse_job,
    redacted,
)
from keycore.marks import Marks
from keycore.refusal import Refusal

SEEN = Entitlement(
    asked_by="Orla Fenwright",
    proof_seen="executor's letter and passport",
    seen_by="T. Quill",
    seen_on=datetime(2026, 3, 4, 10, 30, tzinfo=UTC),
    address="2 Slipway, Invented Quay",
)


def whole_job() -> Job:
    """A job in which every member says something."""
    return Job(
        number="HB-0007",
        created=datetime(2026, 3, 4, 9, 0, 0, 123456, tzinfo=UTC),
        program_version="0.1.0",
        state="cut",
        entitlement=SEEN,
        spec={"format": "keyspec/1", "name": "Harbourside 5", "confirmed": None, "restricted": False},
        pictures=(
            JobPicture(
                file="copy.png",
                sha256="0" * 64,
                original_name="Fenwright estate.png",
                marks=Marks(shoulder=(0.1 + 0.2, 1 / 3)),
                growth_override_mm=0.3,
                turned_off_references=("dpi",),
            ),
        ),
        holds=JobHolds(held=(HeldDepth(cut=5, depth="9"),), ruled_out=(HeldDepth(cut=1, depth="0"),)),
        reading={"format": "keyreading/1", "picture": "copy.png", "growth_mm": 0.1 + 0.2},
        decided_code=("1", "2", "5", "9", "9"),
        trials=(TrialDone(blank=1, code=("1", "2", "5", "9", "8"), opened=False, note="for Mrs Fenwright"),),
        cut_key_check={"format": "keycheck/1"},
        notes="came by post",
    )


def test_record_reads_back_to_the_last_bit() -> None:
    """Writing and reading changes nothing, floats included."""
    job = whole_job()

    again, problems = parse_job(job_text(job))

    assert problems == ()
    assert again == job
    assert again.pictures[0].marks is not None
    assert again.pictures[0].marks.shoulder == (0.1 + 0.2, 1 / 3)


def test_changed_makes_a_new_value_and_checks_the_rules() -> None:
    """An edit leaves the old job as it was and refuses what a job may not hold."""
    job = whole_job()

    assert job.changed(notes="x").notes == "x"
    assert job.notes == "came by post"
    with pytest.raises(Refusal, match="no member named 'notez'"):
        job.changed(notez="x")
    with pytest.raises(Refusal, match="HB-0007: state"):
        job.changed(state="sold")


def test_missing_entitlement_is_named_in_plain_words() -> None:
    """Each field that an export needs is named; blanks and dashes are not an answer."""
    assert Entitlement().missing_for_export(False) == (
        "who asked for the key",
        "what proof was seen",
        "who saw the proof",
        "when the proof was seen",
    )
    assert Entitlement(asked_by=" - ", proof_seen="?", seen_by="TQ").missing_for_export(False) == (
        "who asked for the key",
        "what proof was seen",
        "when the proof was seen",
    )
    assert SEEN.missing_for_export(False) == ()


def test_restricted_table_asks_for_the_authoritys_reference() -> None:
    """The record of a restricted table is not complete without the reference."""
    job = whole_job()
    restricted = job.changed(spec={**(job.spec or {}), "restricted": True})

    assert job.missing_for_export() == ()
    assert restricted.missing_for_export() == ("the authority's reference for this restricted key",)
    with pytest.raises(Refusal, match="HB-0007: a code leaves the program only with its entitlement"):
        restricted.require_entitlement()
    complete = restricted.changed(entitlement=SEEN.model_copy(update={"authority_reference": "AR 12"}))
    assert complete.require_entitlement().line() == (
        "Asked by Orla Fenwright; proof seen: executor's letter and passport; seen by T. Quill on 2026-03-04 10:30; "
        "authority's reference AR 12."
    )


def test_holds_pass_to_the_decoders_form_and_back() -> None:
    """People count cuts from 1, the decoder from 0."""
    holds = JobHolds.from_indexes({4: "9"}, {(0, "0")})

    assert holds == whole_job().holds
    assert holds.indexes() == ({4: "9"}, frozenset({(0, "0")}))


def test_newer_record_is_refused_in_words() -> None:
    """A record of a later version is not read by halves."""
    with pytest.raises(Refusal, match=r"written by a newer program \(format job/3; this one knows up to job/2\)"):
        parse_job('{"format": "job/3", "number": "1"}')


def test_older_record_is_lifted_step_by_step() -> None:
    """A migration turns the older form into the present one before the rules are checked."""
    old = {"format": "job/0", "no": "17", "created": "2026-01-02T03:04:05Z", "program_version": "0"}

    def lift(record: dict[str, object]) -> dict[str, object]:
        record["number"] = record.pop("no")
        return record

    job, problems = parse_job(json.dumps(old), migrations={0: lift, 1: dict})

    assert (job.number, problems) == ("17", ())
    assert old["no"] == "17"
    with pytest.raises(Refusal, match="job/0, which this program cannot lift"):
        migrated(dict(old))


@pytest.mark.parametrize("text", ["", "{", "[]", "null", '{"number": "3"}', '{"format": "keyspec/1"}', '{"format": 1}'])
def test_what_is_no_job_is_never_opened_as_an_empty_one(text: str) -> None:
    """No text that lacks a whole record gives a job."""
    with pytest.raises(Refusal, match=r"job\.json"):
        parse_job(text)


def test_damage_in_one_member_leaves_the_rest_readable() -> None:
    """The sentence says which member; all others are there."""
    record = json.loads(job_text(whole_job()))
    record["pictures"][0]["sha256"] = "abc"
    record["pictures"].append({**record["pictures"][0], "sha256": "1" * 64, "file": "other.png"})
    record["state"] = 5
    record["surprise"] = True
    del record["created"]

    job, problems = parse_job(json.dumps(record))

    assert [picture.file for picture in job.pictures] == ["other.png"]
    assert job.entitlement == SEEN
    assert job.reading == whole_job().reading
    text = " ".join(problems)
    for named in ('"created" is missing', "picture 1 is damaged", '"state" is damaged', '"surprise" is not a member'):
        assert named in text


def test_digit_changed_since_the_save_is_noticed() -> None:
    """Another code in the file would otherwise be another key; laying the file out anew changes nothing."""
    text = job_text(whole_job())
    job, problems = parse_job(text.replace('"2"', '"3"', 1))

    assert "its checksum does not match" in problems[0]
    assert job.decided_code == ("1", "3", "5", "9", "9")
    assert parse_job(json.dumps(json.loads(text))) == (whole_job(), ())


def test_any_byte_that_falls_over_is_noticed() -> None:
    """One byte changed anywhere: the job is refused, or a sentence says so, or nothing that it says has changed."""
    good = job_text(whole_job()).encode()
    rng = random.Random(11)
    refused = noticed = 0
    for _ in range(400):
        content = bytearray(good)
        content[rng.randrange(len(good))] = rng.randrange(256)
        try:
            job, problems = parse_job(content.decode("utf-8"))
        except (Refusal, UnicodeDecodeError):
            refused += 1
            continue
        noticed += bool(problems)
        assert problems or job == whole_job()

    assert refused > 50
    assert noticed > 50


def test_every_member_damaged_alone_is_named_and_the_others_survive() -> None:
    """Whichever member is spoilt, the problem names it and the other members are unchanged."""
    whole = json.loads(job_text(whole_job()))
    del whole["checksum"]
    good, _ = parse_job(json.dumps(whole))
    for name in whole:
        if name == "format":
            continue
        spoilt, problems = parse_job(json.dumps({**whole, name: [{"no such": "thing"}]}))
        assert problems, name
        assert name.rstrip("s") in problems[0]
        for other in whole:
            if other != name:
                assert getattr(spoilt, other) == getattr(good, other), (name, other)


@pytest.mark.parametrize(
    "name", ["../a.png", "/a.png", "job.json", "JOB.JSON", ".hidden", "a/b.png", "a\\b.png", "", "a.png\n", "c:x"]
)
def test_picture_name_cannot_leave_the_folder(name: str) -> None:
    """A record made by somebody else cannot point at a file outside the folder."""
    with pytest.raises(ValueError, match="plain file name"):
        JobPicture(file=name, sha256="0" * 64)


def test_number_that_is_not_finite_is_not_saved() -> None:
    """NaN has no place in a record."""
    job = whole_job().changed(reading={"growth_mm": float("nan")})
    with pytest.raises(Refusal, match="not finite"):
        job_text(job)


def test_copy_without_customer_holds_none_of_their_words() -> None:
    """Names, address, notes and file names are gone; the code stays."""
    text = job_text(redacted(whole_job(), "customer"))

    for word in ("Orla", "Fenwright", "Slipway", "Quill", "passport", "came by post", "copy.png"):
        assert word not in text
    assert json.loads(text)["decided_code"] == ["1", "2", "5", "9", "9"]
    assert json.loads(text)["removed"] == ["customer"]


def test_copy_without_customer_names_no_picture_as_it_came() -> None:
    """A scan called after the customer is called so in no warning, check or reading of the copy either."""
    told = "Fenwright estate.png: the edge is soft."
    job = whole_job().changed(
        reading={"format": "keyreading/1", "picture": "Fenwright estate.png", "warnings": [told]},
        decoding={"format": "decoding/1", "warnings": [told]},
        cut_key_check={"format": "keycheck/1", "file": "copy.png", "picture": {"warnings": [told]}},
        pictures=(whole_job().pictures[0].model_copy(update={"readings": {"warnings": [told]}}),),
    )
    for copy in (redacted(job, "customer"), redacted(job, "customer", keep_pictures=True)):
        text = job_text(copy)
        assert "Fenwright" not in text and "copy.png" not in text and "picture-1: the edge is soft." in text


def test_copy_without_customer_is_not_made_of_a_job_without_entitlement() -> None:
    """Taking the names out is no way round recording them."""
    with pytest.raises(Refusal, match="still to be recorded"):
        redacted(whole_job().changed(entitlement=None), "customer")


def test_copy_without_code_holds_nothing_that_a_code_can_be_made_from() -> None:
    """Reading, holds, trials, check, marks and pictures are gone."""
    copy = redacted(whole_job().changed(entitlement=None), "code")

    assert not copy.holds_code
    assert copy.holds == JobHolds()
    assert "shoulder" not in job_text(copy)


def test_pictures_are_kept_only_under_neutral_names() -> None:
    """A kept picture loses the name that it came with."""
    copy = redacted(whole_job(), {"customer"}, keep_pictures=True)

    assert [(p.file, p.original_name) for p in copy.pictures] == [("picture-1.png", "")]
