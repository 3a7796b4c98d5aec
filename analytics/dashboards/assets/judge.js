// The judging page: bursts as rows of small pictures, one frame chosen, verdicts by keys or buttons.
// Text from files is only ever set as text. Old pictures are judged again on the same page, blind: then a burst is one
// picture, the rows are hidden, and nothing is there to take or to look up.
"use strict";

const page = document.getElementById("judge");
const at = (id) => document.getElementById(id);
const SESSION = page.dataset.session;
const JUDGES_ALL = page.dataset.all === "1";
const RUN = page.dataset.run;
const IS_BLIND = page.dataset.blind === "1";
const NOUN = IS_BLIND ? "picture" : "frame";
const GIVEN_KEY = `thirdstop.given${IS_BLIND ? ".again" : ""}.${page.dataset.journal}`;
const LETTERS_KEY = "thirdstop.letters";
const MOST_TAKEN_BACK = 500;
const AHEAD = 3;
const WIDE = matchMedia("(min-width: 60rem) and (min-height: 40rem)"); // the frame stays in sight beside its row

const frames = new Map(); // by number: what the journal says
const unsaved = new Map(); // by number: what was judged here and is on its way
const newer = new Map(); // by number: what came back of a verdict before the frame was loaded
const cards = new Map();
const bursts = []; // {id, frames: [number]}
let order = [];
let chosen = null;
let given = remembered(sessionStorage, GIVEN_KEY, []);
let isRejecting = false;
let hasSaved = false; // a verdict of this page; before, there is nothing to say of saving
let namesNone = false;
let isMore = true;
let isLoading = null;
let hasLetters = remembered(localStorage, LETTERS_KEY, true);
let nUnjudged = Number(page.dataset.unjudged);

function remembered(storage, key, otherwise) {
  try {
    return JSON.parse(storage.getItem(key)) ?? otherwise;
  } catch {
    return otherwise;
  }
}

function remember(storage, key, value) {
  try {
    storage.setItem(key, JSON.stringify(value));
  } catch {
    // Only convenience is lost.
  }
}

function element(tag, className, text) {
  const made = document.createElement(tag);
  if (className) made.className = className;
  if (text !== undefined) made.textContent = text;
  return made;
}

function now(number) {
  return unsaved.get(number) || frames.get(number);
}

function named(number) {
  return IS_BLIND ? `Picture ${frames.get(number).place}` : `Frame ${number}`;
}

function verdictWords({ verdict, faults }) {
  return faults.length ? `${verdict}: ${faults.join(", ")}` : verdict;
}

function isSameVerdict(one, other) {
  return one.verdict === other.verdict && [...one.faults].sort().join() === [...other.faults].sort().join();
}

// ---- rows

async function load() {
  if (!isMore) return;
  isLoading ||= fetchBursts().finally(() => {
    isLoading = null;
  });
  await isLoading;
}

async function fetchBursts() {
  const last = bursts.length ? `&after=${bursts[bursts.length - 1].id}` : "";
  let response;
  try {
    response = await fetch(`/judge/${IS_BLIND ? "again" : SESSION}/bursts?all=${page.dataset.all}${last}`, { cache: "no-store" });
  } catch {
    tellProblem("The server does not answer.", "Start it again with: thirdstop serve");
    at("more").hidden = false;
    return;
  }
  const isData = (response.headers.get("content-type") || "").startsWith("application/json");
  const answer = isData ? await response.json() : { problem: "The server was started anew.", next_step: "Open its new link." };
  if (!response.ok) {
    tellProblem(answer.problem, answer.next_step);
    at("more").hidden = false; // to ask once more
    return;
  }
  isMore = answer.more;
  at("more").hidden = !isMore;
  answer.bursts.forEach(addBurst);
  order = bursts.flatMap((burst) => burst.frames);
}

// The first rows; where they did not come, the button for further ones tries again.
async function begin() {
  await load();
  const first = order.find((number) => now(number).verdict === "unjudged") ?? order[0];
  if (chosen === null && first !== undefined) choose(first, false);
  page.dataset.state = "ready";
}

