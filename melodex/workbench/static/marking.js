// A passage of a set sung back: recorded or chosen, sent to the workbench, and marked.

import { data, told } from "./bench.js";
import { recordsWith } from "./microphone.js";

function ready(form) {
  const said = form.querySelector("[data-said]");
  const marked = form.querySelector("[data-marked]");
  const file = form.querySelector("input[type=file]");

  function say(words) {
    said.textContent = words;
    told(words);
  }

  async function send(blob, name) {
    say("Listening to it.");
    const body = new FormData(form);
    body.set("sound", blob, name);
    try {
      const found = await data(form.action, { method: "POST", body });
      marked.innerHTML = found.html;
      said.textContent = "";
      told(found.said);
    } catch (error) {
      say(error.message);
    }
  }

  recordsWith(form, { say, found: (blob) => send(blob, "what was sung.wav") });
  file.addEventListener("change", () => { if (file.files.length) send(file.files[0], file.files[0].name); });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    if (file.files.length) send(file.files[0], file.files[0].name);
    else say("Record it, or choose a recording.");
  });
}

// The set is drawn anew as it changes: a form is made ready when it is first opened.
const isReady = new WeakSet();
addEventListener("toggle", (event) => {
  const form = event.target.querySelector?.(":scope > [data-sing-back]");
  if (!form || isReady.has(form)) return;
  isReady.add(form);
  ready(form);
}, { capture: true });
