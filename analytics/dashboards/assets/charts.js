// Draws every chart of the page; how one is drawn stands in draw.js, which is served in front of this.

Promise.all(Array.from(document.querySelectorAll("figure.chart"), drawChart)).then(() => {
  document.documentElement.dataset.charts = "drawn";
});

// What is ticked in a long list is in sight.
for (const list of document.querySelectorAll(".choices")) {
  const ticked = list.querySelector("input:checked");
  if (ticked) list.scrollTop = ticked.parentElement.offsetTop - list.clientHeight / 2;
}
