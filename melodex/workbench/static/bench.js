// What every page needs: telling what changed, fetching parts, choosing tunes.
// Without this file each page can still be read, and each form sent.

import { sending } from "./drafts.js";
import { restore } from "./keeps.js";

export const told = (text) => {
  const place = document.getElementById("told");
  place.textContent = "";
  place.classList.remove("fresh");
  // A screen reader speaks only what changes; an eye has seen it after some seconds.
  requestAnimationFrame(() => {
    place.textContent = text;
    // What stands beside its Undo is seen there.
    place.classList.toggle("twice", document.querySelector("#did span")?.textContent === text);
    place.classList.add("fresh");
  });
};

// What is advised, as a sentence.
export const sentence = (text) => text && `${text[0].toUpperCase()}${text.slice(1)}${/[.?!]$/.test(text) ? "" : "."}`;

export class Fault extends Error {
  constructor({ what, where, advice }) {
    super([what, where, sentence(advice)].filter(Boolean).join(" "));
  }
}

// Data from an address of ours; an answer that says what is wrong becomes a Fault.
export async function data(address, options = {}) {
  const headers = { Accept: "application/json", ...options.headers };
  let answer;
  try {
    answer = await fetch(address, { credentials: "same-origin", ...options, headers });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Fault({ what: "The workbench does not answer. Is melodex still running?" });
  }
  const found = await answer.json();
  if (found.fault && !answer.ok) throw new Fault(found.fault);
  return found;
}

// Each new question stops the one before, here and in the workbench.
export function latest() {
  let running = null;
  return async (address) => {
    running?.abort();
    running = new AbortController();
    return data(address, { signal: running.signal });
  };
}

export const isStopped = (error) => error.name === "AbortError";

// Parts of a page that are fetched when they are opened.
function openParts(scope) {
  scope.querySelectorAll("details[data-part]").forEach((fold) => {
    fold.addEventListener("toggle", async () => {
      const address = fold.dataset.part;
      if (!fold.open || !address) return;
      delete fold.dataset.part;
      const part = fold.querySelector(".part");
      part.setAttribute("aria-busy", "true");
      try {
        const found = await data(address);
        part.innerHTML = found.html;
        window.melodexSound.adopt(part);
        restore(part);
        told(fold.dataset.told ?? "The notes are there.");
      } catch (error) {
        fold.dataset.part = address;
        told(error.message);
      }
      part.removeAttribute("aria-busy");
    });
  });
}

// Names of tunes, while one types a part of a title.
function findTunes() {
  const list = document.getElementById("tunes-found");
  const ask = latest();
  document.querySelectorAll("input[data-tunes]").forEach((field) => {
    field.addEventListener("input", async () => {
      const text = field.value.trim();
      if (text.length < 2) return;
      try {
        const { tunes } = await ask(`/tunes?title=${encodeURIComponent(text)}`);
        const titles = new Map();
        tunes.forEach(([, title]) => titles.set(title, (titles.get(title) || 0) + 1));
        list.replaceChildren(...tunes.slice(0, 20).map(([id, title, composer]) => {
          const option = document.createElement("option");
          // A title that several tunes have would not say which one is meant.
          option.value = titles.get(title) > 1 ? id : title;
          option.label = composer ? `${title}, ${composer}` : title;
          return option;
        }));
      } catch (error) {
        if (!isStopped(error)) told(error.message);
      }
    });
  });
}

// What was done here can be undone here, without leaving the page.
function offerUndo({ deed, said }, undone) {
  const form = document.createElement("form");
  form.className = "did";
  form.setAttribute("role", "status");
  const words = document.createElement("span");
  words.textContent = said;
  form.append(words);
  document.getElementById("did").replaceChildren(form);
  if (!deed) return null;
  const button = document.createElement("button");
  button.textContent = "Undo";
  form.append(" ", button);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const body = new FormData();
    body.set("deed", deed);
    // Who undoes by keys finds the next button where this one was.
    const isAtHand = document.activeElement === button;
    let next = button;
    button.disabled = true;
    try {
      const found = await data("/undo", { method: "POST", body });
      next = offerUndo(found, undone);
      undone(found.said);
      told(found.said);
    } catch (error) {
      button.disabled = false;
      told(error.message);
    }
    if (isAtHand) next?.focus({ preventScroll: true });
  });
  return button;
}

// Keeping into a set without leaving the page.
function keepHere(scope) {
  scope.querySelectorAll("form[data-keep]").forEach((form) => {
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const button = form.querySelector("button");
      button.disabled = true;
      let line = form.querySelector(".kept");
      if (!line) {
        line = document.createElement("p");
        line.className = "kept";
        form.append(line);
      }
      const letDraftsGo = sending(form);
      try {
        const found = await data("/keep", { method: "POST", body: new FormData(form) });
        const link = document.createElement("a");
        link.href = found.address;
        link.textContent = "Open the set";
        line.replaceChildren(`${found.said} `, link);
        line.classList.remove("bad");
        letDraftsGo();
        told(found.said);
        if (found.deed) offerUndo(found, (said) => line.replaceChildren(said));
      } catch (error) {
        line.textContent = error.message;
        line.classList.add("bad");
        told(error.message);
      }
      button.disabled = false;
    });
  });
}

