// The page of a set: words are written down as one stops typing, and its buttons change
// it without leaving the place where one is.

import { data, enliven, told } from "./bench.js";
import { sending } from "./drafts.js";
import { forget, moveTo, outlives } from "./keeps.js";
import { AGAIN, PAUSE, onLeaving, say, sayAloud, sayUnwritten } from "./saved.js";

const form = document.getElementById("set");
// The workbench tells by these which words of this page came last.
const page = crypto.randomUUID();
let turn = 0;
let settledTurn = 0;
// By which turn the words of a field were written last, by its key.
const settledAt = new Map();
let waiting = 0;
let hasFailed = false;
let hasHeld = false;
// Everything that is sent goes one after another: each carries the marks of the answer before.
let last = Promise.resolve();
// Words on their way, and words whose passage has gone from this page, by the keys of their fields.
const flying = new Map();
const adrift = new Map();

const fields = () => [...form.elements].filter((each) => each.dataset.words);
const fieldOf = (key) => fields().find((each) => each.dataset.words === key);
const wordsOf = (each) => ({ key: each.dataset.words, name: each.name, text: each.value });
const unsaved = () => [
  ...fields().filter((each) => each.value !== each.defaultValue).map(wordsOf),
  ...adrift.values(),
];

function inTurn(doing) {
  const next = last.then(doing);
  form.setAttribute("aria-busy", "true");
  const mine = next.catch(() => {}).then(() => { if (last === mine) form.removeAttribute("aria-busy"); });
  last = mine;
  return next;
}

function withWords(body, sent) {
  ["name", "mark"].forEach((name) => body.set(name, form.elements[name].value));
  turn += 1;
  body.set("page", page);
  body.set("turn", turn);
  sent.forEach(({ key, name, text }) => {
    body.set(name, text);
    flying.set(key, text);
  });
  return body;
}
const landed = (sent) => sent.forEach(({ key, text }) => { if (flying.get(key) === text) flying.delete(key); });

// The caret stays in the words that it stands in, wherever those stand afterwards.
function caretOf({ value, selectionStart, selectionEnd, selectionDirection }) {
  const blank = value.length - value.trimStart().length;
  return (field) => {
    const shift = Math.max(0, field.value.indexOf(value.trim()) - blank);
    field.setSelectionRange(selectionStart + shift, selectionEnd + shift, selectionDirection);
  };
}

// What was written is what the page holds now; what was typed meanwhile comes next.
function settle(sent, found) {
  sent.forEach(({ key, text }) => {
    settledAt.set(key, settledTurn);
    if (adrift.get(key)?.text === text) adrift.delete(key);
    const field = fieldOf(key);
    const both = found.joined[key];
    let now = text;
    let mark = found.marks[key];
    if (both !== undefined) told("Another page has written here too: both texts are kept.");
    if (field && both !== undefined) {
      const keepCaret = caretOf(field);
      if (field.value === text) field.value = both;
      else if (text && field.value.includes(text)) field.value = field.value.replace(text, () => both);
      // Our part of both texts is what is worked on here; the other stays beside it.
      else mark = found.own[key];
      if (mark !== found.own[key]) now = both;
      keepCaret(field);
    }
    if (!field) { forget([key]); return; }
    field.defaultValue = now;
    field.name = `words:${key}:${mark}`;
    if (field.value === now) forget([key]);
  });
  form.elements.mark.value = found.mark;
  if (form.elements.name.value !== found.name) renamed(found.name);
}

function renamed(name) {
  form.elements.name.value = name;
  document.getElementById("set-name").textContent = name;
  document.querySelectorAll("form.print [name=name]").forEach((each) => { each.value = name; });
  moveTo(`/set?${new URLSearchParams({ name })}`);
}

async function send(sent) {
  const body = withWords(new FormData(), sent);
  const mine = turn;
  body.set("do", "words");
  say("Writing …");
  try {
    const found = await data("/set/change", { method: "POST", body, keepalive: outlives(body) });
    if (mine > settledTurn) {
      settledTurn = mine;
      settle(sent, found);
    }
    hasFailed = false;
    hasHeld ||= found.held;
    say(hasHeld ? "All words are written down. Those about a passage that was taken out stand beside it again when that is undone." : "All words are written down.");
  } catch (error) {
    // They are kept in the browser, and are tried again.
    hasFailed = true;
    sayUnwritten(error);
    clearTimeout(waiting);
    waiting = setTimeout(early, AGAIN);
  }
  landed(sent);
}

// A name may be refused, and nothing else has to wait for that.
const isName = ({ key }) => key === "name";
const not = (test) => (each) => !test(each);
async function write(parts = [not(isName), isName]) {
  clearTimeout(waiting);
  for (const part of parts) {
    await inTurn(async () => {
      const sent = unsaved().filter(part);
      if (sent.length) await send(sent);
    });
  }
}

// A name is written when one has left its field: half of it is no name.
const early = () => write([not(isName)]);

// Leaving: what is not on its way goes there at once, since no answer will be heard here.
function leave() {
  const held = (each) => flying.get(each.dataset.words) ?? each.defaultValue;
  const sent = [
    ...fields().filter((each) => each.value !== held(each)).map(wordsOf),
    ...[...adrift.values()].filter(({ key, text }) => flying.get(key) !== text),
  ];
  clearTimeout(waiting);
  if (sent.length) send(sent);
}

