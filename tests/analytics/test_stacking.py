"""What every page's tables are given for a phone: headings for their cells, and the roles of a table."""

from __future__ import annotations

from analytics.charts.stacking import stacking

HEADS = ("setting", "a &amp; b", 'the "x"', '<span class="unseen">remark</span>')
HEADINGS = "".join(f'<th scope="col">{each}</th>' for each in HEADS)
HEAD = f"<thead><tr>{HEADINGS}</tr></thead>"


def test_each_cell_of_a_long_table_is_given_its_heading_and_its_role() -> None:
    row = '<tr class="grey"><th scope="row">ISO</th><td class="number">1</td><td>2</td><td></td></tr>'
    found = stacking(f"<p>Before</p><table>\n{HEAD}\n<tbody>{row}</tbody></table><p>After</p>")
    assert found.startswith("<p>Before</p>") and found.endswith("<p>After</p>")
    assert '<table class="stacking" role="table">' in found
    assert found.count('role="columnheader"') == 4
    assert '<tr role="row" class="grey"><th role="rowheader" data-label="setting" scope="row">ISO</th>' in found
    assert '<td role="cell" data-label="a &amp; b" class="number">1</td>' in found
    assert '<td role="cell" data-label="the &quot;x&quot;">2</td><td role="cell" data-label="remark"></td>' in found


def test_a_short_table_and_one_with_a_look_of_its_own_stay_as_they_are() -> None:
    short = "<table><thead><tr><th>a</th><th>b</th></tr></thead><tbody><tr><td>1</td><td>2</td></tr></tbody></table>"
    grid = f'<table class="grid">{HEAD}<tbody><tr><td>1</td></tr></tbody></table>'
    assert stacking(short + grid) == short + grid
