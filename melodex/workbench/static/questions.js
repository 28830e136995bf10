// The page of a set's questions: what is typed is written down as one stops typing, and
// before anything is printed. Only what was touched is sent, with what stood there before.

import { data, told } from "./bench.js";
import { forget, outlives } from "./keeps.js";
import { AGAIN, PAUSE, onLeaving, say, sayUnwritten } from "./saved.js";

const form = document.getElementById("choice");
const fields = () => [...form.elements].filter((each) => each.type !== "hidden" && each.name !== "do" && each.name !== "kind" && each.name !== "level");
const isTick = (each) => each.type === "checkbox";
const holds = (each) => (isTick(each) ? each.checked : each.value);
const before = (each) => (isTick(each) ? each.defaultChecked : each.defaultValue);
// What is typed of a part that is not asked has no place yet: it stays in the browser.
const partOf = (each) => each.closest(".asked-part")?.querySelector("[type=checkbox]");
const isOff = (each) => !isTick(each) && partOf(each)?.checked === false;
const unsaved = () => fields().filter((each) => holds(each) !== before(each) && !isOff(each));
// The workbench tells by these which words of this page came last.
const page = crypto.randomUUID();
let turn = 0;
// By which turn a field was written last, by its name and value.
const settledAt = new Map();
const nameOf = (each) => `${each.name} ${isTick(each) ? each.value : ""}`;
const flights = new Set();
let waiting = 0;
let hasFailed = false;

// What was written is what the page holds now; what was typed meanwhile comes next.
function settle(changed, values, joined, mine) {
  const settled = changed.filter((each) => (settledAt.get(nameOf(each)) ?? 0) < mine);
  settled.forEach((each) => {
    const value = values[changed.indexOf(each)];
    settledAt.set(nameOf(each), mine);
    if (isTick(each)) { each.defaultChecked = value; return; }
    each.defaultValue = value;
    const both = joined[each.name];
    if (both === undefined) return;
    told("Another page has written here too: both texts are kept.");
    // While one types, the other text comes with what is written next.
    if (each.value !== value || each === document.activeElement) return;
    each.value = both;
    each.defaultValue = both;
  });
  forget(settled.filter((each) => holds(each) === before(each)));
}

// Of ticks the letters that are asked.
const ticked = (name, test) => fields().filter((each) => each.name === name && test(each)).map((each) => each.value).join("");
function withTouched(body, changed) {
  turn += 1;
  body.set("page", page);
  body.set("turn", turn);
  changed.forEach((each) => {
    body.set(each.name, isTick(each) ? ticked(each.name, holds) : each.value);
    body.set(`was:${each.name}`, isTick(each) ? ticked(each.name, before) : each.defaultValue);
  });
  return body;
}

async function send(changed) {
  const values = changed.map(holds);
  const body = new FormData();
  ["name", "mark"].forEach((name) => body.set(name, form.elements[name].value));
  body.set("do", "words");
  withTouched(body, changed);
  const mine = turn;
  say("Writing …");
  try {
    const found = await data(form.action, { method: "POST", body, keepalive: outlives(body) });
    if (mine === turn) form.elements.mark.value = found.mark;
    settle(changed, values, found.joined, mine);
    hasFailed = false;
    say("All words are written down.");
  } catch (error) {
    // They are kept in the browser, and are tried again.
    hasFailed = true;
    sayUnwritten(error);
    clearTimeout(waiting);
    waiting = setTimeout(write, AGAIN);
  }
}

function fly(changed) {
  const flight = send(changed).finally(() => flights.delete(flight));
  flights.add(flight);
  return flight;
}
async function landed() { while (flights.size) await Promise.all([...flights]); }

async function write() {
  clearTimeout(waiting);
  await landed();
  const changed = unsaved();
  if (changed.length) await fly(changed);
}

// Leaving: no answer will be heard here, so nothing is waited for.
let isSent = false;
function leave() {
  clearTimeout(waiting);
  const changed = unsaved();
  if (changed.length && !isSent) fly(changed);
}
onLeaving(leave);
addEventListener("pageshow", () => { isSent = false; });
addEventListener("beforeunload", (event) => { if (hasFailed && unsaved().length) event.preventDefault(); });

document.addEventListener("input", ({ target }) => {
  if (!fields().includes(target)) return;
  say("");
  clearTimeout(waiting);
  waiting = setTimeout(write, PAUSE);
});
document.addEventListener("change", ({ target }) => {
  if (!fields().includes(target)) return;
  if (isTick(target) && !ticked(target.name, holds)) {
    target.checked = true;
    told("A question asks one part at least; Leave out takes the whole question off.");
  }
  write();
});

// What is on its way is waited for: the form would say anew what comes after it.
form.addEventListener("submit", async (event) => {
  clearTimeout(waiting);
  if (flights.size) {
    event.preventDefault();
    await landed();
    form.requestSubmit(event.submitter);
    return;
  }
  isSent = true;
});
form.addEventListener("formdata", ({ formData }) => {
  fields().forEach((each) => formData.delete(each.name));
  withTouched(formData, unsaved());
});
document.querySelector("form.print").addEventListener("submit", async (event) => {
  if (!flights.size && !unsaved().length) return;
  event.preventDefault();
  await write();
  if (!hasFailed) event.target.requestSubmit(event.submitter);
});
// What an earlier visit could not write is tried at once.
if (unsaved().length) write();
