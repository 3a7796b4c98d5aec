// Comments and verdicts of a mentor: kept in the page, in the browser's storage where it has one, and saved as a file.
// What is typed only ever becomes text nodes. Nothing is sent anywhere.
"use strict";

window.thirdstopReview = (() => {
  const review = window.thirdstopData.review;
  const FAULTS = window.thirdstopData.frames.fault_names;
  const STORED = `thirdstop review ${review.key}`;
  const HEX = /^[0-9a-f]{32}$/;
  const MOMENT = /^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}\.\d{3}Z$/;
  const ABOUT = ["whole", "question", "session", "frame", "habit"];
  const views = new Set();
  let state = { mentor: "", comments: [], verdicts: [] };
  let isSaved = true;
  let make;
  let ids = 0;

  function key() {
    return Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  function clean(text, isLine) {
    const printable = text.replace(/\r\n?/g, "\n").replace(/[\u0000-\u0008\u000b-\u001f\u007f]/g, "");
    return (isLine ? printable.replace(/[\n\t]/g, " ") : printable).toWellFormed?.().trim() ?? printable.trim();
  }

  function is(comment, about, place) {
    return comment.about === about && (about === "whole" || String(comment[about]) === place);
  }

  function sound(value) {
    const comments = Array.isArray(value.comments) ? value.comments : [];
    const verdicts = Array.isArray(value.verdicts) ? value.verdicts : [];
    return {
      mentor: clean(String(value.mentor || ""), true).slice(0, 100),
      comments: comments.filter((one) => one && HEX.test(one.key) && ABOUT.includes(one.about)
        && typeof one.body === "string" && one.body.length <= 4000 && MOMENT.test(one.said_at)),
      verdicts: verdicts.filter((one) => one && HEX.test(one.key) && Number.isSafeInteger(one.frame)
        && ["keeper", "reject"].includes(one.verdict) && Array.isArray(one.faults)
        && one.faults.every((fault) => FAULTS.includes(fault)) && MOMENT.test(one.said_at)),
    };
  }

  function store() {
    try {
      window.localStorage.setItem(STORED, JSON.stringify(state));
    } catch {
      // a browser may forbid it; the file that is saved is what counts
    }
  }

  function changed() {
    isSaved = false;
    store();
    redraw();
  }

  function redraw() {
    for (const view of views) {
      if (view.element.isConnected || view.isNew) view.draw();
      else views.delete(view);
      view.isNew = false;
    }
  }

  function watch(element, draw) {
    views.add({ element, draw, isNew: true });
    draw();
  }

  function button(text, act) {
    const element = make("button", { type: "button" }, text);
    element.addEventListener("click", act);
    return element;
  }

  function comments(about, place, label) {
    const box = make("div", {});
    const said = make("ul", { class: "said" });
    const id = `say-${(ids += 1)}`;
    const area = make("textarea", { id, rows: "4", maxlength: "4000" });
    const add = button("Add comment", () => {
      const body = clean(area.value, false).slice(0, 4000);
      if (!body) return;
      const where = about === "whole" ? {} : { [about]: about === "habit" ? place : Number(place) };
      state.comments.push({ key: key(), about, ...where, body, said_at: new Date().toISOString() });
      area.value = "";
      changed();
    });
    box.append(said, make("label", { for: id }, `Comment on ${label}`), area, add);
    watch(box, () => {
      said.replaceChildren(...state.comments.filter((one) => is(one, about, place)).map((one) => {
        const remove = button("Take back", () => {
          state.comments = state.comments.filter((other) => other.key !== one.key);
          changed();
        });
        remove.setAttribute("aria-label", `Take back: ${one.body.slice(0, 60)}`);
        return make("li", {}, make("p", {}, one.body), remove);
      }));
    });
    return box;
  }

  function verdictOf(number) {
    return state.verdicts.find((one) => one.frame === number);
  }

  function setVerdict(number, verdict, faults) {
    state.verdicts = state.verdicts.filter((one) => one.frame !== number);
    if (verdict) {
      state.verdicts.push({ key: key(), frame: number, verdict, faults, said_at: new Date().toISOString() });
    }
    changed();
  }

  function choice(type, name, text, isOn, act) {
    const input = make("input", { type, name });
    input.checked = isOn;
    input.addEventListener("change", () => act(input.checked));
    return make("label", { class: "choice" }, input, ` ${text}`);
  }

  function verdicts(number) {
    const box = make("div", {});
    const name = `verdict-${(ids += 1)}`;
    watch(box, () => {
      const given = verdictOf(number);
      const held = document.activeElement && box.contains(document.activeElement)
        ? Array.from(box.querySelectorAll("input")).indexOf(document.activeElement) : -1;
      const mine = make("fieldset", {}, make("legend", {}, `Frame ${number}: would it be a keeper?`));
      const options = [["", "I give no verdict"], ["keeper", "I would have kept this"], ["reject", "I would have rejected this"]];
      for (const [verdict, text] of options) {
        const isOn = (given ? given.verdict : "") === verdict;
        mine.append(choice("radio", name, text, isOn, () => setVerdict(number, verdict, [])));
      }
      mine.append(make("p", { class: "surer" }, "It counts as soon as it is chosen."));
      const parts = [mine];
      if (given && given.verdict === "reject") {
        const why = make("fieldset", {}, make("legend", {}, "Its faults"));
        for (const fault of FAULTS) {
          const isOn = given.faults.includes(fault);
          why.append(choice("checkbox", `${name}-${fault}`, fault, isOn, (on) => {
            const faults = FAULTS.filter((one) => (one === fault ? on : given.faults.includes(one)));
            setVerdict(number, "reject", faults);
          }));
        }
        parts.push(why);
      }
      box.replaceChildren(...parts);
      if (held >= 0) box.querySelectorAll("input")[held]?.focus();
    });
    return box;
  }

  function frame(item, number) {
    const summary = make("summary", {});
    const details = make("details", { class: "say" }, summary);
    details.addEventListener("toggle", () => {
      if (details.open && details.children.length === 1) {
        const none = make("p", { class: "surer" }, "No picture of this frame is in this file, so no verdict is asked for.");
        const judged = item.querySelector("img") || verdictOf(number) ? verdicts(number) : none;
        details.append(judged, comments("frame", String(number), `frame ${number}`));
      }
      item.classList.toggle("wide", details.open);
    });
    item.append(details);
    watch(details, () => {
      const given = verdictOf(number);
      const nComments = state.comments.filter((one) => is(one, "frame", String(number))).length;
      const parts = [given && `mentor: ${[given.verdict, ...given.faults].join(", ")}`, nComments && many(nComments, "comment")];
      summary.textContent = parts.filter(Boolean).join("; ") || "Say something";
      summary.setAttribute("aria-label", `Frame ${number}: ${summary.textContent}`);
    });
  }

  function place(about, where, label) {
    const box = make("div", { class: "say" });
    box.append(comments(about, where, label));
    return box;
  }

  function many(number, noun) {
    return `${number} ${noun}${number === 1 ? "" : "s"}`;
  }

  function save(told) {
    if (!state.mentor) {
      told.textContent = "Write your name first; the photographer must know who speaks.";
      document.getElementById("mentor").focus();
      return;
    }
    const content = {
      format: review.format, version: review.version, review: review.key, mentor: state.mentor,
      saved_at: new Date().toISOString(), comments: state.comments, verdicts: state.verdicts,
    };
    const address = URL.createObjectURL(new Blob([JSON.stringify(content, null, 1)], { type: "application/json" }));
    const link = make("a", { href: address, download: `comments-${review.key.slice(0, 8)}.json` });
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(address), 60000);
    isSaved = true;
    told.textContent = "Saved. Send the file back to the photographer.";
  }

  function load(file, told) {
    const reader = new FileReader();
    reader.addEventListener("load", () => {
      try {
        const value = JSON.parse(String(reader.result));
        if (value.format !== review.format || value.review !== review.key) throw new Error("another review");
        const found = sound(value);
        const has = new Set(state.comments.map((one) => one.key));
        state.comments.push(...found.comments.filter((one) => !has.has(one.key)));
        const judged = new Set(state.verdicts.map((one) => one.frame));
        state.verdicts.push(...found.verdicts.filter((one) => !judged.has(one.frame)));
        if (!state.mentor) state.mentor = found.mentor;
        document.getElementById("mentor").value = state.mentor;
        changed();
        told.textContent = "Loaded.";
      } catch {
        told.textContent = "This is no comments file of this review.";
      }
    });
    reader.readAsText(file);
  }

  function bar() {
    const told = make("p", { class: "told", role: "status" });
    const name = make("input", { id: "mentor", type: "text", maxlength: "100", autocomplete: "off" });
    name.value = state.mentor;
    name.addEventListener("change", () => { state.mentor = clean(name.value, true).slice(0, 100); changed(); });
    const file = make("input", { id: "earlier", type: "file", accept: ".json,application/json" });
    file.addEventListener("change", () => { if (file.files[0]) load(file.files[0], told); });
    const count = make("strong", {});
    const section = make("section", { class: "saving", "aria-label": "Save your comments" });
    section.append(
      count, " ", make("label", { for: "mentor" }, "The mentor’s name"), name, button("Save comments file", () => save(told)), told,
      make("details", {}, make("summary", {}, "Go on with a file saved earlier"), make("label", { for: "earlier" }, "Comments file"), file),
    );
    watch(section, () => {
      count.textContent = `${many(state.comments.length, "comment")}, ${many(state.verdicts.length, "verdict")}.`;
    });
    return section;
  }

  function start(maker) {
    make = maker;
    try {
      state = sound(JSON.parse(window.localStorage.getItem(STORED) || "{}"));
      // what is said in another page of this review is not overwritten by what is said here
      window.addEventListener("storage", (event) => {
        if (event.key === STORED && event.newValue) {
          state = sound(JSON.parse(event.newValue));
          redraw();
        }
      });
    } catch {
      // nothing was kept, or it cannot be read
    }
    for (const box of document.querySelectorAll("div.say[data-about]")) {
      box.append(comments(box.dataset.about, box.dataset.key, box.dataset.label));
    }
    document.querySelector("main").after(bar());
    window.addEventListener("beforeunload", (event) => {
      if (!isSaved) event.preventDefault();
    });
  }

  return { start, frame, place };
})();
