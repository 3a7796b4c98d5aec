"""The sentences of pages: commands in them are set as such, and no range, date or number with its unit is broken.

A sentence names the command to type next behind a colon. A sentence may hold names of files and gear, which are
hostile: all of it is escaped, and what looks like a command is only set like one.
"""

from __future__ import annotations

import re
from functools import lru_cache

from markupsafe import Markup, escape

from journal.notation import with_minus

#: What begins a command in a sentence.
BEGINS = re.compile(r": (?=thirdstop )")
#: An argument: what a shell takes as one, so that a quoted one with spaces is whole.
ARGUMENT = re.compile(r"""(?:'[^']*'|"[^"]*"|\S)+""")
#: An option, whose value follows it.
OPTION = re.compile(r"--[a-z][a-z\d-]*")
#: What ends a sentence or a part of it, and is no part of its last argument.
ENDS = ".,;:)"
#: What no line ends within: a value and its interval, a range, a date or a month, what is either side, a number with
#: its unit, a count in a bracket, an aperture, a name like TW-2, an option and its value. All are short, so that
#: the line of a phone holds them and a hostile row of digits is read once.
UNBROKEN = re.compile(
    r"(?:ISO )?[−+-]?\d[\d.,/]{0,5} \([−+-]?\d[\d.,/]{0,5}(?:–| to )[−+-]?\d[\d.,/]{0,5}\)"
    r"|\d[\d.,/]{0,9}–\d[\d.,/]{0,9}(?<=\d)"
    r"|(?<!\d)\d{4}-\d\d(?:-\d\d)?(?!\d)"
    r"|[−+-]?\d[\d.,/]{0,9} to [−+-]?\d[\d.,/]{0,9}(?<=\d)"
    r"|± ?\d[\d.]{0,9}(?<=\d)"
    r"|\d[\d.]{0,5}(?:-\d[\d.]{0,5})? (?:mm(?: f/\d[\d.]{0,3}(?:[-–]\d[\d.]{0,3})?(?<=\d))?|cm|m|µm|px|s|%)(?!\w)"
    r"|\(\d[\d,]{0,6} (?!to )[a-z]{1,12}(?![\w-])"
    r"|\b(?:ISO|EV) \d[\d.]{0,9}(?:(?: to |–)\d[\d.]{0,9})?(?<=\d)"
    r"|\bf/\d[\d.]{0,9}(?: to f/\d[\d.]{0,9}|[-–]\d[\d.]{0,4})(?<=\d)"
    r"|(?<![\w./-])\w{1,8}-[A-Z\d]\w{0,7}(?![\w/-]|\.\w)"
    r"|(?<![\w-])--[a-z][a-z\d-]{1,30}(?: (?:\d[\w.,/]{0,11}(?<=\w)|[A-Z]{2,12}))?(?![\w-])"
)
#: What all of them hold: most short texts do not, and are many.
MAY_BREAK = re.compile(r"[\d.,/][–-]|[\d.,/] [a-zµ%(]|[±OV-][ -]?\w")
#: Sentences that are kept: tables say the same many times.
KEPT = 4000
#: A longer argument may break between its words, for it would not fit on a phone [characters].
LONGEST_WHOLE = 30


def command(text: str) -> Markup:
    """A command to type: it breaks between its arguments only, not before the value of an option."""
    return Markup(f"<code>{' '.join(_argument(part) for part in _with_values(ARGUMENT.findall(text)))}</code>")  # noqa: S704


@lru_cache(maxsize=KEPT)
def told(sentence: str, is_stopped: bool = False) -> Markup:
    """A sentence, with the commands in it set as such and its ranges, dates and numbers with a unit in one line each.

    Args:
        sentence: as it is said on the terminal, where nothing follows a command.
        is_stopped: a full stop ends it, for something follows it in the same line.
    """
    if not BEGINS.search(sentence):
        return _with_whole_numbers(sentence) + _stop(sentence, is_stopped)
    parts, end = [], 0
    for found in BEGINS.finditer(sentence):
        if found.end() < end:  # within an argument of the last one
            continue
        parts.append(_with_whole_numbers(sentence[end : found.end()]))
        end = _end(sentence, found.end())
        parts.append(command(sentence[found.end() : end]))
    parts.append(_with_whole_numbers(sentence[end:]))
    return Markup("".join(parts)) + _stop(sentence, is_stopped)  # noqa: S704 - each of them is escaped


def _stop(sentence: str, is_stopped: bool) -> str:
    return "." if is_stopped and not sentence.endswith((".", "!", "?")) else ""


def _end(sentence: str, start: int) -> int:
    """Where the command ends that begins at a place: with its sentence, or the part of it."""
    end = start
    for found in ARGUMENT.finditer(sentence, start):
        without_stop = found[0].rstrip(ENDS)
        if not without_stop:  # "." and "..." are arguments
            end = found.end()
            continue
        end = found.start() + len(without_stop)
        if end < found.end():
            break
    return end


def _with_whole_numbers(text: str) -> Markup:
    parts, end = [], 0
    if not MAY_BREAK.search(text):
        return escape(text)
    text = with_minus(text)
    for found in UNBROKEN.finditer(text):
        set_as = command if found[0].startswith("--") else _whole
        parts += [escape(text[end : found.start()]), set_as(found[0])]
        end = found.end()
    return Markup("".join([*parts, escape(text[end:])]))  # noqa: S704 - each of them is escaped


def _with_values(arguments: list[str]) -> list[str]:
    """Arguments in their order, an option with its value in one where a line can hold both."""
    parts: list[str] = []
    for argument in arguments:
        is_value = bool(parts and OPTION.fullmatch(parts[-1]) and not argument.startswith("-"))
        if is_value and len(parts[-1]) + 1 + len(argument) <= LONGEST_WHOLE:
            parts[-1] += f" {argument}"
        else:
            parts.append(argument)
    return parts


def _argument(text: str) -> Markup:
    return escape(text) if len(text) > LONGEST_WHOLE else _whole(text)


def _whole(text: str) -> Markup:
    return Markup(f'<span class="whole">{escape(text)}</span>')  # noqa: S704