// Two ticked passages, side by side.
function layTwo(scope) {
  const button = scope.querySelector("[data-two]");
  if (!button) return;
  const ticked = () => [...scope.querySelectorAll("input[name=chosen]:checked")];
  const look = () => { button.disabled = ticked().length !== 2; };
  button.closest("section").addEventListener("change", look);
  look();
  button.addEventListener("click", () => {
    const [a, b] = ticked();
    const said = new URLSearchParams({
      a: a.dataset.tune, "a-bars": a.dataset.bars, b: b.dataset.tune, "b-bars": b.dataset.bars,
    });
    location.assign(`/beside?${said}`);
  });
}

// Ticks: all, none, arrows from one to the next, and Enter from each to keeping.
function tickMany(scope) {
  scope.querySelectorAll("[data-tick]").forEach((button) => {
    button.addEventListener("click", () => {
      const all = [...button.closest("section").querySelectorAll("input[name=chosen]")];
      all.forEach((tick) => {
        if (tick.checked === (button.dataset.tick === "all")) return;
        tick.checked = !tick.checked;
        tick.dispatchEvent(new Event("change", { bubbles: true }));
      });
      told(button.dataset.tick === "all" ? `All ${all.length} are ticked.` : "None is ticked.");
    });
  });
  scope.querySelectorAll("[data-ticks]").forEach((list) => {
    list.addEventListener("keydown", (event) => {
      const isTick = event.target.matches("input[name=chosen]");
      if (isTick && event.key === "Enter") {
        event.preventDefault();
        event.target.form?.elements.into.focus();
        return;
      }
      const by = { ArrowDown: 1, ArrowUp: -1 }[event.key];
      const all = [...list.querySelectorAll("input[name=chosen]")];
      const next = all[all.indexOf(event.target) + by];
      if (!by || !isTick || !next) return;
      event.preventDefault();
      next.focus();
    });
  });
}

// Small staves of a list, drawn as they come into view, a few at a time.
const STAVES_AT_ONCE = 2;
const waitingStaves = [];
let staves = 0;
const GAP_PIXELS = 2;
// Half a system tells nothing: where there is a second, the first stands alone.
function showFirstSystem(place) {
  const next = place.querySelectorAll("svg .system")[1];
  if (!next) return;
  const height = next.getBoundingClientRect().top - place.getBoundingClientRect().top;
  if (height > 0 && height < place.clientHeight) place.style.height = `${Math.floor(height) - GAP_PIXELS}px`;
}
async function drawStaves() {
  while (staves < STAVES_AT_ONCE && waitingStaves.length) {
    const place = waitingStaves.shift();
    if (!place.isConnected) continue;
    staves += 1;
    data(place.dataset.stave).then(({ svg }) => {
      place.innerHTML = svg;
      showFirstSystem(place);
      place.dispatchEvent(new CustomEvent("drawn", { bubbles: true }));
    }).catch(() => place.remove()).finally(() => { staves -= 1; drawStaves(); });
  }
}
const sight = new IntersectionObserver((seen) => {
  seen.filter((each) => each.isIntersecting).forEach(({ target }) => {
    sight.unobserve(target);
    waitingStaves.push(target);
  });
  drawStaves();
}, { rootMargin: "200px 0px" });
const watchStaves = (scope) => scope.querySelectorAll("[data-stave]:empty").forEach((place) => sight.observe(place));

// What takes long says so, and can be stopped.
function sayWhatIsSlow() {
  document.querySelectorAll("form[data-slow]").forEach((form) => {
    form.addEventListener("submit", () => {
      const line = document.createElement("p");
      line.className = "slow";
      const stop = document.createElement("button");
      stop.type = "button";
      stop.textContent = "Stop";
      stop.addEventListener("click", () => {
        window.stop();
        line.remove();
        told("Stopped.");
      });
      line.append(`${form.dataset.slow} … `, stop);
      form.append(line);
      told(form.dataset.slow);
    });
  });
}

