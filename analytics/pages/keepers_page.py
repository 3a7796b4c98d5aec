"""Keepers by what was chosen: one question, a chart for it, and charts beside it that follow what is chosen in any.

Every chart leaves out what the filter says of its own setting, so that the range chosen in it can be seen and moved;
lines outside the range are faint, and its sentence is of the lines inside. The frames of a line are those of the filter
with that line instead of the range: as many as the line says.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from analytics.charts.keeper_rates import LINES, following_chart, shown_line
from analytics.dataset.choosing import NAME_OF, SETTING_OF, Condition, Filter, exactly, read_filter, shown, within
from analytics.dataset.scales import SCALES, typed_of
from analytics.pages.choice_form import ChoiceForm, choice_form
from analytics.pages.choice_words import condition_in_words, kept_sentence, period_in_words
from analytics.pages.keepers import ENOUGH_RULE, keepers_sentence, no_frames, what_makes_it_surer
from analytics.pages.settings import NAMES
from journal.errors import JournalError
from journal.notation import format_count, with_minus

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.pages.counting import Counting
    from analytics.pages.keepers import KeeperLine

#: Charts that follow, besides the one of the question.
FOLLOWING = ("exposure_time", "iso", "f_number", "stops_below_rule")
#: The question when none is asked.
FIRST = "exposure_time"
QUESTIONS = {
    "exposure_time": "How many do you keep at each exposure time?",
    "f_number": "How many do you keep at each aperture?",
    "iso": "How many do you keep at each ISO?",
    "focal_length": "How many do you keep at each focal length?",
    "stops_below_rule": (
        "How many do you keep above the rule (faster than 1/focal length, 35\u00a0mm-equivalent) or below?"
    ),
    "ev100": "How many do you keep at each EV?",
    "lens": "How many do you keep with each lens?",
    "body": "How many do you keep with each body?",
    "camera_support": "How many do you keep on each support?",
    "priority": "How many do you keep for each priority?",
    "subject_pace": "How many do you keep at each subject pace?",
    "light": "How many do you keep in each stated light?",
    "light_kind": "How many do you keep in each kind of light?",
    "session": "How many do you keep in each session?",
    "month": "How many do you keep in each month?",
}
#: Lines that a chart draws, and that a table shows, at most.
DRAWN, LISTED = 60, 400
#: Settings of whose lines the last ones are shown where there are too many; of others, those with most judged frames.
BY_TIME = ("session", "month")
ADDRESS, FRAMES_ADDRESS = "/keepers", "/frames"


@dataclass(frozen=True, slots=True)
class ShownLine:
    """A line of a table: what it says, whether it is inside the chosen range, and the address of its frames."""

    line: KeeperLine
    labels: tuple[str, ...]
    is_inside: bool
    frames: str

    @property
    def label(self) -> str:
        """What the chart calls it."""
        return " · ".join(self.labels)

    @property
    def said(self) -> str:
        """All of it in words, for a link to its frames."""
        line = self.line
        kept = f"{100 * line.estimate:.0f} of 100 kept ({100 * line.low:.0f} to {100 * line.high:.0f})"
        counted = format_count(line.n_frames, "frame")
        return f"{', '.join(self.labels)}: {kept}, {counted}{'; ' + self.note if self.note else ''}"

    @property
    def note(self) -> str:
        """What must be known of it."""
        notes = ("" if self.line.is_enough else "not enough yet", "" if self.is_inside else "outside the range")
        return ", ".join(note for note in notes if note)


@dataclass(frozen=True, slots=True)
class ChoicePanel:
    """One question: its sentence, chart and lines. `names` head the columns of labels; `columns` are the labels of the
    second setting where two are crossed."""

    key: str
    heading: str
    question: str
    sentence: str
    surer: str
    left_out: str
    names: tuple[str, ...]
    columns: tuple[str, ...]
    lines: list[ShownLine]
    chart: dict[str, Any] | None

    @property
    def rows(self) -> list[tuple[str, list[ShownLine | None]]]:
        """Two settings crossed: a row for each label of the first, a cell for each column."""
        found = {each.labels: each for each in self.lines}
        firsts = dict.fromkeys(each.labels[0] for each in self.lines)
        return [(first, [found.get((first, column)) for column in self.columns]) for first in firsts]

    def as_json(self) -> dict[str, Any]:
        """What the page's script replaces when the choice changes."""
        return {
            "key": self.key,
            "sentence": with_minus(self.sentence),
            "surer": self.surer,
            "left_out": self.left_out,
            "columns": self.columns,
            "chart": self.chart,
            "lines": [
                {
                    "labels": shown_one.labels,
                    "label": shown_one.label,
                    "kept": f"{100 * shown_one.line.estimate:.0f}",
                    "interval": shown_one.line.interval,
                    "n_frames": shown_one.line.n_frames,
                    "n_bursts": shown_one.line.n_bursts,
                    "n_sessions": shown_one.line.n_sessions,
                    "note": shown_one.note,
                    "said": shown_one.said,
                    "frames": shown_one.frames,
                }
                for shown_one in self.lines
            ],
        }


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the filter in words, and the address of the page without it."""

    words: str
    without: str


@dataclass(frozen=True, slots=True)
class KeepersPage:
    """All that the page shows."""

    simulated: str | None
    sentence: str
    parts: list[Part]
    address: str
    all_frames: str
    n_frames: int
    form: ChoiceForm
    panels: list[ChoicePanel]

    @property
    def rule(self) -> str:
        """When a line says enough, where one does not yet."""
        return ENOUGH_RULE if any(panel.surer for panel in self.panels) else ""

    def as_json(self) -> dict[str, Any]:
        """What the page's script replaces when the choice changes."""
        return {
            "sentence": with_minus(self.sentence),
            "parts": [{"words": with_minus(part.words), "without": part.without} for part in self.parts],
            "address": self.address,
            "all_frames": self.all_frames,
            "n_frames": self.n_frames,
            "panels": [panel.as_json() for panel in self.panels],
        }


