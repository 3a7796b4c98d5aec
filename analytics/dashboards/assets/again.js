// Beginning to judge old pictures again, or putting it off; either is posted with the token of this run.
"use strict";

const offer = document.getElementById("offer");
const told = document.getElementById("told");
const buttons = Array.from(offer.querySelectorAll("button"));

async function post(path) {
  const { token } = await (await fetch("/judge/token", { cache: "no-store" })).json();
  const response = await fetch(path, {
    method: "POST",
    headers: { "content-type": "application/json", "x-thirdstop-token": token },
    body: JSON.stringify({ journal: offer.dataset.journal }),
  });
  return [response.ok, await response.json()];
}

async function ask(path, goOn) {
  for (const button of buttons) button.disabled = true;
  try {
    const [isDone, answer] = await post(path);
    if (isDone) {
      goOn();
      return;
    }
    told.textContent = `${answer.problem} ${answer.next_step}`;
  } catch {
    told.textContent = "The server does not answer. Start it again with: thirdstop serve";
  }
  for (const button of buttons) button.disabled = false;
}

document.getElementById("begin").addEventListener("click", () => ask("/judge/again/begin", () => location.reload()));
document.getElementById("put-off").addEventListener("click", () => ask("/judge/again/put-off", () => location.assign("/judge")));
for (const button of buttons) button.disabled = false; // before, nobody would hear a click
