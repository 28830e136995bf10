// What is typed into a form that changes something, and not sent yet, is written down by
// the workbench as one types: it is there again in another tab, and after the browser has
// crashed. Reload and back find it in the tab's own storage (keeps.js), and that goes first.

import { called, isKept, onceTaken, outlives, placeOf, usual } from "./keeps.js";

const PAUSE = 300;
const KINDS = ["text", "search", "number", "textarea", "select-one"];
const TAB = "melodex tab";
// What other tabs have typed and stands in a field here: as soon as one goes on with it
// here, it is no draft of theirs any more.
const adopted = new Map();
// By the place that a field is of, then by its name.
const changed = new Map();
let waiting = 0;

// Tabs overwrite nothing of one another.
const tab = () => {
  const known = sessionStorage.getItem(TAB) ?? crypto.randomUUID();
  try { sessionStorage.setItem(TAB, known); } catch { /* A full storage keeps nothing. */ }
  return known;
};

// Words of a set and its questions are written into the corpus itself.
const isDraft = (field) => KINDS.includes(field.type) && field.form?.method === "post"
  && !field.dataset.words && field.form.id !== "choice" && called(field);
const drafts = () => [...document.querySelectorAll("input, textarea, select")].filter(isDraft);

function post(what, texts, at) {
  const body = new FormData();
  Object.entries({ do: what, place: at, tab: tab() }).forEach(([name, text]) => body.set(name, text));
  texts.forEach(([name, text]) => body.set(`draft:${name}`, text));
  return fetch("/drafts", { method: "POST", body, keepalive: outlives(body), headers: { Accept: "application/json" } })
    .catch(() => { /* It is in the tab's own storage. */ });
}

function write() {
  clearTimeout(waiting);
  changed.forEach((texts, at) => { if (texts.size) post("write", [...texts], at); });
  changed.clear();
}

const draftsOf = (form) => [...form.elements].filter(isDraft).map((field) => ({ field, text: field.value }));

// What has been sent is no draft any more.
function taken(form, held = draftsOf(form)) {
  const texts = held.map(({ field, text }) => [called(field), text]);
  texts.forEach(([name]) => changed.get(placeOf(form))?.delete(name));
  return texts;
}

// To be called as a form is sent without leaving its page; what comes back is to be called
// once it is taken. What was typed meanwhile stays a draft.
export function sending(form) {
  const held = draftsOf(form);
  return () => {
    const texts = taken(form, held.filter(({ field, text }) => field.value === text));
    if (texts.length) post("sent", texts, placeOf(form));
  };
}

const textsIn = (form) => {
  const texts = taken(form);
  return texts.length ? { at: placeOf(form), texts } : {};
};
const arrived = onceTaken("melodex drafts sent", textsIn, ({ at, texts }) => post("sent", texts, at));

// An event would have it kept for this tab too, and offered here once it has been sent there.
async function putBack() {
  await arrived;
  const places = new Set(drafts().map((field) => placeOf(field.form)));
  await Promise.all([...places].map(async (place) => {
    try {
      const answer = await fetch(`/drafts?${new URLSearchParams({ place })}`, { headers: { Accept: "application/json" } });
      const { drafts: found = {} } = await answer.json();
      drafts().filter((field) => placeOf(field.form) === place).forEach((field) => {
        const texts = found[called(field)];
        if (!texts || isKept(field) || field.value !== usual(field)) return;
        // Words of several tabs stand one after another; a name or a number is the last one's.
        field.value = field.type === "textarea" ? texts.join("\n\n") : texts.at(-1);
        adopted.set(field, field.value);
      });
    } catch { /* The page goes on without. */ }
  }));
}

document.addEventListener("input", ({ target }) => {
  if (!isDraft(target)) return;
  const place = placeOf(target.form);
  if (adopted.has(target)) post("sent", [[called(target), adopted.get(target)]], place);
  adopted.delete(target);
  if (!changed.has(place)) changed.set(place, new Map());
  changed.get(place).set(called(target), target.value === usual(target) ? "" : target.value);
  clearTimeout(waiting);
  waiting = setTimeout(write, PAUSE);
});
addEventListener("pagehide", write);
document.addEventListener("visibilitychange", () => { if (document.hidden) write(); });
putBack();
