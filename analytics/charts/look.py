"""What all charts share: colours and type. Text and axes take their colours from the page's style."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import altair as alt

if TYPE_CHECKING:
    from collections.abc import Mapping

#: Keeper, reject and unjudged, readable with every common colour-vision deficiency. Source: Okabe and Ito 2008.
KEEPER, REJECT, UNJUDGED = "#0072B2", "#D55E00", "#7A7A7A"
#: Width of the bar of an interval, and where there are many [px]; bars are opaque, for a drawing must stand out from
#: its paper. Source: WCAG 2.2, 1.4.11 (non-text contrast, 3 to 1).
INTERVAL_PX, DENSE_INTERVAL_PX = 2.5, 2
#: Room for names left of an axis [px], on a phone and, as an expression of Vega, on any page: two fifths of its width.
#: The expression names `width`, so that it follows a window that changes.
NAMES_PX = 170
NAMES_ROOM = f"max({NAMES_PX}, 0.4 * max(containerSize()[0] || 0, width))"
#: Width of a letter of a name, about [px].
LETTER_PX = 6.3
#: Opacity of an interval drawn as an area.
BAND = 0.22
#: Room for the counts on the right of shares [px]: the most, the least that long counts need, and the part of the
#: drawing that it is between them.
COUNTS_PX, FEWEST_PX, COUNTS_PART = 90, 66, 0.3


def look() -> dict[str, Any]:
    """The configuration of a chart."""
    return {
        "background": "transparent",
        "font": "system-ui, sans-serif",
        "view": alt.ViewConfig(stroke=None),
        "title": alt.TitleConfig(anchor="start", fontSize=14, subtitleFontSize=11, offset=10, frame="bounds"),
        "axis": alt.AxisConfig(
            labelFontSize=11,
            titleFontSize=11,
            titleFontWeight="normal",
            titleAnchor="start",
            labelPadding=8,
            domain=False,
            ticks=False,
            labelSeparation=8,
        ),
    }


def beside_counts() -> alt.Scale:
    """The scale of shares of 100 that end where the counts of each line begin; those stand at the drawing's right."""
    end = alt.ExprRef(f"width - clamp({COUNTS_PART} * width, {FEWEST_PX}, {COUNTS_PX})")
    return alt.Scale(domain=[0, 100], range=[0, end], nice=False)


def finished(
    chart: alt.Chart | alt.LayerChart | alt.FacetChart,
    height: int,
    question: str,
    subtitle: str | list[str],
    found: str = "",
) -> dict[str, Any]:
    """A chart as wide as its page, as a Vega-Lite specification.

    Args:
        chart: without size and title.
        height: of the plot [px].
        question: the title.
        subtitle: what is drawn how.
        found: what it shows, in a sentence; with the question it is the text alternative.
    """
    shown = chart.properties(
        width="container",
        height=height,
        autosize=alt.AutoSizeParams(type="fit-x", contains="padding"),
        title=alt.TitleParams(question, subtitle=subtitle),
        description=f"{question} {found}".rstrip(),
    )
    return cast("dict[str, Any]", shown.configure(**look()).to_dict())


def with_scales(layer: dict[str, Any], changed: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """A layer of a chart that was made once, with other scales and axes; the kept one stays as it is.

    Only what differs is made anew: copying all of a chart takes longer than filling it.

    Args:
        layer: as `finished` made it.
        changed: by channel, what its properties are; a property that the channel does not have stays away.
    """
    encoding = dict(layer["encoding"])
    for channel, properties in changed.items():
        kept = encoding[channel]
        encoding[channel] = kept | {
            name: {**kept[name], **value} if isinstance(kept[name], dict) else value
            for name, value in properties.items()
            if name in kept
        }
    return {**layer, "encoding": encoding}


def style_sheet() -> str:
    """The style of every page that shows charts, served or published."""
    return (Path(__file__).parent / "assets" / "pages.css").read_text(encoding="utf-8")


def drawing_script() -> str:
    """The function that draws one chart, for every page that shows charts; scripts that call it come after it."""
    return (Path(__file__).parent / "assets" / "draw.js").read_text(encoding="utf-8")
