// Draws one chart from the specification that stands in its figure. Nothing is fetched; expressions are interpreted, not
// compiled, because a page's policy forbids code made from text.
"use strict";

async function drawChart(figure) {
  const place = figure.querySelector(".drawing");
  const spec = JSON.parse(figure.querySelector("script[type='application/json']").textContent);
  try {
    figure.drawn = await window.vegaEmbed(place, spec, {
      ast: true,
      actions: false,
      renderer: "svg",
      defaultStyle: false,
      tooltip: { disableDefaultStyle: true },
    });
    figure.dataset.state = "drawn";
  } catch (error) {
    figure.dataset.state = "failed";
    place.textContent = "The chart could not be drawn; the table below holds its numbers.";
    console.error(error);
  }
}