function addBurst(burst) {
  const fresh = burst.frames.filter((frame) => !frames.has(frame.id));
  if (!fresh.length) return;
  for (const frame of fresh) {
    frames.set(frame.id, newer.get(frame.id) ?? frame);
    const waiting = queue.items.findLast((item) => item.frame === frame.id);
    if (waiting && waiting.kind === "give") unsaved.set(frame.id, { verdict: waiting.verdict, faults: waiting.faults });
  }
  const isSingle = burst.frames.length === 1;
  bursts.push({ id: burst.id, isSingle, frames: fresh.map((frame) => frame.id) });
  const list = (isSingle && singles()) || row(isSingle ? "Single frames" : `Burst ${burst.place}, ${moment(fresh[0])}, ${fresh.length} frame${fresh.length === 1 ? "" : "s"}`, isSingle);
  for (const frame of fresh) list.append(card(frame, isSingle));
}

// A row of small pictures under its name.
function row(name, isOfSingles) {
  const section = element("section");
  const list = element("ul", "burst");
  if (isOfSingles) section.dataset.singles = "1";
  section.append(element("h3", "", name), list);
  at("bursts").append(section);
  return list;
}

// Single frames that follow each other share a row; the order of frames and of keys stays that of the day.
function singles() {
  return at("bursts").querySelector(":scope > section[data-singles]:last-child > ul");
}

function moment(frame) {
  if (!frame.at) return "time unknown";
  return frame.day === page.dataset.day ? frame.at : `${frame.day} ${frame.at}`;
}

function card(frame, isSingle) {
  const item = element("li");
  const button = element("button", "frame");
  button.type = "button";
  button.tabIndex = -1;
  button.dataset.frame = frame.id;
  button.append(small(frame), element("span", "verdict"), element("span", "settings", frame.settings));
  if (isSingle && !IS_BLIND) button.append(element("span", "settings", moment(frame)));
  button.addEventListener("click", () => choose(frame.id));
  item.append(button);
  cards.set(frame.id, button);
  showCard(frame.id);
  return item;
}

function small(frame) {
  if (!frame.preview) return element("span", "blank", "no preview");
  const picture = element("img");
  picture.loading = "lazy";
  picture.alt = "";
  picture.width = 240;
  picture.height = 160;
  picture.src = previewOf(frame.id);
  return picture;
}

function previewOf(number) {
  return `/previews/${number}.webp?run=${RUN}`;
}

function showCard(number) {
  const button = cards.get(number);
  const state = now(number);
  const place = button.querySelector(".verdict");
  const dot = element("span", `dot ${state.verdict}`);
  dot.ariaHidden = "true";
  place.replaceChildren(dot, ` ${verdictWords(state)}`);
  button.ariaLabel = `${named(number)}, ${verdictWords(state)}, ${frames.get(number).settings}`;
}

// ---- the chosen frame

function choose(number, isAnnounced = true) {
  if (!frames.has(number)) return;
  if (chosen !== null) {
    cards.get(chosen).removeAttribute("aria-current");
    cards.get(chosen).tabIndex = -1;
  }
  chosen = number;
  stopRejecting();
  const button = cards.get(number);
  button.setAttribute("aria-current", "true");
  button.tabIndex = 0;
  if (WIDE.matches) button.scrollIntoView({ block: "nearest" });
  showChosen();
  if (!WIDE.matches && isAnnounced) at("desk").scrollIntoView({ block: "start" });
  lookAhead();
  if (isAnnounced) at("said").textContent = `${at("chosen").textContent}, ${at("facts").textContent}. ${at("verdict").textContent} ${at("suggested")?.textContent ?? ""}`;
}

function showChosen() {
  const frame = frames.get(chosen);
  at("desk").hidden = false;
  if (IS_BLIND) {
    at("chosen").textContent = `${named(chosen)} of ${page.dataset.frames}`;
    at("facts").textContent = frame.settings;
  } else showFrameOfBurst(frame);
  showVerdict();
  showPictures(frame);
}

