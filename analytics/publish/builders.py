"""The pages, each built by one function from the material; a new page is a function at its place in `PAGES`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from analytics.charts.keeper_rates import keeper_rate_chart
from analytics.pages.keepers import ENOUGH_RULE, keeper_lines, keepers_sentence, what_makes_it_surer
from analytics.pages.keepers_page import QUESTIONS
from analytics.pages.settings import NAMES, SETTINGS
from analytics.pages.standing import kept_sentence, unsure_limits
from analytics.publish.blocks import Block, Chart, Heading, Page, Pictures, Table, Text
from analytics.publish.estimates import advice_words, build_advice, build_habits, build_limits, build_progress
from journal.notation import capital, format_count

if TYPE_CHECKING:
    from collections.abc import Callable

    from analytics.pages.keepers import KeeperLine
    from analytics.publish.material import Material

#: Habits named on the first page.
HABITS_FIRST = 3
#: A setting with more lines than this is told as a table only; a chart of it would be as long as the table.
LINES_DRAWN = 40


def build_standing(material: Material) -> Page:
    """Where you stand: the last session, progress, the costliest habits, limits, advice; each in one sentence."""
    totals = material.totals
    if not totals["n_judged"]:
        frames, sessions = format_count(totals["n_frames"], "frame"), format_count(totals["n_sessions"], "session")
        sentence = f"{frames} in {sessions}; none is judged yet."
        return Page("standing", "Where you stand", sentence, [Text(material.ground.said, is_aside=True)])
    title = kept_sentence(totals)
    blocks: list[Block] = [Text(material.ground.said, is_aside=True)]
    last = material.last_session
    if last is not None:
        which = "The newest of the chosen sessions" if material.is_part else "The last session"
        blocks += [Heading(which), Text(f"{last['heading']}. {last['sentence']}")]
    blocks += [Heading("Progress"), Text(material.progress.page.sentence)]
    blocks += _habits_first(material)
    blocks += [Heading("Limits"), Text(material.limits.page.sentence)]
    said = advice_words(material)
    blocks += [Heading("Advice"), Text(said[0] if said else material.advice.sentence)]
    missing = [line.surer for line in unsure_limits(material.limits.page)]
    if missing:
        blocks += [Heading("What would tell you more"), *(Text(text) for text in missing)]
    return Page("standing", "Where you stand", title, blocks)


def _habits_first(material: Material) -> list[Block]:
    page = material.habits
    blocks: list[Block] = [Heading("Habits"), Text(page.sentence)]
    dear = [line for line in page.lines if line.is_costly][:HABITS_FIRST]
    if dear:
        rows = [(capital(line.name), line.cost, line.advice) for line in dear]
        columns = ("habit", "lost of 100 judged frames", "what to do")
        links = [f"#habit-{line.key}" for line in dear]
        blocks.append(Table("The costliest habits", columns, rows, frozenset({1}), links=links))
    return blocks


def build_sessions(material: Material) -> Page:
    """The list of sessions, newest first; each leads to its frames."""
    sessions = material.sessions[::-1]
    intents = [session["heading"].partition(": ")[2] for session in sessions]
    with_intents = any(intents)
    rows = [
        (
            str(session["number"]),
            session["began"][:10],
            *((intent or "–",) if with_intents else ()),
            session["n_frames"],
            session["n_judged"],
            session["n_keepers"] if session["n_judged"] else "–",
            session["commonest_fault"] or "–",
            "simulated" if session["is_simulated"] else "",
        )
        for session, intent in zip(sessions, intents, strict=True)
    ]
    columns = ("session", "began", *(("intent",) if with_intents else ()), "frames", "judged", "keepers")
    columns = (*columns, "commonest fault", "remark")
    n_words = 3 if with_intents else 2
    links = [f"#session-{session['number']}" for session in sessions]
    table = Table("Sessions", columns, rows, frozenset(range(n_words, n_words + 3)), links=links)
    return Page("sessions", "Sessions", _sessions_sentence(material), [table] if rows else [])


def _sessions_sentence(material: Material) -> str:
    n_shown, n_all = len(material.sessions), material.totals["n_sessions"]
    if not n_shown:
        return "No session is shown."
    if material.is_part:
        chosen = "1 of {} was chosen." if n_shown == 1 else f"{n_shown} of {{}} were chosen, the newest first."
        return chosen.format(format_count(n_all, "session"))
    return "One session." if n_shown == 1 else f"{n_shown} sessions, the newest first."


def build_keepers(material: Material) -> Page:
    """Keepers by each setting choice."""
    blocks: list[Block] = [Text(ENOUGH_RULE, is_aside=True)]
    for setting in SETTINGS.values():
        if setting != "session":  # the page of sessions has them
            blocks += _keepers_by(material, setting)
    return Page("keepers", "Keepers", "How many frames were kept at each setting?", blocks)


def _keepers_by(material: Material, setting: str) -> list[Block]:
    lines = keeper_lines(material.journal.setting_counts(setting))
    if not lines:
        return []
    name = NAMES[setting]
    question = QUESTIONS[setting]
    sentence = keepers_sentence([setting], lines, material.totals)
    blocks: list[Block] = [Heading(capital(name)), Text(sentence)]
    if len(lines) <= LINES_DRAWN:
        spec = keeper_rate_chart([_row(line) for line in lines], question, sentence)
        blocks.append(Chart(spec, f"{question} {sentence}"))
    blocks.append(keeper_table(name, lines))
    surer = what_makes_it_surer(lines)
    return [*blocks, Text(surer, is_aside=True)] if surer else blocks


def _row(line: KeeperLine) -> dict[str, Any]:
    numbers = ("estimate", "low", "high", "n_frames", "n_bursts", "n_sessions", "is_enough")
    label = " ".join(line.label.split())  # the order of labels is an expression, which may hold no line separator
    return {"label": label, **{name: getattr(line, name) for name in numbers}}


def keeper_table(name: str, lines: list[KeeperLine]) -> Table:
    """The numbers behind a chart of keeper rates."""
    rows = [
        (
            line.label,
            f"{100 * line.estimate:.0f}",
            line.interval,
            line.n_frames,
            line.n_bursts,
            line.n_sessions,
            "" if line.is_enough else "not enough yet",
        )
        for line in lines
    ]
    columns = (name, "keepers of 100", "interval", "frames", "bursts", "sessions", "remark")
    grey = [not line.is_enough for line in lines]
    return Table(f"Keepers by {name}", columns, rows, frozenset(range(1, 6)), grey, is_closed=True)


def build_chosen(material: Material) -> Page | None:
    """The frames that were chosen one by one; no page where none was."""
    numbers = material.chosen.frames
    if not numbers:
        return None
    title = "One frame was chosen." if len(numbers) == 1 else f"{len(numbers)} frames were chosen one by one."
    heading = f"The chosen frame{'' if len(numbers) == 1 else 's'}"
    return Page("chosen", "Chosen frames", title, [Heading(heading), Pictures("", numbers)])


#: The pages in their order. A page may be absent.
PAGES: tuple[Callable[[Material], Page | None], ...] = (
    build_standing,
    build_chosen,
    build_sessions,
    build_keepers,
    build_limits,
    build_habits,
    build_progress,
    build_advice,
)


def build_pages(material: Material) -> list[Page]:
    """All pages that there are."""
    built = (build(material) for build in PAGES)
    return [page for page in built if page is not None]
