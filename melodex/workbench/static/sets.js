// The page of a set: words are written down as one stops typing, and its buttons change
// it without leaving the place where one is.

import { data, enliven, told } from "./bench.js";
import { forget } from "./keeps.js";

const PAUSE = 1500;
const form = document.getElementById("set");
const line = document.getElementById("saved");
let waiting = 0;
let writing = null;

const fields = () => [...form.elements].filter((each) => each.dataset.words);
const unsaved = () => fields().filter((each) => each.value !== each.defaultValue);

function say(text) { if (line.textContent !== text) line.textContent = text; }

function bodyOf(changed) {
  const body = new FormData();
  ["name", "mark"].forEach((name) => body.set(name, form.elements[name].value));
  body.set("do", "words");
  changed.forEach((each) => body.set(each.name, each.value));
  return body;
}

// What was written is what the page holds now; what was typed meanwhile comes next.
function settle(changed, values, found) {
  changed.forEach((each, place) => {
    const both = found.joined[each.dataset.words];
    if (both !== undefined) {
      // Another page had written here too: what it wrote comes first.
      each.value = each.value === values[place] ? both : each.value.replace(values[place], both);
      values[place] = both;
      told("Another page has written here too: both texts are kept.");
    }
    each.defaultValue = values[place];
    each.name = `words:${each.dataset.words}:${found.marks[each.dataset.words]}`;
  });
  forget(changed.filter((each, place) => each.value === values[place]));
  form.elements.mark.value = found.mark;
  if (form.elements.name.value !== found.name) renamed(found.name);
}

function renamed(name) {
  form.elements.name.value = name;
  document.getElementById("set-name").textContent = name;
  document.querySelectorAll("form.print [name=name]").forEach((each) => { each.value = name; });
  history.replaceState(null, "", `/set?${new URLSearchParams({ name })}`);
}

async function write(changed = unsaved()) {
  clearTimeout(waiting);
  await writing;
  if (!changed.length) return true;
  const values = changed.map((each) => each.value);
  say("Writing …");
  let isDone = false;
  writing = (async () => {
    try {
      const found = await data("/set/change", { method: "POST", body: bodyOf(changed), keepalive: changed.every((each) => each.value.length < 4001) && changed.length < 4 });
      settle(changed, values, found);
      say("All words are written down.");
      isDone = true;
    } catch (error) {
      // They are kept in the browser, and are written with the next thing that is done.
      say(`Not written yet: ${error.message}`);
      told(error.message);
    }
    writing = null;
  })();
  await writing;
  return isDone;
}

// A name is written when one has left its field: half of it is no name.
const early = () => write(unsaved().filter((each) => each.dataset.words !== "name"));

function put(answer, button) {
  const scroll = scrollY;
  const typing = document.activeElement?.dataset.words;
  ["set-body", "did"].forEach((id) => {
    document.getElementById(id).replaceChildren(...answer.getElementById(id).childNodes);
  });
  ["name", "mark"].forEach((name) => {
    form.elements[name].value = answer.querySelector(`#set [name=${name}]`).value;
  });
  document.getElementById("set-name").textContent = form.elements.name.value;
  const home = document.getElementById("set-body");
  window.melodexSound.stop();
  window.melodexSound.adopt(home);
  enliven(home);
  scrollTo({ top: scroll, behavior: "instant" });
  const [what, key] = button.value.split(" ");
  const other = { up: "down", down: "up" }[what];
  const again = [what, other].map((each) => document.querySelector(`button[value="${each} ${CSS.escape(key ?? "")}"]:enabled`)).find(Boolean);
  const field = typing && fields().find((each) => each.dataset.words === typing);
  (field || again || document.querySelector("#did button") || home.querySelector("textarea"))?.focus({ preventScroll: false });
  told(document.querySelector("#did span")?.textContent ?? "");
}

// A request that goes its way even if its page is left; browsers let small ones do so.
const MOST_KEPT_ALIVE = 60000;
const post = (address, body) => fetch(address, {
  method: "POST",
  body,
  headers: { Accept: "text/html" },
  keepalive: [...body.values()].reduce((sum, text) => sum + 4 * text.length, 0) < MOST_KEPT_ALIVE,
});

// All that the form says, of words only what is not written yet.
function saidBy(button) {
  const body = new FormData(form, button);
  fields().filter((each) => each.value === each.defaultValue).forEach((each) => body.delete(each.name));
  return body;
}

async function change(button, action, body, sent = unsaved()) {
  const carried = sent.map((each) => [each, each.value]);
  // What is typed while the answer is on its way is not in it, and stays unsaved.
  const arrived = () => forget(carried.filter(([each, value]) => each.value === value).map(([each]) => each));
  try {
    const answer = await post(action, body);
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const isHere = page.getElementById("set-body") && new URL(answer.url).pathname.startsWith("/set");
    if (!isHere) {
      if (answer.ok) { arrived(); location.assign(answer.url); } else complain(page);
      return;
    }
    if (answer.ok) {
      arrived();
      history.replaceState(null, "", answer.url);
    }
    put(page, button);
  } catch {
    say("Not done: the workbench does not answer. Your words are kept in the browser.");
    told(line.textContent);
  }
}

// What is refused is said where one is; the page and its words stay.
function complain(page) {
  const words = page.querySelector(".fault")?.textContent.trim().replace(/\s+/g, " ");
  say(words ?? "That did not work.");
  told(line.textContent);
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const button = event.submitter ?? form.querySelector("button");
  if (button.value === "words") { write(); return; }
  // What is on its way must not be sent once more with the mark of before.
  await writing;
  change(button, form.action, saidBy(button));
});
document.getElementById("did").addEventListener("submit", (event) => {
  event.preventDefault();
  change(event.submitter, event.target.action, new FormData(event.target), []);
});
document.addEventListener("input", ({ target }) => {
  if (!target.dataset.words) return;
  say("");
  clearTimeout(waiting);
  waiting = setTimeout(early, PAUSE);
});
document.addEventListener("change", ({ target }) => { if (target.dataset.words) write(); });
// Leaving: what is not written yet goes its way even while the page goes.
addEventListener("pagehide", () => write());
document.addEventListener("visibilitychange", () => { if (document.hidden) write(); });
