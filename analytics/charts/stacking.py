"""What the style sheet needs of long tables: on a phone a row of them stands as a block.

A table of many columns, or of long cells, runs beyond the edge of a phone. There the style sheet sets each cell under
the other with its column's heading before it; here each cell is given that heading, and the roles of a table, which it
would lose as a block. Served pages and published ones use the same.
"""

from __future__ import annotations

import re
from html import escape, unescape

from markupsafe import Markup

#: A table of fewer columns fits on a phone; one of so many may, one of more does not.
FEWEST_COLUMNS = 3
#: What its longest cells may have together and stand beside each other on a phone, in two lines at most [characters].
LONGEST_ROW = 60
#: What a cell is, by its tag.
ROLES = {"th": "rowheader", "td": "cell"}
_TABLE = re.compile(r"<table(?P<more>[^>]*)>(?P<inside>.*?)</table>", re.S)
_ROW = re.compile(r"<tr(?P<more>[^>]*)>(?P<cells>.*?)</tr>", re.S)
_CELL = re.compile(r"<(?P<tag>t[hd])(?P<more>[^>]*)>")
_INSIDE = re.compile(r"<t[hd][^>]*>(.*?)</t[hd]>", re.S)
_HEADING = re.compile(r"<th[^>]*>(.*?)</th>", re.S)
_MARKUP = re.compile(r"<[^>]*>")


def stacking(html: str) -> Markup:
    """The same page, with what a phone needs to set the rows of its long tables as blocks.

    Args:
        html: ours, so its tables are whole, and no text in it has an angle bracket that is not escaped.
    """
    return Markup(_TABLE.sub(_stacking_table, html))  # noqa: S704 - it was markup before


def _stacking_table(found: re.Match[str]) -> str:
    head, _, body = found["inside"].partition("</thead>")
    headings = [_text(heading) for heading in _HEADING.findall(head)]
    if "class=" in found["more"] or not _is_too_wide(headings, body):  # one with a class has a look of its own
        return found[0]
    head = head.replace("<thead>", '<thead role="rowgroup">').replace("<tr>", '<tr role="row">')
    head = head.replace("<th ", '<th role="columnheader" ')
    labels = [escape(heading) for heading in headings]
    body = _ROW.sub(lambda row: _stacking_row(row, labels), body.replace("<tbody", '<tbody role="rowgroup"', 1))
    return f'<table class="stacking" role="table"{found["more"]}>{head}</thead>{body}</table>'


def _is_too_wide(headings: list[str], body: str) -> bool:
    """Whether a phone cannot show the columns of a table beside each other."""
    if len(headings) != FEWEST_COLUMNS:
        return len(headings) > FEWEST_COLUMNS
    rows = [[len(_text(cell)) for cell in _INSIDE.findall(row["cells"])] for row in _ROW.finditer(body)]
    longest: list[int] = [max(column) for column in zip(*rows, strict=False)]
    return sum(longest) > LONGEST_ROW


def _text(markup: str) -> str:
    return unescape(_MARKUP.sub("", markup)).strip()


def _stacking_row(row: re.Match[str], labels: list[str]) -> str:
    places = iter(labels)

    def cell(found: re.Match[str]) -> str:
        tag, more = found.groups()
        if "colspan=" in more:  # it stands for the rest of its row, and says itself what it is
            return f'<{tag} role="{ROLES[tag]}"{more}>'
        return f'<{tag} role="{ROLES[tag]}" data-label="{next(places, "")}"{more}>'

    return f'<tr role="row"{row["more"]}>{_CELL.sub(cell, row["cells"])}</tr>'