function showFrameOfBurst(frame) {
  const burst = bursts.find((each) => each.frames.includes(chosen));
  const place = burst.isSingle ? "a single frame" : `${burst.frames.indexOf(chosen) + 1} of ${burst.frames.length} in the burst`;
  at("chosen").textContent = `Frame ${frame.id}, ${place}`;
  at("facts").replaceChildren(`${frame.settings}\u00a0· ${frame.name}\u00a0· `, explained(frame.id));
  at("suggested").textContent = `Suggested: ${frame.suggested}.`;
  at("evidence").replaceChildren(...frame.evidence.map((sentence) => element("li", "", sentence)));
  at("take").disabled = at("take").hidden = !frame.take;
  at("piece-of").textContent = frame.piece ?? "";
}

function explained(number) {
  const link = element("a", "", "explained");
  link.href = `/frames/${number}`;
  return link;
}

function showVerdict() {
  const state = now(chosen);
  const dot = element("span", `dot ${state.verdict}`);
  dot.ariaHidden = "true";
  const isWaiting = unsaved.has(chosen) ? ", on its way to the journal" : "";
  at("verdict").replaceChildren(dot, ` ${verdictWords(state)}${isWaiting}.`);
}

// The small preview at once, the large one from the original as soon as it is there.
function showPictures(frame) {
  const whole = at("whole");
  if (frame.preview) whole.replaceChildren(image(previewOf(frame.id), named(frame.id)));
  else whole.replaceChildren(element("span", "blank", "no preview"));
  const piece = at("piece");
  piece.hidden = !frame.original;
  at("piece-picture").replaceChildren();
  if (!frame.original) return;
  bring(frame.id, "whole", (large) => whole.replaceChildren(large));
  bring(frame.id, "piece", (large) => at("piece-picture").replaceChildren(large), () => {
    piece.hidden = true;
  });
}

function image(source, words) {
  const made = element("img");
  made.alt = words;
  made.src = source;
  return made;
}

function pictureOf(number, what) {
  return `/frames/${number}/${what}.jpg?run=${RUN}`;
}

// Shows a picture once it is decoded, if its frame is still the chosen one.
function bring(number, what, show, otherwise = () => {}) {
  const large = image(pictureOf(number, what), what === "whole" ? named(number) : `Piece of ${named(number).toLowerCase()} at full size`);
  large.decode().then(
    () => number === chosen && show(large),
    () => number === chosen && otherwise(),
  );
}

function lookAhead() {
  const place = order.indexOf(chosen);
  for (const number of order.slice(place + 1, place + 1 + AHEAD)) {
    if (frames.get(number).preview) new Image().src = previewOf(number);
  }
  const next = order[place + 1];
  if (next !== undefined && frames.get(next).original) {
    for (const what of ["whole", "piece"]) new Image().src = pictureOf(next, what);
  }
  if (place + 2 * AHEAD >= order.length) load();
}

// ---- verdicts

const queue = new VerdictQueue(page.dataset.journal, heard, IS_BLIND ? "/judge/again" : "/judge");

function give(verdict, faults) {
  const number = chosen;
  const before = { verdict: now(number).verdict, faults: now(number).faults };
  const told = queue.give(number, verdict, faults, frames.get(number).verdict_id);
  setShown(number, { verdict, faults });
  given.push({ frame: number, told, before });
  given = given.slice(-MOST_TAKEN_BACK);
  remember(sessionStorage, GIVEN_KEY, given);
  const saidOf = `${named(number)}: ${verdictWords({ verdict, faults })}. `;
  stopRejecting();
  goOn(saidOf);
}

async function goOn(saidOf) {
  const isOpen = (number) => JUDGES_ALL || now(number).verdict === "unjudged";
  const further = () => order.slice(order.indexOf(chosen) + 1).find(isOpen);
  if (further() === undefined) await load();
  const next = further() ?? (JUDGES_ALL ? undefined : order.find(isOpen));
  if (next === undefined) {
    showVerdict();
    at("said").textContent = `${saidOf}That was the last one.`;
    return;
  }
  choose(next);
  at("said").textContent = `${saidOf}${at("said").textContent}`;
}

