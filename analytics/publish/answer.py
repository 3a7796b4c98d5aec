"""Reads the file that a mentor saved from a review. Every byte of it is foreign: it is bounded, checked whole, and
refused whole where any part is not what a review's page saves. The form is published in `comments-1.schema.json`.
"""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jsonschema import Draft202012Validator

from journal.errors import JournalError
from journal.records.reviews import Answer, Comment, MentorVerdict

if TYPE_CHECKING:
    from collections.abc import Iterable

FORMAT, VERSION = "thirdstop comments", 1
SCHEMA_FILE = Path(__file__).parent / "comments-1.schema.json"
#: Largest file that is looked at [bytes]; hundreds of long comments are far smaller.
MAX_BYTES = 2_000_000
AGAIN = "Ask the mentor to save it again from the review, and leave it unchanged."


def read_answer(path: Path) -> Answer:
    """The answer that a file holds.

    Raises:
        JournalError: there is no such file, or it is not what a review's page saves.
    """
    value = _parsed(path, _bounded(path))
    error = next(iter(_validator().iter_errors(value)), None)
    if error is not None:
        place = "/".join(str(part) for part in error.absolute_path)
        raise _refused(path, f"{place or 'the whole'} is not of the form")
    comments, verdicts = value["comments"], value["verdicts"]
    answer = Answer(
        review_key=value["review"],
        mentor=value["mentor"].strip(),
        comments=tuple(_comment(path, comment) for comment in comments),
        verdicts=tuple(_verdict(path, verdict) for verdict in verdicts),
    )
    if not answer.mentor:
        raise _refused(path, "it names no mentor")
    _refuse_twice(path, "key", [item["key"] for item in (*comments, *verdicts)])
    _refuse_twice(path, "verdict on frame", [verdict["frame"] for verdict in verdicts])
    return answer


def _validator() -> Draft202012Validator:
    return Draft202012Validator(json.loads(SCHEMA_FILE.read_text(encoding="utf-8")))


def _refused(path: Path, why: str) -> JournalError:
    return JournalError(f"{path} is no comments file of a review: {why}.", AGAIN)


def _bounded(path: Path) -> bytes:
    if not path.is_file():
        raise JournalError(f"There is no file at {path}.", "Name the file that the mentor saved from the review.")
    try:
        with path.open("rb") as stream:
            content = stream.read(MAX_BYTES + 1)
    except OSError as error:
        raise JournalError(f"{path} cannot be read: {error.strerror}.", "Check the file's permissions.") from error
    if len(content) > MAX_BYTES:
        raise _refused(path, f"it is larger than {MAX_BYTES / 1e6:.0f} MB")
    return content


def _parsed(path: Path, content: bytes) -> Any:
    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        if len(dict(pairs)) != len(pairs):
            raise ValueError("a name stands twice in an object")
        return dict(pairs)

    def no_number(text: str) -> float:
        raise ValueError(f"{text} is no number")

    try:
        return json.loads(content.decode("utf-8"), object_pairs_hook=once, parse_constant=no_number)
    except (ValueError, RecursionError) as error:
        raise _refused(path, "it cannot be read as JSON") from error


def _moment(path: Path, text: str) -> str:
    try:
        datetime.fromisoformat(text)
    except ValueError as error:
        raise _refused(path, f"{text} is no moment") from error
    return text


def _comment(path: Path, value: dict[str, Any]) -> Comment:
    about = value["about"]
    places = {name for name in ("question", "session", "frame", "habit") if name in value}
    if places != ({about} - {"whole"}):
        raise _refused(path, f"a comment on the {about} names another place")
    if not value["body"].strip():
        raise _refused(path, "a comment is empty")
    return Comment(
        key=value["key"],
        about=about,
        body=value["body"].strip(),
        said_at=_moment(path, value["said_at"]),
        question=value.get("question"),
        session_id=value.get("session"),
        frame_id=value.get("frame"),
        habit=value.get("habit"),
    )


def _verdict(path: Path, value: dict[str, Any]) -> MentorVerdict:
    if value["verdict"] == "keeper" and value["faults"]:
        raise _refused(path, "a keeper has faults")
    return MentorVerdict(
        key=value["key"],
        frame_id=value["frame"],
        verdict=value["verdict"],
        faults=tuple(value["faults"]),
        said_at=_moment(path, value["said_at"]),
    )


def _refuse_twice(path: Path, name: str, values: Iterable[object]) -> None:
    seen = set()
    for value in values:
        if value in seen:
            raise _refused(path, f"{name} {value} stands twice in it")
        seen.add(value)
