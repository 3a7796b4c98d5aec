// Draws one chart from the specification that stands in its figure. Nothing is fetched; expressions are interpreted, not
// compiled, because a page's policy forbids code made from text.
"use strict";

// A title breaks where its chart ends; Vega writes it on one line, and a phone would cut a question in two.
function broken(text, font, width) {
  const pen = document.createElement("canvas").getContext("2d");
  pen.font = font;
  const lines = [];
  for (const word of text.split(" ")) {
    const longer = lines.length ? `${lines[lines.length - 1]} ${word}` : word;
    if (lines.length && pen.measureText(longer).width <= width) lines[lines.length - 1] = longer;
    else lines.push(word);
  }
  return lines;
}

function breakTitle(spec, width) {
  const family = spec.config?.font ?? "sans-serif";
  const lines = (text, font) => [text].flat().flatMap((line) => broken(line, font, width));
  if (!spec.title?.text || width <= 0) return;
  spec.title.text = lines(spec.title.text, `bold 14px ${family}`);
  if (spec.title.subtitle) spec.title.subtitle = lines(spec.title.subtitle, `11px ${family}`);
}

// Numbers as the page beside the chart writes them: 1,200 and −0.3.
const NUMBERS = { decimal: ".", thousands: ",", grouping: [3], currency: ["", ""], minus: "−" };

async function drawChart(figure) {
  const place = figure.querySelector(".drawing");
  const spec = JSON.parse(figure.querySelector("script[type='application/json']").textContent);
  breakTitle(spec, place.clientWidth - 10);
  try {
    figure.drawn = await window.vegaEmbed(place, spec, {
      ast: true,
      actions: false,
      renderer: "svg",
      defaultStyle: false,
      tooltip: { disableDefaultStyle: true },
      formatLocale: NUMBERS,
    });
    figure.dataset.state = "drawn";
  } catch (error) {
    figure.dataset.state = "failed";
    place.textContent = "The chart could not be drawn; the table below holds its numbers.";
    console.error(error);
  }
}