function takeBack() {
  const last = given.pop();
  if (!last) {
    tellProblem("Nothing was judged on this page that could be taken back.", IS_BLIND ? "" : "On the terminal: thirdstop judge --take-back");
    return;
  }
  remember(sessionStorage, GIVEN_KEY, given);
  queue.takeBack(last.frame, last.told);
  if (!frames.has(last.frame)) { // judged before this page was loaded, and not on it
    showSaving();
    at("said").textContent = "Taken back.";
    return;
  }
  setShown(last.frame, last.before);
  choose(last.frame);
  at("said").textContent = `Taken back. ${at("said").textContent}`;
}

function setShown(number, state) {
  const wasOpen = now(number).verdict === "unjudged";
  unsaved.set(number, state);
  afterChange(number, wasOpen);
}

function afterChange(number, wasOpen) {
  const isOpen = now(number).verdict === "unjudged";
  nUnjudged += Number(isOpen) - Number(wasOpen);
  const words = nUnjudged ? `${nUnjudged} of ${page.dataset.frames} ${NOUN}s unjudged.` : `All ${page.dataset.frames} ${NOUN}s are judged.`;
  at("count").textContent = words;
  showCard(number);
  if (number === chosen) showVerdict();
  showSaving();
}

function heard(what, item, answer) {
  if (what === "unstored") {
    tellProblem("This browser keeps nothing.", "Wait until every verdict is saved before you close the page.");
    return;
  }
  if (what === "waiting" || what === "outside") {
    showSaving(what, answer);
    return;
  }
  // Where somebody else has said the same meanwhile, it is saved, and there is nothing to look at again.
  const isSame = what === "meanwhile" && item.kind === "give" && answer?.frame && isSameVerdict(answer.frame, item);
  const isSaved = what === "saved" || isSame;
  hasSaved ||= isSaved;
  const number = item.frame;
  const isLast = !queue.items.some((other) => other.frame === number);
  if (what !== "saved") {
    given = given.filter((each) => each.frame !== number);
    remember(sessionStorage, GIVEN_KEY, given);
    if (!isSaved) tellProblem(answer ? answer.problem : "A verdict was refused.", answer ? answer.next_step : "Load the page again.", number);
  }
  if (!frames.has(number) && answer && answer.frame) newer.set(number, answer.frame);
  if (frames.has(number)) {
    const wasOpen = now(number).verdict === "unjudged";
    if (answer && answer.frame) frames.set(number, answer.frame);
    if (isLast) unsaved.delete(number);
    if (what === "meanwhile" && !isSaved) cards.get(number).classList.add("meanwhile");
    afterChange(number, wasOpen);
  }
  showSaving();
  if (answer && answer.left !== undefined) at("finished").hidden = answer.left > 0 || queue.items.length > 0;
}

function showSaving(what, answer) {
  const n = queue.items.length;
  const verdicts = `${n} verdict${n === 1 ? "" : "s"}`;
  let words = n ? `${verdicts} on the way.` : hasSaved || given.length ? "Everything is saved." : "";
  if (what === "waiting") {
    const why = answer ? answer.problem : "The server does not answer; start it again with: thirdstop serve.";
    words = `${why} ${verdicts} wait in this browser and will be sent.`;
  } else if (what === "outside") {
    words = `The server was started anew: open its new link in another tab. ${verdicts} wait in this browser and will be sent.`;
  }
  at("saving").textContent = words;
  page.dataset.waiting = n;
}

function tellProblem(problem, nextStep, number) {
  const line = element("p", "notice", `${problem} ${nextStep} `);
  if (number !== undefined && frames.has(number)) {
    const show = element("button", "", `Show ${named(number).toLowerCase()}`);
    show.type = "button";
    show.addEventListener("click", () => {
      choose(number);
      toDesk();
    });
    line.append(show);
  }
  const close = element("button", "", "Close");
  close.type = "button";
  close.addEventListener("click", () => line.remove());
  line.append(" ", close);
  at("problem").append(line);
  while (at("problem").children.length > 3) at("problem").firstChild.remove();
}

// ---- a reject and its faults

const faultKeys = Array.from(document.querySelectorAll("#faults .fault"));

