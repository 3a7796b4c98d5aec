"""What a session's frames say together, as published: the same sentences, charts and tables as on its own page.

Sessions share the shapes of their charts, and their rows are lists without names: a hundred of them fit into a mail.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from journal.notation import with_minus

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from analytics.pages.session_course import SessionCourse
    from analytics.pages.session_shares import Counted


class Columns(NamedTuple):
    """A table: its columns, which of them are numbers, and its rows."""

    columns: tuple[str, ...]
    numbers: tuple[int, ...]
    rows: Sequence[tuple[Any, ...]] = ()


def session_parts(course: SessionCourse) -> list[dict[str, Any]]:
    """Plan and use, faults, and the session as it went on, in the order of the session's page.

    Each is `heading` and `sentence`; `chart` (`shape`, `said`, `names` and `rows` of its data, `more` of the
    specification) or none; `columns`, `numbers` (which of them are numbers) and `rows` of its table, which is closed
    where there is a chart. The course gives no rows: its table is made of the data of its chart, for they may be many.
    """
    parts: list[dict[str, Any]] = []
    if course.plan:
        columns = ("setting", "planned", "used", "median", "within the plan", "frames")
        lines = [
            (line.setting, line.planned, line.used, line.median, line.n_within, line.n_frames) for line in course.plan
        ]
        parts.append(_part("Planned, and used", course.plan_sentence, None, Columns(columns, (4, 5), lines)))
    if course.faults:
        rows = _cells(course.faults, ("fault", "n_frames", "n_bursts", "of_100", "interval"))
        table = Columns(("fault", "rejects", "bursts", "of 100", "interval"), (1, 2, 3, 4), rows)
        parts.append(_part("Faults", course.faults.sentence, course.faults, table))
    if course.course:
        table = Columns(("began", "exposure time", "verdict", "frames"), (3,))
        parts.append(_part("The course of the session", course.course.sentence, course.course, table))
    if course.along:
        rows = _cells(course.along, ("from", "to", "n_frames", "n_bursts", "of_100", "interval"))
        columns = ("from", "to", "judged frames", "bursts", "kept of 100", "interval")
        parts.append(_part("As it went on", course.along.sentence, course.along, Columns(columns, (2, 3, 4, 5), rows)))
    return parts


def shape_names(sessions: Iterable[dict[str, Any]]) -> set[str]:
    """The shapes that the charts of these sessions have."""
    return {part["chart"]["shape"] for session in sessions for part in session["parts"] if part["chart"]}


def _part(heading: str, sentence: str, drawn: Counted | None, table: Columns) -> dict[str, Any]:
    chart = None if drawn is None else _chart(drawn)
    return {"heading": heading, "sentence": with_minus(sentence), "chart": chart, **table._asdict()}


def _chart(drawn: Counted) -> dict[str, Any]:
    more = dict(drawn.added)
    rows, said = more.pop("data")["values"], more.pop("description")
    names = list(rows[0])
    return {
        "shape": drawn.shape,
        "said": with_minus(said),
        "names": names,
        "rows": [[row[name] for name in names] for row in rows],
        "more": more,
    }


def _cells(counted: Counted, names: tuple[str, ...]) -> list[tuple[Any, ...]]:
    return [tuple(row[name] for name in names) for row in counted.rows]