// How many tunes would remain, while one chooses.
function countLeft() {
  const form = document.querySelector("form[data-gather]");
  if (!form) return;
  const ask = latest();
  const line = document.getElementById("left");
  const many = (n) => `${n.toLocaleString("en")} tune${n === 1 ? "" : "s"}`;
  async function look() {
    const said = new URLSearchParams([...new FormData(form)].filter(([, value]) => value));
    try {
      const found = await ask(`/gather/left?${said}`);
      Object.entries(found.options).forEach(([feature, counts]) => {
        const select = form.querySelector(`select[name=${feature}]`);
        const place = form.querySelector(`[data-count=${feature}]`);
        if (place) place.textContent = `(${(counts[0]?.[1] ?? 0).toLocaleString("en")})`;
        if (select) offer(select, counts);
      });
      line.textContent = `${many(found.tunes)} of ${found.of.toLocaleString("en")} ${found.tunes === 1 ? "is" : "are"} left.`;
      line.classList.remove("bad");
    } catch (error) {
      if (isStopped(error)) return;
      line.textContent = error.message;
      line.classList.add("bad");
    }
  }
  function offer(select, counts) {
    const chosen = select.value;
    const any = select.options[0];
    const options = counts.map(([value, tunes]) => {
      const option = new Option(`${value} (${tunes.toLocaleString("en")})`, value);
      option.selected = value === chosen;
      return option;
    });
    if (chosen && !counts.some(([value]) => value === chosen)) {
      options.push(new Option(`${chosen} (0)`, chosen, true, true));
    }
    select.replaceChildren(any, ...options);
  }
  let waiting = 0;
  form.addEventListener("input", (event) => {
    clearTimeout(waiting);
    waiting = setTimeout(look, event.target.matches("select, [type=checkbox]") ? 0 : 300);
  });
}

// How wide the page is, so that music is drawn to fit it the next time.
function tellWidth() {
  const wide = 1060;
  const fits = (width) => Math.min(wide, width || wide);
  let waiting = 0;
  const tell = () => {
    const width = document.documentElement.clientWidth;
    document.cookie = `melodex-width=${width}; path=/; SameSite=Strict`;
    return width;
  };
  // Music that was drawn for another width is drawn anew; what was typed is kept.
  const fit = () => {
    const { width, room } = document.body.dataset;
    const mark = `${location.href} ${tell()}`;
    const isMusic = document.querySelector("main svg.music, [data-stave]");
    const isPlaying = window.melodexSound.state() === "running";
    if (!room || !isMusic || isPlaying || sessionStorage.getItem("melodex fitted") === mark) return;
    if (Math.abs(fits(Number(width)) - fits(document.documentElement.clientWidth)) < 24) return;
    sessionStorage.setItem("melodex fitted", mark);
    location.reload();
  };
  addEventListener("resize", () => {
    tell();
    clearTimeout(waiting);
    waiting = setTimeout(fit, 400);
  });
  fit();
}

// Where one arrives: the result, not the top of the page again.
export function arrive() {
  const place = document.querySelector("[data-arrived]");
  if (!place) return;
  place.focus({ preventScroll: true });
  if (place.getBoundingClientRect().top > innerHeight * 0.6) place.scrollIntoView({ block: "start" });
}

// What was done can be undone where it is said, for a while; then in the list of all.
const SHOWN_SECONDS = 60;
function letGo() {
  const home = document.getElementById("did");
  let waiting = 0;
  const watch = () => {
    clearTimeout(waiting);
    const bar = home.firstElementChild;
    if (!bar) return;
    waiting = setTimeout(() => {
      if (bar.matches(":hover, :focus-within")) watch();
      else bar.remove();
    }, SHOWN_SECONDS * 1000);
  };
  new MutationObserver(watch).observe(home, { childList: true });
  watch();
}

// How many letters a field would have with what is about to be put into it.
function lettersWith({ value, selectionStart, selectionEnd }, text) {
  // A new line comes without a text, and counts once however it is written.
  const put = text?.replace(/\r\n?/g, "\n").length ?? 1;
  return value.length - (selectionEnd - selectionStart) + put;
}

// A field that has room for so many letters would cut what is put into it, in silence.
function refuseToCut() {
  document.addEventListener("beforeinput", (event) => {
    const { target: field, data: text, inputType } = event;
    const labelled = field.closest("label") ?? field;
    labelled.parentElement.querySelectorAll(":scope > .cut").forEach((line) => line.remove());
    if (!(field.maxLength > 0) || !inputType?.startsWith("insert") || !event.cancelable) return;
    const count = lettersWith(field, text);
    if (count <= field.maxLength) return;
    event.preventDefault();
    const line = document.createElement("p");
    line.className = "cut bad";
    const [would, most] = [count, field.maxLength].map((n) => n.toLocaleString("en"));
    line.textContent = `Nothing was put in: these would be ${would} letters, and ${most} can be kept here.`;
    labelled.after(line);
    told(line.textContent);
  });
}

// Put life into a page, or into a part of it that has come later.
export function enliven(scope) {
  openParts(scope);
  keepHere(scope);
  layTwo(scope);
  tickMany(scope);
  watchStaves(scope);
  restore(scope);
}

document.documentElement.classList.add("has-script");
tellWidth();
enliven(document);
findTunes();
sayWhatIsSlow();
countLeft();
letGo();
refuseToCut();
if (!location.hash && performance.getEntriesByType("navigation")[0]?.type === "navigate") arrive();