function startRejecting() {
  isRejecting = true;
  at("faults").hidden = false;
  at("ways").hidden = true;
  at("reject").ariaExpanded = "true";
  at("said").textContent = at("ask").textContent;
  at("faults").scrollIntoView({ block: "nearest" });
}

function stopRejecting() {
  isRejecting = false;
  namesNone = false;
  at("faults").hidden = true;
  at("ways").hidden = false;
  at("reject").ariaExpanded = "false";
  at("ask").textContent = "Why? Name every fault that you see, then Enter.";
  for (const key of faultKeys) key.ariaPressed = "false";
}

function toggle(key) {
  key.ariaPressed = key.ariaPressed === "true" ? "false" : "true";
  at("said").textContent = `${key.dataset.fault} ${key.ariaPressed === "true" ? "named" : "not named"}`;
}

function reject() {
  const faults = faultKeys.filter((key) => key.ariaPressed === "true").map((key) => key.dataset.fault);
  if (!faults.length && !namesNone) {
    namesNone = true;
    at("ask").textContent = "No fault is named yet. Name one, or press Enter once more to reject without.";
    at("said").textContent = at("ask").textContent;
    return;
  }
  give("reject", faults);
}

// ---- keys and buttons

function step(by) {
  const next = order[order.indexOf(chosen) + by];
  if (next !== undefined) choose(next);
}

function stepBurst(by) {
  const place = bursts.findIndex((burst) => burst.frames.includes(chosen));
  const next = bursts[place + by];
  if (next) choose(next.frames[0]);
}

const ACTIONS = {
  take: () => {
    const take = frames.get(chosen).take;
    if (take) give(take.verdict, take.faults);
    else tellProblem("There is no suggestion to take.", "Press k for a keeper or r for a reject.");
  },
  keeper: () => give("keeper", []),
  reject: () => (isRejecting ? reject() : startRejecting()),
  back: takeBack,
  done: reject,
  leave: stopRejecting,
  previous: () => step(-1),
  next: () => step(1),
  "previous-burst": () => stepBurst(-1),
  "next-burst": () => stepBurst(1),
};
const KEYS = { Enter: "take", k: "keeper", r: "reject", Backspace: "back", ArrowLeft: "previous", ArrowRight: "next", ArrowUp: "previous-burst", ArrowDown: "next-burst" };
const KEYS_OF_REJECT = { ...KEYS, Enter: "done", Escape: "leave", Backspace: "leave" };

function toDesk() {
  at("desk").focus({ preventScroll: true });
}

function act(name) {
  if (chosen !== null) ACTIONS[name]();
}

for (const name of Object.keys(ACTIONS)) {
  at(name)?.addEventListener("click", (event) => {
    act(name);
    // After a touch or a click, keys go to the frame again, not to the button.
    if (event.detail) toDesk();
  });
}
for (const key of faultKeys) {
  key.addEventListener("click", (event) => {
    toggle(key);
    if (event.detail) toDesk();
  });
}
at("more").addEventListener("click", begin);

function showLetters() {
  at("letters").ariaPressed = String(hasLetters);
  at("letters").textContent = hasLetters ? "Judging by keys: on" : "Judging by keys: off";
}
at("letters").addEventListener("click", (event) => {
  hasLetters = !hasLetters;
  remember(localStorage, LETTERS_KEY, hasLetters);
  showLetters();
  if (event.detail) toDesk();
});

document.addEventListener("keydown", (event) => {
  if (!hasLetters || event.ctrlKey || event.metaKey || event.altKey || event.isComposing || chosen === null) return;
  const isOnControl = event.target.closest("a, input, textarea, select, summary, button:not(.frame)");
  if (isOnControl && event.key === "Enter") return;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const fault = isRejecting && faultKeys.find((each) => each.dataset.letter === key);
  const name = (isRejecting ? KEYS_OF_REJECT : KEYS)[key];
  if (!fault && !(name && at(name))) return; // a key does what a button of this page does
  event.preventDefault();
  if (event.repeat && !key.startsWith("Arrow")) return;
  if (fault) toggle(fault);
  else act(name);
});

showLetters();
showSaving();
queue.run();
begin();