@dataclass(frozen=True, slots=True)
class Asked:
    """What an address asks: one setting or two, and which frames."""

    settings: tuple[str, ...]
    chosen: Filter

    def address(self, chosen: Filter | None = None) -> str:
        """The address of the same question about these frames."""
        by = list(zip(("by", "by2"), (NAME_OF[setting] for setting in self.settings), strict=False))
        return f"{ADDRESS}?{urlencode([*by, *(self.chosen if chosen is None else chosen).typed()])}"


def read_asked(pairs: Sequence[tuple[str, str]]) -> Asked:
    """The question of an address.

    Raises:
        JournalError: it asks for what there is not.
    """
    typed = [value for wanted in ("by", "by2") for name, value in pairs if name == wanted and value]
    for name in typed:
        if name not in SETTING_OF:
            raise JournalError(f"Keepers cannot be counted by {shown(name)}.", f"Use one of: {', '.join(SETTING_OF)}.")
    settings = tuple(dict.fromkeys(SETTING_OF[name] for name in typed)) or (FIRST,)
    if len(typed) > 2:
        raise JournalError(f"Keepers cannot be counted by {len(typed)} settings.", "Name one or two.")
    chosen = read_filter([pair for pair in pairs if pair[0] not in ("by", "by2")])
    return Asked(settings, Filter(tuple(map(_as_range, chosen.conditions)), chosen.since, chosen.until))


def _as_range(condition: Condition) -> Condition:
    """One value of a scale is a range from it to itself, as the page's form shows it."""
    if condition.setting not in SCALES or condition.is_unknown:
        return condition
    return within(condition.setting, condition.low, condition.high)


def keepers_page(counting: Counting, asked: Asked, totals: dict[str, int], simulated: str | None) -> KeepersPage:
    """Counts the page.

    Raises:
        JournalError: the filter names gear that the journal does not know.
    """
    counting.refuse_unknown_gear(asked.chosen)
    chosen, crossed = asked.chosen, len(asked.settings) > 1
    whole = counting.whole(chosen)
    panels = [_panel(counting, asked.settings, chosen)] if totals["n_frames"] else []
    beside = [setting for setting in FOLLOWING if crossed or setting != asked.settings[0]]
    panels += [_panel(counting, (setting,), chosen) for setting in beside if panels]
    return KeepersPage(
        simulated=simulated,
        sentence=kept_sentence(chosen, whole, counting.n_unjudged(chosen)) if panels else no_frames(totals),
        parts=_parts(asked),
        address=asked.address(),
        all_frames=frames_address(chosen),
        n_frames=whole.n_frames if whole else 0,
        form=choice_form(counting, asked.settings, chosen),
        panels=panels,
    )


def frames_address(chosen: Filter, **more: str) -> str:
    """The address of the list of the judged frames that a filter means."""
    return f"{FRAMES_ADDRESS}?{urlencode([*chosen.typed(), *more.items()])}"


def _parts(asked: Asked) -> list[Part]:
    chosen = asked.chosen
    parts = [
        Part(condition_in_words(condition), asked.address(chosen.without(condition.setting)))
        for condition in chosen.conditions
    ]
    if chosen.since or chosen.until:
        parts.append(Part(period_in_words(chosen), asked.address(Filter(chosen.conditions))))
    return parts