// Words that are newer than what has come stay where they were typed.
function carryOver(typed) {
  typed.forEach((each) => {
    const field = fieldOf(each.key);
    if (!field) { adrift.set(each.key, each); return; }
    // It has its field again, which may say more than this by now.
    adrift.delete(each.key);
    if (field.defaultValue !== each.text) {
      field.name = each.name;
      field.value = each.text;
    }
  });
  if (typed.length) waiting = setTimeout(early, PAUSE);
}

function put(answer, button, sent, asked) {
  const scroll = scrollY;
  const typing = document.activeElement?.dataset.words;
  const keepCaret = typing && caretOf(document.activeElement);
  const typed = unsaved().filter(({ key, text }) => !sent.some((each) => each.key === key && each.text === text));
  // The answer may be older than words that were written while it was on its way.
  typed.push(...fields().filter((each) => settledAt.get(each.dataset.words) > asked && each.value === each.defaultValue).map(wordsOf));
  ["set-body", "did"].forEach((id) => {
    document.getElementById(id).replaceChildren(...answer.getElementById(id).childNodes);
  });
  ["name", "mark"].forEach((name) => {
    form.elements[name].value = answer.querySelector(`#set [name=${name}]`).value;
  });
  document.getElementById("set-name").textContent = form.elements.name.value;
  const home = document.getElementById("set-body");
  hasHeld = false;
  window.melodexSound.stop();
  window.melodexSound.adopt(home);
  enliven(home);
  carryOver(typed);
  scrollTo({ top: scroll, behavior: "instant" });
  const [what, key] = button.value.split(" ");
  const other = { up: "down", down: "up" }[what];
  const again = [what, other].map((each) => document.querySelector(`button[value="${each} ${CSS.escape(key ?? "")}"]:enabled`)).find(Boolean);
  const field = typing && fieldOf(typing);
  (field || again || document.querySelector("#did button") || home.querySelector("textarea"))?.focus({ preventScroll: false });
  if (field) keepCaret(field);
  told(document.querySelector("#did span")?.textContent ?? "");
}

const post = (address, body) => fetch(address, {
  method: "POST",
  body,
  headers: { Accept: "text/html" },
  keepalive: outlives(body),
});

// All that the form says, of words only what is not written yet.
function saidBy(button, sent) {
  const body = new FormData(form, button);
  fields().forEach((each) => body.delete(each.name));
  return withWords(body, sent);
}

// What the form says beside words is offered no more once it has led to another page.
function doneWith(letDraftsGo) {
  letDraftsGo();
  forget([...form.elements].filter((each) => !each.dataset.words));
}

async function change(button, action, body, sent) {
  const asked = turn;
  const letDraftsGo = sending(form);
  // What is typed while the answer is on its way is not in it, and stays unsaved.
  const arrived = () => forget(sent.filter(({ key, text }) => fieldOf(key)?.value === text).map(({ key }) => key));
  try {
    const answer = await post(action, body);
    const found = new DOMParser().parseFromString(await answer.text(), "text/html");
    const isHere = found.getElementById("set")?.dataset.set === form.dataset.set;
    if (answer.ok) {
      arrived();
      sent.forEach(({ key }) => adrift.delete(key));
    }
    if (isHere) {
      if (answer.ok) moveTo(answer.url);
      put(found, button, answer.ok ? sent : [], asked);
    } else if (answer.ok) {
      if (action === form.action) doneWith(letDraftsGo);
      location.assign(answer.url);
    } else complain(found);
  } catch {
    hasFailed = true;
    sayAloud("Not done: the workbench does not answer. Your words are kept in the browser.");
    waiting = setTimeout(early, AGAIN);
  }
  landed(sent);
}

// What is refused is said where one is; the page and its words stay.
function complain(page) {
  const words = page.querySelector(".fault")?.textContent.trim().replace(/\s+/g, " ");
  sayAloud(words ?? "That did not work.");
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  const button = event.submitter ?? form.querySelector("button");
  if (button.value === "words") { write(); return; }
  inTurn(() => {
    const sent = unsaved();
    return change(button, form.action, saidBy(button, sent), sent);
  });
});
document.getElementById("did").addEventListener("submit", (event) => {
  event.preventDefault();
  const body = new FormData(event.target);
  inTurn(() => change(event.submitter, event.target.action, body, []));
});

// What is printed, packed or asked about the set is to have all words in it.
const hasWords = () => unsaved().length > 0 || flying.size > 0;
document.addEventListener("submit", async (event) => {
  if (!event.target.matches("form.print") || !hasWords()) return;
  event.preventDefault();
  await write();
  if (!hasFailed) event.target.requestSubmit(event.submitter);
});
document.addEventListener("click", async (event) => {
  const link = event.target.closest?.("a[href^='/set/']");
  const isPlain = !event.button && !event.ctrlKey && !event.metaKey && !event.shiftKey && !event.altKey;
  if (!link || !isPlain || !hasWords()) return;
  event.preventDefault();
  await write();
  if (!hasFailed) location.assign(link.href);
});
document.addEventListener("input", ({ target }) => {
  if (!target.dataset.words) return;
  say("");
  clearTimeout(waiting);
  waiting = setTimeout(early, PAUSE);
});
document.addEventListener("change", ({ target }) => { if (target.dataset.words) write(); });
onLeaving(leave);
// Only words that could not be written are worth a question.
addEventListener("beforeunload", (event) => { if (hasFailed && unsaved().length) event.preventDefault(); });
// What an earlier visit could not write is tried at once.
if (unsaved().some(not(isName))) early();
