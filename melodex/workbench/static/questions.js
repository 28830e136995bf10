// The page of a set's questions: what is typed is written down as one stops typing, and
// before anything is printed.

import { data, told } from "./bench.js";
import { forget, outlives } from "./keeps.js";

const PAUSE = 1500;
const form = document.getElementById("choice");
const line = document.getElementById("saved");
const fields = () => [...form.elements].filter((each) => each.type !== "hidden" && each.name !== "do" && each.name !== "kind" && each.name !== "level");
const holds = (each) => (each.type === "checkbox" ? each.checked : each.value);
const before = (each) => (each.type === "checkbox" ? each.defaultChecked : each.defaultValue);
const unsaved = () => fields().filter((each) => holds(each) !== before(each));
// The workbench tells by these which words of this page came last.
const page = crypto.randomUUID();
let turn = 0;
let waiting = 0;
let writing = null;
let hasFailed = false;

function settle(changed, values) {
  changed.forEach((each, place) => {
    if (each.type === "checkbox") each.defaultChecked = values[place];
    else each.defaultValue = values[place];
  });
  // What was typed meanwhile comes next.
  forget(changed.filter((each, place) => holds(each) === values[place]));
}

// Questions that were touched go whole, the others not at all.
function bodyOf(changed) {
  const homes = new Set(changed.map((each) => each.closest("li.match")));
  const body = new FormData(form);
  fields().filter((each) => !homes.has(each.closest("li.match"))).forEach((each) => body.delete(each.name));
  turn += 1;
  body.set("do", "words");
  body.set("page", page);
  body.set("turn", turn);
  return body;
}

async function send(changed) {
  const values = changed.map(holds);
  const body = bodyOf(changed);
  const mine = turn;
  line.textContent = "Writing …";
  try {
    const found = await data(form.action, { method: "POST", body, keepalive: outlives(body) });
    if (mine === turn) form.elements.mark.value = found.mark;
    settle(changed, values);
    hasFailed = false;
    line.textContent = "All words are written down.";
  } catch (error) {
    // They are kept in the browser.
    hasFailed = true;
    line.textContent = `Not written yet: ${error.message}`;
    told(error.message);
  }
}

async function write() {
  clearTimeout(waiting);
  while (writing) await writing;
  const changed = unsaved();
  if (!changed.length) return;
  writing = send(changed).finally(() => { writing = null; });
  await writing;
}

// Leaving: no answer will be heard here, so nothing is waited for.
let isSent = false;
function leave() {
  clearTimeout(waiting);
  const changed = unsaved();
  if (changed.length && !isSent) send(changed);
}
addEventListener("pagehide", leave);
document.addEventListener("visibilitychange", () => { if (document.hidden) leave(); });
addEventListener("pageshow", () => { isSent = false; });
addEventListener("beforeunload", (event) => { if (hasFailed && unsaved().length) event.preventDefault(); });

document.addEventListener("input", ({ target }) => {
  if (!fields().includes(target)) return;
  line.textContent = "";
  clearTimeout(waiting);
  waiting = setTimeout(write, PAUSE);
});
document.addEventListener("change", ({ target }) => { if (fields().includes(target)) write(); });

// What is on its way is waited for: the form would carry the mark of before.
form.addEventListener("submit", async (event) => {
  clearTimeout(waiting);
  if (writing) {
    event.preventDefault();
    while (writing) await writing;
    form.requestSubmit(event.submitter);
    return;
  }
  // The form carries all that stands here.
  isSent = true;
});
document.querySelector("form.print").addEventListener("submit", async (event) => {
  if (!writing && !unsaved().length) return;
  event.preventDefault();
  await write();
  event.target.requestSubmit(event.submitter);
});
