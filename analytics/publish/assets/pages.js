// Shows one page at a time, draws its charts when it is first shown, and builds frames from the table of numbers.
// Strings of the journal only ever become text nodes; nothing is fetched, and no code is made from text.
"use strict";

(() => {
  const data = window.thirdstopData;
  const review = window.thirdstopReview || null;
  const VERDICTS = ["unjudged", "keeper", "reject"];
  const PER_PAGE = 240;
  const DAY_MS = 24 * 60 * 60 * 1000;
  const frames = data.frames;
  const places = new Map(frames.number.map((number, place) => [number, place]));
  const sessions = new Map(data.sessions.map((session) => [session.number, session]));
  const pages = Array.from(document.querySelectorAll("main > section.page"));

  function make(tag, attributes, ...children) {
    const element = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes || {})) element.setAttribute(name, value);
    element.append(...children);
    return element;
  }

  // The time on the body's clock; with its date where that is another one than the session's day.
  function moment(place, sessionDay) {
    const seconds = frames.second[place];
    if (seconds < 0) return "time unknown";
    const day = frames.day_words[frames.day[place]];
    const two = (value) => String(value).padStart(2, "0");
    return `${day === sessionDay ? "" : `${day} `}${two(Math.floor(seconds / 3600))}:${two(Math.floor(seconds / 60) % 60)}:${two(seconds % 60)}`;
  }

  // None where the frame has none: its caption stands alone.
  function picture(number) {
    const content = data.pictures[number];
    if (content === undefined) return null;
    const source = content === "" ? `pictures/${number}.webp` : `data:image/webp;base64,${content}`;
    return make("img", { src: source, loading: "lazy", width: "240", height: "160", alt: `Frame ${number}` });
  }

  function card(number, { withSession = false, at = "" }) {
    const place = places.get(number);
    if (place === undefined) return make("li", {}, `Frame ${number}`);
    const verdict = VERDICTS[frames.verdict[place]];
    const faults = frames.faults_words[frames.faults[place]];
    const shown = picture(number);
    const item = make("li", { "data-frame": number, ...(shown ? {} : { class: "bare" }) }, ...(shown ? [shown] : []));
    item.append(make("span", { class: `dot ${verdict}`, "aria-hidden": "true" }), ` ${verdict}${faults ? `: ${faults}` : ""}`);
    item.append(make("br"), frames.settings_words[frames.settings[place]], make("br"));
    if (at) item.append(at, make("br"));
    item.append(`Frame ${number}`);
    if (frames.name) item.append(` ${frames.name[place]}`);
    const session = frames.session[place];
    if (withSession && session) {
      const name = `session ${session}`;
      item.append(", ", sessions.has(session) ? make("a", { href: `#session-${session}` }, name) : name);
    }
    if (review) review.frame(item, number);
    return item;
  }

  function framesOf(number) {
    const found = [];
    frames.session.forEach((session, place) => { if (session === number) found.push(place); });
    return found;
  }

  // Bursts of some frames of a session, each called by its place in it, and between them single frames together.
  function bursts(some) {
    const groups = [];
    for (const place of some) {
      const last = groups[groups.length - 1];
      if (last && last.burst === frames.burst[place]) last.places.push(place);
      else groups.push({ burst: frames.burst[place], places: [place] });
    }
    return groups;
  }

  function row(group, level, sessionDay) {
    const isSingle = !group.burst;
    const at = (place) => moment(place, sessionDay);
    const cards = group.places.map((place) => card(frames.number[place], { at: isSingle ? at(place) : "" }));
    const many = `${cards.length} frame${cards.length === 1 ? "" : "s"}`;
    const singles = cards.length === 1 ? "Single frame" : `${cards.length} single frames`;
    const heading = isSingle ? singles : `Burst ${group.burst}, ${at(group.places[0])}, ${many}`;
    return [make(level, { class: "began" }, heading), make("ul", { class: "burst" }, ...cards)];
  }

  function leaf(session, page, nPages) {
    const nav = make("nav", { "aria-label": "Pages of this session" });
    if (page > 1) nav.append(make("a", { href: `#session-${session}-${page - 1}` }, "Earlier frames"), " · ");
    nav.append(`Page ${page} of ${nPages}`);
    if (page < nPages) nav.append(" · ", make("a", { href: `#session-${session}-${page + 1}` }, "Later frames"));
    return nav;
  }

  function neighbours(number) {
    const order = data.sessions.map((session) => session.number);
    const at = order.indexOf(number);
    const nav = make("nav", { "aria-label": "Other sessions" });
    if (at > 0) nav.append(make("a", { href: `#session-${order[at - 1]}` }, "Session before"), " · ");
    nav.append(make("a", { href: "#sessions" }, "List of sessions"));
    if (at < order.length - 1) nav.append(" · ", make("a", { href: `#session-${order[at + 1]}` }, "Session after"));
    return nav;
  }

  // A table of a session has more columns than fit on a phone: there a row of it stands as a block, as on other pages.
  function table(part) {
    const kind = (place) => ({ class: part.numbers.includes(place) ? "number" : "whole" });
    const head = (name, place) => make("th", { scope: "col", role: "columnheader", ...kind(place) }, name);
    const cell = (text, place) => make("td", { role: "cell", "data-label": part.columns[place], ...kind(place) }, String(text));
    const rows = part.rows.map((row) => make("tr", { role: "row" }, ...row.map(cell)));
    const whole = make(
      "table", { class: "stacking", role: "table" },
      make("thead", { role: "rowgroup" }, make("tr", { role: "row" }, ...part.columns.map(head))),
      make("tbody", { role: "rowgroup" }, ...rows),
    );
    const region = { class: "scroll", tabindex: "0", role: "region", "aria-label": `Table: ${part.heading}` };
    return make("div", region, whole);
  }

  // Sessions share the shapes of their charts; rows come without the names of their columns.
  function chart({ shape, said, names, rows, more }) {
    const values = rows.map((row) => Object.fromEntries(row.map((value, place) => [names[place], value])));
    const spec = { ...data.shapes[shape], ...more, data: { values }, description: said };
    const text = make("script", { type: "application/json" }, JSON.stringify(spec));
    return make("figure", { class: "chart", "aria-label": said }, make("div", { class: "drawing" }), text);
  }

  // The numbers of the course stand in its chart already: the moment is written as the session's own page does.
  function courseRows({ names, rows }) {
    const values = (name) => rows.map((row) => row[names.indexOf(name)]);
    const began = values("began");
    const [first, last] = began.reduce(([low, high], each) => [each < low ? each : low, each > high ? each : high], [began[0], began[0]]);
    const isOfDays = Date.parse(last) - Date.parse(first) > DAY_MS;
    const written = began.map((each) => each.slice(isOfDays ? 0 : 11, 19).replace("T", " "));
    const [times, verdicts, counts] = ["label", "verdict", "n_frames"].map(values);
    return written.map((each, place) => [each, times[place], verdicts[place], counts[place]]);
  }

  function partOf(given) {
    const part = given.rows.length ? given : { ...given, rows: courseRows(given.chart) };
    const shown = [make("h2", {}, part.heading), make("p", {}, part.sentence)];
    if (part.chart) shown.push(chart(part.chart));
    const summary = () => make("summary", {}, `The numbers: ${part.heading.toLowerCase()}`);
    shown.push(part.chart ? make("details", {}, summary(), table(part)) : table(part));
    return shown;
  }

  function showSession(number, asked) {
    const session = sessions.get(number);
    const section = document.getElementById("session");
    section.querySelector("h1").textContent = session.heading;
    const facts = make("dl", {});
    for (const [name, value] of session.facts) facts.append(make("dt", {}, name), make("dd", {}, value));
    const content = [];
    if (session.is_simulated) content.push(make("p", { class: "surer" }, "This session is simulated."));
    content.push(make("p", {}, session.sentence), facts, neighbours(number));
    if (review) content.push(review.place("session", String(number), `session ${number}`));
    const found = framesOf(number);
    const nPages = Math.max(1, Math.ceil(found.length / PER_PAGE));
    const page = Math.min(Math.max(asked, 1), nPages);
    if (page === 1) content.push(...session.parts.flatMap(partOf));
    if (found.length && session.parts.length) content.push(make("h2", {}, "Frames"));
    const level = session.parts.length ? "h3" : "h2";
    const shown = found.slice((page - 1) * PER_PAGE, page * PER_PAGE);
    content.push(...bursts(shown).flatMap((group) => row(group, level, session.began.slice(0, 10))));
    if (nPages > 1) content.push(leaf(number, page, nPages));
    document.getElementById("session-content").replaceChildren(...content);
  }

  function fill(section) {
    for (const list of section.querySelectorAll("ul.burst[data-frames]:empty")) {
      list.append(...list.dataset.frames.split(" ").map((number) => card(Number(number), { withSession: true })));
    }
    if (!window.vegaEmbed) return; // the bundle is read last; it draws what is shown then
    const waiting = Array.from(section.querySelectorAll("figure.chart:not([data-state])"));
    waiting.forEach((figure) => { figure.dataset.state = "drawing"; });
    Promise.all(waiting.map(drawChart)).then(() => { section.dataset.drawn = ""; });
  }

  function wanted() {
    const hash = window.location.hash.slice(1);
    const match = /^session-(\d{1,15})(?:-(\d{1,9}))?$/.exec(hash);
    if (match && sessions.has(Number(match[1]))) {
      return { section: document.getElementById("session"), session: Number(match[1]), page: Number(match[2] || 1) };
    }
    const target = hash && document.getElementById(hash);
    return { section: (target && target.closest("section.page")) || pages[0], target };
  }

  function show(isFirst) {
    const { section, session, page, target } = wanted();
    if (session !== undefined) showSession(session, page);
    const name = section.id === "session" && session === undefined ? pages[0] : section;
    for (const other of pages) other.hidden = other !== name;
    for (const link of document.querySelectorAll("header nav a")) {
      const isHere = link.getAttribute("href") === `#${name.id === "session" ? "sessions" : name.id}`;
      if (isHere) link.setAttribute("aria-current", "page");
      else link.removeAttribute("aria-current");
    }
    fill(name);
    if (isFirst) return;
    const place = target && target !== name && name.contains(target) ? target : name.querySelector("h1");
    place.focus({ preventScroll: true });
    if (place === target) place.scrollIntoView();
    else window.scrollTo(0, 0);
  }

  window.addEventListener("hashchange", () => show(false));
  window.addEventListener("beforeprint", () => {
    for (const details of document.querySelectorAll("section.page:not([hidden]) details")) details.open = true;
  });
  document.addEventListener("DOMContentLoaded", () => {
    const shown = pages.find((page) => !page.hidden);
    if (shown) fill(shown);
    document.documentElement.dataset.ready = "";
  });
  if (review) review.start(make); // before the first page, which asks it for the places of comments
  show(true);
})();
