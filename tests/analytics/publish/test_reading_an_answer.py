"""A mentor's comments file is foreign: bounded, checked whole, and refused whole where any part is not right."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from analytics.publish.answer import MAX_BYTES, SCHEMA_FILE, read_answer
from journal.errors import JournalError
from journal.records.reviews import Answer, Comment, MentorVerdict
from journal.schema.ddl import FAULTS

AT = "2026-04-02T18:00:00.000Z"
KEYS = [f"{number:032x}" for number in range(9)]


def content(**changes: Any) -> dict[str, Any]:
    comment = {"key": KEYS[1], "about": "frame", "frame": 12, "body": " Well seen.\n=1+1 ", "said_at": AT}
    verdict = {"key": KEYS[2], "frame": 12, "verdict": "reject", "faults": ["noise"], "said_at": AT}
    whole = {"format": "thirdstop comments", "version": 1, "review": KEYS[0], "mentor": "Ida", "saved_at": AT}
    return {**whole, "comments": [comment], "verdicts": [verdict], **changes}


def comment(**changes: Any) -> dict[str, Any]:
    changed = {**content()["comments"][0], **changes}
    return content(comments=[{name: value for name, value in changed.items() if value is not None}])


def verdict(**changes: Any) -> dict[str, Any]:
    return content(verdicts=[{**content()["verdicts"][0], **changes}])


def written(folder: Path, value: Any) -> Path:
    file = folder / "comments.json"
    file.write_bytes(value if isinstance(value, bytes) else json.dumps(value).encode())
    return file


def test_a_file_that_a_review_saves_is_read(tmp_path: Path) -> None:
    assert read_answer(written(tmp_path, content())) == Answer(
        review_key=KEYS[0],
        mentor="Ida",
        comments=(Comment(KEYS[1], "frame", "Well seen.\n=1+1", AT, frame_id=12),),
        verdicts=(MentorVerdict(KEYS[2], 12, "reject", ("noise",), AT),),
    )


WRONG = {
    "another format": content(format="something else"),
    "another version": content(version=2),
    "true is no version": content(version=True),
    "no mentor": content(mentor="  "),
    "a name over two lines": content(mentor="Ida\nOr not"),
    "a very long name": content(mentor="I" * 101),
    "a terminal escape": comment(body="\x1b[2J"),
    "half a character": comment(body="\ud800"),
    "an empty comment": comment(body=" \n"),
    "a long comment": comment(body="x" * 4001),
    "an unknown field": content(colour="x"),
    "an unknown field of a comment": comment(html="x"),
    "two places": comment(session=1),
    "no place": comment(frame=None),
    "the place of another": comment(about="session"),
    "a place of the whole": comment(about="whole"),
    "a frame that is no number": comment(frame="12"),
    "a frame below one": comment(frame=0),
    "a broken number": comment(frame=12.5),
    "a frame beyond all": comment(frame=2**60),
    "a habit with a slash": comment(about="habit", frame=None, habit="../x"),
    "a key that is none": comment(key="x"),
    "a moment that is none": comment(said_at="2026-13-40T18:00:00.000Z"),
    "a moment in words": comment(said_at="yesterday"),
    "no verdict": verdict(verdict="unjudged"),
    "a fault that is none": verdict(faults=["ugly"]),
    "a fault twice": verdict(faults=["noise", "noise"]),
    "a keeper with a fault": verdict(verdict="keeper"),
    "one key twice": verdict(key=KEYS[1]),
    "two verdicts on a frame": content(
        verdicts=[content()["verdicts"][0], {**content()["verdicts"][0], "key": KEYS[3]}]
    ),
    "a list": [],
    "nothing": b"",
    "no JSON": b"<html></html>",
    "no text": b"\xff\xfe\x00",
    "deeper than anything": b"[" * 200_000,
    "not a number": json.dumps(content()).replace('"version": 1', '"version": NaN').encode(),
    "a number of many digits": b"1" * 10_000,
    "a name twice": json.dumps(content()).replace('"version": 1', '"version": 1, "version": 1').encode(),
    "too large": b" " * (MAX_BYTES + 1),
}


@pytest.mark.parametrize("value", WRONG.values(), ids=WRONG.keys())
def test_anything_else_is_refused_whole(tmp_path: Path, value: Any) -> None:
    with pytest.raises(JournalError) as refused:
        read_answer(written(tmp_path, value))
    assert refused.value.problem.startswith(f"{tmp_path / 'comments.json'} is no comments file of a review: ")
    assert refused.value.next_step == "Ask the mentor to save it again from the review, and leave it unchanged."


def test_the_message_names_the_place_that_is_wrong(tmp_path: Path) -> None:
    with pytest.raises(JournalError) as refused:
        read_answer(written(tmp_path, comment(key="x")))
    assert refused.value.problem.endswith("comments/0/key is not of the form.")


def test_a_file_that_is_not_there_is_said_so(tmp_path: Path) -> None:
    with pytest.raises(JournalError, match="There is no file at"):
        read_answer(tmp_path / "none.json")


def test_the_published_schema_knows_the_same_faults() -> None:
    schema = json.loads(SCHEMA_FILE.read_text(encoding="utf-8"))
    assert tuple(schema["$defs"]["verdict"]["properties"]["faults"]["items"]["enum"]) == FAULTS
