// Keepers: a range dragged over in one chart, or chosen in the form, and everything on the page follows. The state is the
// address; the server counts again, so that the intervals stay honest. Without this script the form does the same.

const form = document.getElementById("choose");
const panels = document.getElementById("panels");
const problem = document.getElementById("problem");
//: Where there is a mouse or a pen; a finger that drags is to scroll the page.
const canDrag = window.matchMedia("(pointer: fine)").matches;
//: A pointer that moved less than this [px] between down and up has clicked.
const STILL = 5;
let asking = null;

function place(spec) {
  if (canDrag) return spec;
  return { ...spec, params: undefined, title: { ...spec.title, subtitle: [spec.title.subtitle[0], "touch a line: its frames"] } };
}

async function draw(figure) {
  const holder = figure.querySelector("script[type='application/json']");
  holder.textContent = JSON.stringify(place(JSON.parse(holder.textContent)));
  await drawChart(figure);
  if (!figure.drawn) return;
  const view = figure.drawn.view;
  const spec = figure.drawn.spec;
  for (const mark of figure.querySelectorAll("svg [class*='brush_brush']")) {
    mark.removeAttribute("role"); // the rectangle that is dragged says nothing that the form does not
    mark.setAttribute("aria-hidden", "true");
  }
  let down = null;
  let dragged = null;
  let moved = false;
  if (spec.params) view.addSignalListener("brush", (name, value) => (dragged = value.label || null));
  figure.addEventListener("pointerdown", (event) => ([down, moved] = [[event.clientX, event.clientY], false]));
  window.addEventListener("pointerup", (event) => {
    if (!down) return;
    moved = Math.hypot(event.clientX - down[0], event.clientY - down[1]) >= STILL;
    down = null;
    if (moved && spec.params && dragged) choose(figure, spec.usermeta.typed, dragged);
  });
  view.addEventListener("click", (event, item) => {
    if (!moved && item && item.datum && item.datum.frames) location.assign(item.datum.frames);
  });
}

function choose(figure, typed, labels) {
  const known = labels.map((label) => typed[label]).filter((value) => value !== undefined);
  if (!known.length) return;
  const name = figure.closest("[data-panel]").dataset.panel;
  form.elements[`${name}-from`].value = known[0];
  form.elements[`${name}-to`].value = known[known.length - 1];
  follow();
}

function address(path) {
  const said = [...new FormData(form)].filter(([, value]) => value !== "");
  return `${path}?${new URLSearchParams(said)}`;
}

async function follow() {
  if (asking) asking.abort();
  asking = new AbortController();
  const mine = asking;
  panels.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(address("/keepers.json"), { signal: mine.signal });
    const found = await answer.json();
    if (!answer.ok) throw new Error(`${found.problem} ${found.next_step}`);
    if (address("/keepers") !== location.pathname + location.search) history.pushState(null, "", address("/keepers"));
    await show(found);
    problem.textContent = "";
  } catch (error) {
    if (error.name === "AbortError") return;
    problem.textContent = `This could not be counted: ${error.message}`;
  }
  if (asking === mine) panels.removeAttribute("aria-busy");
}

async function show(found) {
  document.getElementById("found").textContent = found.sentence;
  document.getElementById("parts").replaceChildren(...found.parts.flatMap((part) => [taken(part), " "]));
  const frames = document.getElementById("all-frames");
  frames.href = found.all_frames;
  frames.hidden = !found.n_frames;
  await Promise.all(found.panels.map(showPanel));
}

function taken(part) {
  const link = made("a", part.words + " ", "part");
  const cross = made("span", "×");
  cross.setAttribute("aria-hidden", "true");
  link.append(cross);
  link.href = part.without;
  link.setAttribute("aria-label", `Take out: ${part.words}`);
  return link;
}

