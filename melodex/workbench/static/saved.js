// What pages share that write words down as one types: the line that says whether all is
// written, and the moment at which a page is left.

import { told } from "./bench.js";

export const PAUSE = 1500;
export const AGAIN = 4000;
const line = document.getElementById("saved");

export function say(text) { if (line.textContent !== text) line.textContent = text; }
export function sayAloud(text) {
  say(text);
  told(text);
}

// Words that could not be written are tried again and again; why is told once.
export function sayUnwritten(error) {
  const words = `Not written yet: ${error.message}`;
  if (line.dataset.failed !== words) told(error.message);
  line.dataset.failed = words;
  say(words);
}

// A page that is hidden may never be shown again.
export function onLeaving(leave) {
  addEventListener("pagehide", leave);
  document.addEventListener("visibilitychange", () => { if (document.hidden) leave(); });
}
