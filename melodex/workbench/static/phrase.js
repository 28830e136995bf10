// The stave while one types, and what is found: the workbench reads, draws and searches,
// this page only shows.

import { restorePhrase } from "./keeps.js";
import { arrive, enliven, isStopped, latest, sentence, told } from "./bench.js";

const form = document.querySelector("form[data-phrase]");
const field = document.getElementById("phrase");
const stave = document.getElementById("stave");
const said = document.getElementById("phrase-said");
const faults = document.getElementById("phrase-fault");
const hear = document.getElementById("hear");
const reading = form.querySelector("input[name=as]");
const ask = latest();

export const phrase = {
  get text() { return field.value; },
  set text(value) { field.value = value; field.dispatchEvent(new Event("change", { bubbles: true })); },
};

function clear() {
  stave.replaceChildren();
  stave.dataset.empty = "";
  hear.replaceChildren();
  said.textContent = "";
}

// The place of the fault, underlined where it was typed.
const under = document.getElementById("under");
function underline(text, column) {
  const end = /\s|$/g;
  end.lastIndex = column;
  const until = Math.max(column + 1, end.exec(text)?.index ?? 0);
  const mark = document.createElement("mark");
  mark.textContent = text.slice(column, until) || "\u00a0";
  under.replaceChildren(text.slice(0, column), mark, text.slice(until));
  follow();
}
const follow = () => { under.style.transform = `translateX(${-field.scrollLeft}px)`; };
field.addEventListener("scroll", follow);

// A button that reads what is typed in another notation.
function readingButton(name, words) {
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = words;
  button.addEventListener("click", () => {
    reading.value = name;
    draw();
    field.focus();
  });
  return button;
}

function complain(text, fault) {
  const box = document.createElement("div");
  box.className = "fault small";
  const words = document.createElement("p");
  words.textContent = [fault.what, sentence(fault.advice)].filter(Boolean).join(" ");
  under.replaceChildren();
  if (Number.isInteger(fault.column)) underline(text, fault.column);
  box.append(words);
  (fault.readings ?? []).forEach(([name, notes]) => box.append(readingButton(name, `Read it as ${name}: ${notes}`)));
  faults.replaceChildren(box);
  delete faults.dataset.of;
  field.setAttribute("aria-invalid", "true");
  said.textContent = "";
}

function show(found) {
  // A search may have been answered first: what it found wrong holds for what was asked.
  if (faults.dataset.of !== field.value) {
    faults.replaceChildren();
    field.removeAttribute("aria-invalid");
  }
  said.textContent = found.said;
  (found.others ?? []).forEach(([name, words]) => said.append(" ", readingButton(name, `Read it as ${words}`)));
  stave.innerHTML = found.svg;
  // The note that was put there last is what one wants to see.
  stave.scrollLeft = stave.scrollWidth;
  if (found.svg) delete stave.dataset.empty;
  else stave.dataset.empty = "";
  hear.innerHTML = found.player;
  window.melodexSound.adopt(hear);
  stave.dispatchEvent(new CustomEvent("drawn"));
}

// Ask for the stave of what is typed, with notes that were played put behind it.
export async function draw(played = []) {
  const text = field.value;
  if (!text.trim() && !played.length) {
    clear();
    faults.replaceChildren();
    under.replaceChildren();
    field.removeAttribute("aria-invalid");
    return;
  }
  const asked = new URLSearchParams({ phrase: text, as: reading.value });
  if (played.length) {
    asked.set("played", played.join(" "));
    asked.set("tonic", document.querySelector("[data-tonic]").value);
    asked.set("mode", document.querySelector("[data-mode]").value);
    asked.delete("as");
  }
  try {
    const found = await ask(`/find/stave?${asked}`);
    if (found.fault) complain(text, found.fault);
    else {
      if (played.length) { phrase.text = found.text; reading.value = ""; }
      show(found);
    }
    return found;
  } catch (error) {
    if (!isStopped(error)) {
      said.textContent = error.message;
      told(error.message);
    }
    return undefined;
  }
}

field.addEventListener("input", () => {
  reading.value = "";
  under.replaceChildren();
  draw();
});

// Results come into this page: it is there already, and only they are new.

const found = document.getElementById("found");
const NEW = ["phrase-fault", "found"];
const PARTS = ["stave", "hear", ...NEW];
let shown = location.pathname + location.search;
let searching = null;

// A tune and a phrase at once would be two questions; what says nothing is not asked.
const isAsked = (part, other) => part.name && part.value && !other.includes(part.name)
  && (part.type !== "checkbox" || part.checked);
const FROM_TUNE = ["tune", "bars", "notes", "self"];

function put(answer, parts) {
  parts.forEach((id) => {
    const now = document.getElementById(id);
    const next = answer.getElementById(id);
    now.replaceChildren(...next.childNodes);
    now.toggleAttribute("data-empty", next.hasAttribute("data-empty"));
  });
  faults.dataset.of = field.value;
  window.melodexSound.stop();
  if (parts.includes("hear")) window.melodexSound.adopt(hear);
  window.melodexSound.adopt(found);
  enliven(found);
  const head = document.getElementById("results-head");
  told(head ? head.textContent : faults.textContent.trim());
  arrive();
  found.dispatchEvent(new CustomEvent("found"));
}

async function search(address) {
  searching?.abort();
  searching = new AbortController();
  history.pushState(null, "", address);
  shown = address;
  found.setAttribute("aria-busy", "true");
  // What is typed has been drawn, or is being drawn.
  const isDrawn = Boolean(field.value.trim());
  try {
    const answer = await fetch(isDrawn ? `${address}&drawn=yes` : address, { headers: { Accept: "text/html" }, signal: searching.signal });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (PARTS.every((id) => page.getElementById(id))) put(page, isDrawn ? NEW : PARTS);
    else location.reload();
  } catch (error) {
    if (isStopped(error)) return;
    said.textContent = "The workbench does not answer. Is melodex still running?";
    told(said.textContent);
  }
  found.removeAttribute("aria-busy");
}

form.addEventListener("submit", (event) => {
  const parts = [...form.elements];
  if (event.submitter?.matches("[data-open]")) {
    parts.forEach((part) => { part.disabled = !isAsked(part, ["phrase", "as"]); });
    return;
  }
  event.preventDefault();
  const other = field.value.trim() ? FROM_TUNE : [];
  const asked = parts.filter((part) => isAsked(part, other)).map((part) => [part.name, part.value]);
  search(`/find?${new URLSearchParams(asked)}`);
});
addEventListener("popstate", () => {
  // A place on the same page leaves everything as it is.
  if (location.pathname + location.search !== shown) location.reload();
});
restorePhrase(field);
addEventListener("pageshow", () => {
  [...form.elements].forEach((part) => { part.disabled = false; });
  if (field.value.trim() && !stave.children.length) draw();
});
