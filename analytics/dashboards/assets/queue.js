// Verdicts on their way to the journal: posted one at a time, kept in this browser until the journal has them.
// Each has a name of its own, so one that is sent again, because no answer came, is given once.
"use strict";

const WAITS_MS = [300, 600, 1200, 2500];

class VerdictQueue {
  // `heard(what, item, answer)` is told: waiting, saved, meanwhile, refused, outside, unstored.
  // `place` is where verdicts are posted; those of different places wait apart from each other.
  constructor(journal, heard, place = "/judge") {
    this.journal = journal;
    this.heard = heard;
    this.place = place;
    this.client = Array.from(crypto.getRandomValues(new Uint8Array(8)), (byte) => byte.toString(16).padStart(2, "0")).join("");
    this.prefix = `thirdstop.${place === "/judge" ? "verdicts" : "again"}.${journal}.`;
    this.n = 0;
    this.token = "";
    this.isRunning = false;
    this.isStored = true;
    this.items = this.adopted();
    this.keep();
    for (const event of ["online", "focus"]) window.addEventListener(event, () => this.wake());
    window.addEventListener("beforeunload", (event) => {
      if (this.items.length && !this.isStored) event.preventDefault();
    });
  }

  // What an earlier page could not deliver; a page that still lives may send the same again, which does no harm.
  adopted() {
    const found = [];
    try {
      const keys = Object.keys(localStorage).filter((key) => key.startsWith(this.prefix));
      for (const key of keys) {
        found.push(...JSON.parse(localStorage.getItem(key)));
        localStorage.removeItem(key);
      }
    } catch {
      this.isStored = false;
    }
    return found;
  }

  keep() {
    try {
      if (this.items.length) localStorage.setItem(this.prefix + this.client, JSON.stringify(this.items));
      else localStorage.removeItem(this.prefix + this.client);
      this.isStored = true;
    } catch {
      this.isStored = false;
      this.heard("unstored", null, null);
    }
  }

  // `expected` is the verdict that the page shows; where one of ours on this frame is still on its way, that one.
  give(frame, verdict, faults, expected) {
    this.n += 1;
    const told = `${this.client}.${this.n}`;
    const isAfterOurs = this.items.some((item) => item.frame === frame);
    this.push({ kind: "give", frame, verdict, faults, expected: isAfterOurs ? "ours" : expected, told });
    return told;
  }

  takeBack(frame, told) {
    this.push({ kind: "back", frame, told });
  }

  push(item) {
    this.items.push(item);
    this.keep();
    this.run();
  }

  wake() {
    if (this.stopWaiting) this.stopWaiting();
    this.run();
  }

  async run() {
    if (this.isRunning) return;
    this.isRunning = true;
    let n_failed = 0;
    while (this.items.length) {
      const isThrough = await this.deliver(this.items[0]);
      if (isThrough) {
        n_failed = 0;
        continue;
      }
      const wait = WAITS_MS[Math.min(n_failed, WAITS_MS.length - 1)];
      n_failed += 1;
      await new Promise((resolve) => {
        this.stopWaiting = resolve;
        setTimeout(resolve, wait);
      });
    }
    this.isRunning = false;
  }

  // Whether the item is settled, one way or the other.
  async deliver(item) {
    let answer, status;
    try {
      if (!this.token) await this.renewToken();
      [status, answer] = await this.post(item);
    } catch {
      this.heard("waiting", item, null);
      return false;
    }
    if (status === 403) {
      this.token = "";
      this.heard("outside", item, answer);
      return false;
    }
    if (status >= 500) {
      this.heard("waiting", item, answer);
      return false;
    }
    this.settle(item, status, answer);
    return true;
  }

  settle(item, status, answer) {
    this.items.shift();
    const follows = this.items.find((other) => other.frame === item.frame);
    if (status === 200 && follows && follows.expected === "ours") follows.expected = answer.frame.verdict_id;
    if (status !== 200) {
      // What was judged on top of it was judged with a wrong picture of the frame.
      this.items = this.items.filter((other) => other.frame !== item.frame);
    }
    this.keep();
    this.heard(status === 200 ? "saved" : status === 409 ? "meanwhile" : "refused", item, answer);
  }

  async renewToken() {
    const response = await fetch("/judge/token", { cache: "no-store" });
    if (!response.ok) return;
    this.token = (await response.json()).token;
  }

  async post(item) {
    const isGiven = item.kind === "give";
    const body = { journal: this.journal, frame: item.frame, told: item.told };
    if (isGiven) Object.assign(body, { verdict: item.verdict, faults: item.faults, expected: item.expected });
    const response = await fetch(`${this.place}/${isGiven ? "verdicts" : "take-back"}`, {
      method: "POST",
      headers: { "content-type": "application/json", "x-thirdstop-token": this.token },
      body: JSON.stringify(body),
    });
    const isData = (response.headers.get("content-type") || "").startsWith("application/json");
    return [response.status, isData ? await response.json() : null];
  }
}

window.VerdictQueue = VerdictQueue;
