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


def table(*cells: str) -> str:
    row = "".join(f"<td>{cell}</td>" for cell in cells)
    names = "".join(f"<th>{number}</th>" for number, _ in enumerate(cells))
    return f"<table><thead><tr>{names}</tr></thead><tbody><tr>{row}</tr></tbody></table>"


def test_a_short_table_and_one_with_a_look_of_its_own_stay_as_they_are() -> None:
    short = table("1", "What is long in a table of two columns takes two lines there, and that is well.")
    grid = f'<table class="grid">{HEAD}<tbody><tr><td>1</td></tr></tbody></table>'
    assert stacking(short + grid) == short + grid


def test_a_table_of_three_columns_stacks_where_its_cells_are_long() -> None:
    numbers = table("lost of 100 judged frames", "1.1", "0.7 to 1.5")
    assert stacking(numbers) == numbers
    marked = table(f"<a href='/{'x' * 60}'>&amp;&amp;</a>", "1.1", "0.7 to 1.5")
    assert stacking(marked) == marked  # what is not read does not count
    advice = table("Too dark against the light", "3.1 (2.0 to 4.3)", "Give backlit subjects a stop more.")
    assert 'data-label="2">Give' in stacking(advice)
    empty = "<table><thead><tr><th>a</th><th>b</th><th>c</th></tr></thead><tbody></tbody></table>"
    assert stacking(empty) == empty


def test_a_cell_that_stands_for_the_rest_of_its_row_has_no_heading_of_one_column() -> None:
    row = '<tr><th scope="row">heron</th><td colspan="3">No frame yet.</td></tr>'
    found = stacking(f"<table>{HEAD}<tbody>{row}</tbody></table>")
    assert '<td role="cell" colspan="3">No frame yet.</td>' in found