async function showPanel(panel) {
  const section = document.querySelector(`[data-panel="${panel.key}"]`);
  section.querySelector(".sentence").textContent = panel.sentence;
  section.querySelector(".left-out").textContent = panel.left_out;
  section.querySelector(".advise").textContent = panel.surer;
  section.querySelector("tbody.lines").replaceChildren(...panel.lines.map(row));
  headCells(section.querySelector("tbody.lines"));
  const grid = section.querySelector("table.grid");
  if (!grid !== !panel.columns.length) return location.reload();
  if (grid) showGrid(grid, panel);
  const figure = section.querySelector("figure.chart");
  if (!figure !== !panel.chart) return location.reload();
  if (!figure) return;
  figure.setAttribute("aria-label", `${panel.chart.title.text} ${panel.sentence}`);
  if (figure.drawn && domain(figure.drawn.spec) === domain(panel.chart)) {
    const view = figure.drawn.view;
    view.data("lines", panel.chart.datasets.lines);
    if (figure.drawn.spec.params) view.signal("brush_y", [0, 0]);
    await view.runAsync();
  } else {
    if (figure.drawn) figure.drawn.finalize();
    const fresh = figure.cloneNode(true); // without the listeners of the old chart
    fresh.querySelector("script[type='application/json']").textContent = JSON.stringify(panel.chart);
    figure.replaceWith(fresh);
    await draw(fresh);
  }
}

// On a phone each cell of a long table stands under its heading, as in the page that was sent.
function headCells(body) {
  const names = Array.from(body.parentElement.tHead.rows[0].cells, (heading) => heading.textContent);
  for (const tr of body.rows) {
    tr.role = "row";
    Array.from(tr.cells).forEach((td, place) => {
      td.role = "cell";
      td.dataset.label = names[place];
    });
  }
}

function domain(spec) {
  return JSON.stringify(spec.layer[0].encoding.y.scale.domain);
}

// Two settings crossed: a row for each label of the first, a cell for each of the second.
function showGrid(grid, panel) {
  const head = grid.querySelector("thead tr");
  head.replaceChildren(head.firstElementChild, ...panel.columns.map((column) => headed(column, "col")));
  const rows = new Map(panel.lines.map((line) => [line.labels[0], new Map()]));
  for (const line of panel.lines) rows.get(line.labels[0]).set(line.labels[1], line);
  const shown = Array.from(rows, ([label, cells]) => {
    const tr = made("tr", "");
    tr.append(headed(label, "row"), ...panel.columns.map((column) => cell(cells.get(column))));
    return tr;
  });
  grid.querySelector("tbody").replaceChildren(...shown);
}

function headed(text, scope) {
  const th = made("th", text);
  th.scope = scope;
  return th;
}

function cell(line) {
  const td = made("td", "", line && line.note ? "grey" : "");
  if (!line) return td;
  const link = made("a", line.kept);
  link.href = line.frames;
  link.setAttribute("aria-label", line.said);
  td.append(link, " ", made("small", line.interval), " ", made("small", String(line.n_frames)));
  return td;
}

function row(line) {
  const link = made("a", line.n_frames.toLocaleString("en"));
  link.href = line.frames;
  link.setAttribute("aria-label", `The ${line.n_frames} frames at ${line.label}`);
  const cells = line.labels.map((label) => made("td", label, label.length <= 16 ? "whole" : ""));
  const counted = [line.kept, line.interval, link, line.n_bursts.toLocaleString("en"), String(line.n_sessions)];
  for (const content of counted) {
    const cell = made("td", "", "number");
    cell.append(content);
    cells.push(cell);
  }
  const tr = made("tr", "", line.note ? "grey" : "");
  tr.append(...cells, made("td", line.note));
  return tr;
}

function made(tag, text, kind) {
  const element = document.createElement(tag);
  element.textContent = text;
  if (kind) element.className = kind;
  return element;
}

// The question itself changes which charts there are: that is a new page, behind its button.
form.addEventListener("change", (event) => {
  if (!["by", "by2"].includes(event.target.name)) follow();
});
window.addEventListener("popstate", () => location.reload());

Promise.all(Array.from(document.querySelectorAll("figure.chart"), draw)).then(() => {
  document.documentElement.dataset.charts = "drawn";
});