def _panel(counting: Counting, settings: tuple[str, ...], chosen: Filter) -> ChoicePanel:
    crossed = len(settings) > 1
    counted = chosen if crossed else chosen.without(settings[0])
    own = None if crossed else chosen.of(settings[0])
    lines = [_shown(counting, settings, line, counted, own) for line in counting.lines(settings, counted)]
    inside = [each.line for each in lines if each.is_inside]
    question = QUESTIONS[settings[0]] if not crossed else f"How many do you keep by {_named(settings)}?"
    drawn, left_out = _drawn(settings, lines)
    listed = lines if len(lines) <= LISTED else _fewer(settings, lines, LISTED)
    if len(listed) < len(lines):
        which = f"the last {len(listed)}" if _is_by_time(settings) else f"the {len(listed)} with most frames"
        left_out += f" {'Grid and table hold' if crossed else 'The table holds'} {which}."
    return ChoicePanel(
        key="-".join(NAME_OF[setting] for setting in settings),
        heading=f"By {_named(settings)}",
        question=question,
        sentence=_sentence(settings, inside, is_part=len(inside) < len(lines)),
        surer=what_makes_it_surer(inside, "chosen" if len(inside) < len(lines) else ""),
        left_out=left_out,
        names=tuple(NAMES[setting] for setting in settings),
        columns=_columns(counting, settings[1], listed) if crossed else (),
        lines=listed,
        chart=_chart(counting, settings, drawn, question) if lines or not crossed else None,
    )


def _columns(counting: Counting, setting: str, lines: Sequence[ShownLine]) -> tuple[str, ...]:
    """The labels of the second setting that some line has, in the order of its scale."""
    had = {each.labels[1] for each in lines}
    return tuple(label for key in counting.keys_of(setting) if (label := counting.label(setting, key)) in had)


def _named(settings: Sequence[str]) -> str:
    return " and ".join(NAMES[setting] for setting in settings)


def _sentence(settings: Sequence[str], inside: Sequence[KeeperLine], is_part: bool) -> str:
    if not inside:
        return "No judged frame is chosen."
    if len(inside) == 1 and is_part:
        return "One line alone is chosen, so there is nothing to compare; the faint lines are outside the choice."
    return keepers_sentence(settings, inside, {"n_frames": sum(line.n_frames for line in inside), "n_outside": 0})


def _shown(
    counting: Counting, settings: Sequence[str], line: KeeperLine, counted: Filter, own: Condition | None
) -> ShownLine:
    frames = counted
    for setting, key in zip(settings, line.keys, strict=True):
        frames = frames.only(exactly(setting, key))
    labels = tuple(counting.label(setting, key) for setting, key in zip(settings, line.keys, strict=True))
    return ShownLine(line, labels, own is None or _is_inside(own, line.keys[0]), frames_address(frames))


def _is_inside(own: Condition, key: int | str | None) -> bool:
    if own.is_unknown or key is None:
        return own.is_unknown and key is None
    if isinstance(key, str):
        return own.word == key
    return (own.low is None or key >= own.low) and (own.high is None or key <= own.high)


def _drawn(settings: Sequence[str], lines: list[ShownLine]) -> tuple[list[ShownLine], str]:
    """The lines that the chart draws, and what it leaves out."""
    told = [each for each in lines if each.line.is_enough] if len(settings) > 1 and len(lines) > DRAWN else lines
    drawn = told if len(told) <= DRAWN else _fewer(settings, told, DRAWN)
    if len(drawn) == len(lines):
        return drawn, ""
    which = "the last" if settings[0] in BY_TIME and len(settings) == 1 else "those with most judged frames"
    if len(told) < len(lines):
        which = "those with enough evidence" if len(drawn) == len(told) else f"{which} and enough evidence"
    return drawn, f"The chart shows {len(drawn)} of {len(lines)} lines, {which}."


def _is_by_time(settings: Sequence[str]) -> bool:
    return len(settings) == 1 and settings[0] in BY_TIME


def _fewer(settings: Sequence[str], lines: list[ShownLine], most: int) -> list[ShownLine]:
    if _is_by_time(settings):
        return lines[-most:]
    least = sorted((each.line.n_frames for each in lines), reverse=True)[most - 1]
    sure = [each for each in lines if each.line.n_frames > least]
    even = [each for each in lines if each.line.n_frames == least][: most - len(sure)]
    return [each for each in lines if each.line.n_frames > least or each in even]


def _chart(counting: Counting, settings: Sequence[str], drawn: list[ShownLine], question: str) -> dict[str, Any]:
    """The chart with its lines. One setting has a place for every line of judged frames, so that it stands still."""
    is_brushed = len(settings) == 1 and settings[0] in SCALES
    labels, typed = [each.label for each in drawn], {}
    if len(settings) == 1:
        names = {key: counting.label(settings[0], key) for key in counting.judged_keys_of(settings[0])}
        labels = list(names.values()) if len(names) <= DRAWN else labels
        typed = {name: typed_of(settings[0], key) for key, name in names.items() if is_brushed and isinstance(key, int)}
    rows = [
        {
            **shown_line({"label": each.label, **{name: getattr(each.line, name) for name in SHOWN_OF_LINE}}),
            "place": "inside" if each.is_inside else "outside",
            "frames": each.frames,
        }
        for each in drawn
    ]
    spec = following_chart(tuple(labels), question, is_brushed)
    return {**spec, "datasets": {LINES: rows}, "usermeta": {"typed": typed}}


#: What the chart takes of a line.
SHOWN_OF_LINE = ("estimate", "low", "high", "n_frames", "n_bursts", "n_sessions", "is_enough")
