// Draws every chart of the page; how one is drawn stands in draw.js, which is served in front of this.

Promise.all(Array.from(document.querySelectorAll("figure.chart"), drawChart)).then(() => {
  document.documentElement.dataset.charts = "drawn";
});
