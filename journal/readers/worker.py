"""The worker's side of `pool`: paths in, facts and previews out."""

from __future__ import annotations

from journal.errors import Problem
from journal.readers.answering import answer_tasks
from journal.readers.previews import make_preview
from journal.readers.reading import read_file
from journal.records.files import FileFacts

Answer = tuple[FileFacts | Problem, bytes | None]


def serve() -> None:
    """Answers batches of paths until the pool closes the pipe."""
    answer_tasks(answer_for)


def answer_for(path: str, previews: bool, quick: bool) -> Answer:
    """Facts, and a preview where one is wanted and there is one."""
    facts = read_file(path)
    wanted = previews and isinstance(facts, FileFacts)
    return facts, make_preview(facts, quick=quick) if wanted and isinstance(facts, FileFacts) else None
