// Draws each chart from the specification in its element; without scripts the sentence and the table remain.
const isDark = matchMedia("(prefers-color-scheme: dark)").matches;
const ink = isDark ? "#e9e7e1" : "#1d1d1b";
const line = isDark ? "#3f4146" : "#d8d5cb";
const config = {
  font: "Georgia, DejaVu Serif, serif",
  title: { color: ink, anchor: "start", fontSize: 0 },
  axis: { labelColor: ink, titleColor: ink, gridColor: line, domainColor: line, tickColor: line },
  view: { stroke: null },
};
for (const element of document.querySelectorAll(".chart")) {
  const spec = JSON.parse(element.dataset.spec);
  delete spec.title; // the heading above asks the question already
  vegaEmbed(element, spec, {
    ast: true, actions: false, renderer: "svg", defaultStyle: false, tooltip: { disableDefaultStyle: true }, config,
  }).catch((problem) => { element.textContent = "The chart cannot be drawn: " + problem.message; });
}
