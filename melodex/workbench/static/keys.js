// A keyboard on the screen: mouse, touch, computer keys, and a MIDI keyboard.
// It knows pitches; what they are called, the workbench says.

import { told } from "./bench.js";
import { draw, phrase } from "./phrase.js";

const home = document.querySelector("[data-keys]");
const BLACK = new Set([1, 3, 6, 8, 10]);
const NAMES = ["C", "C sharp", "D", "E flat", "E", "F", "F sharp", "G", "A flat", "A", "B flat", "B"];
// The rows of a computer keyboard by place, whatever is printed on the keys: white keys
// on the middle row, black ones above the gap that they fill.
const ROW = ["KeyA", "KeyW", "KeyS", "KeyE", "KeyD", "KeyF", "KeyT", "KeyG", "KeyY", "KeyH", "KeyU", "KeyJ", "KeyK", "KeyO", "KeyL", "KeyP", "Semicolon"];
const PRINTED = "AWSEDFTGYHUJKOLP;";
const KEY_COUNT = 25;
const TAP_PIXELS = 10;

let touched = null;

let lowest = 60;
// What stands on those keys here; the letters above are those of an English keyboard.
let letters = [...PRINTED];
let context = null;
let waiting = [];
let busy = false;

function sound(midi) {
  context ??= new AudioContext();
  context.resume();
  window.melodexSound.schedule(context, [[0, 0, midi, 0, 0.45]], context.currentTime + 0.005);
}

// Notes are sent one after another, so that none overtakes another.
async function pass() {
  if (busy) return;
  busy = true;
  while (waiting.length) {
    const notes = waiting;
    waiting = [];
    await draw(notes);
  }
  busy = false;
}

export function play(midi) {
  if (midi < 0 || midi > 127) return;
  // The note is written down first: a machine that gives no sound must not lose it.
  waiting.push(midi);
  pass();
  const key = home.querySelector(`[data-midi="${midi}"]`);
  if (key) {
    key.classList.add("down");
    setTimeout(() => key.classList.remove("down"), 160);
  }
  sound(midi);
}

const spoken = (midi) => `${NAMES[midi % 12]}, octave ${Math.floor(midi / 12) - 1}`;

function mark(kind, text) {
  const made = document.createElement("span");
  made.className = kind;
  made.textContent = text;
  return made;
}

function board() {
  const keys = document.createElement("div");
  keys.className = "keyboard";
  keys.setAttribute("role", "group");
  keys.setAttribute("aria-label", "Keyboard. Arrows move, Enter plays; letter keys of the middle row play too.");
  for (let place = 0; place < KEY_COUNT; place += 1) {
    const midi = lowest + place;
    const key = document.createElement("button");
    key.type = "button";
    key.dataset.midi = midi;
    key.className = BLACK.has(midi % 12) ? "black" : "white";
    key.tabIndex = place === 0 ? 0 : -1;
    key.setAttribute("aria-label", spoken(midi));
    key.append(mark("letter", letters[place] ?? ""), mark("name", midi % 12 === 0 ? `C${midi / 12 - 1}` : ""));
    keys.append(key);
  }
  keys.addEventListener("pointerdown", (event) => {
    const key = event.target.closest("[data-midi]");
    if (!key || event.button) return;
    // A finger may be about to push the keyboard aside: it plays when it is lifted.
    if (event.pointerType === "touch") {
      touched = { id: event.pointerId, key, x: event.clientX, y: event.clientY };
      return;
    }
    // The focus goes to the key, so that letter keys play from here on.
    event.preventDefault();
    rove(keys, key);
    play(Number(key.dataset.midi));
  });
  keys.addEventListener("pointerup", (event) => {
    const from = touched;
    touched = null;
    if (from?.id !== event.pointerId) return;
    if (Math.hypot(event.clientX - from.x, event.clientY - from.y) > TAP_PIXELS) return;
    rove(keys, from.key);
    play(Number(from.key.dataset.midi));
  });
  keys.addEventListener("pointercancel", () => { touched = null; });
  keys.addEventListener("click", (event) => {
    // A click without a pointer: Enter, space, or a screen reader.
    const key = event.target.closest("[data-midi]");
    if (key && event.detail === 0) play(Number(key.dataset.midi));
  });
  keys.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const at = event.target.closest("[data-midi]");
    const all = [...keys.children];
    const go = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    if (go && at) {
      event.preventDefault();
      rove(keys, all[Math.min(all.length - 1, Math.max(0, all.indexOf(at) + go))]);
      return;
    }
    if (event.key === "Backspace") { event.preventDefault(); takeBack(); return; }
    const place = ROW.indexOf(event.code);
    if (place < 0 || event.repeat) return;
    event.preventDefault();
    play(lowest + place);
  });
  return keys;
}

function rove(keys, key) {
  [...keys.children].forEach((each) => { each.tabIndex = each === key ? 0 : -1; });
  key.focus();
}

function takeBack() {
  const words = phrase.text.trimEnd().split(/\s+/);
  words.pop();
  phrase.text = words.length === 1 && words[0].startsWith("K:") ? "" : words.join(" ");
  draw();
  told("The last note is taken back.");
}

function button(words, action) {
  const made = document.createElement("button");
  made.type = "button";
  made.textContent = words;
  made.addEventListener("click", action);
  return made;
}

// Clearing takes nothing for good: the same button brings it back.
function clearing() {
  let before = "";
  const made = button("Clear", () => {
    const isBack = before && !phrase.text;
    [before, phrase.text] = isBack ? ["", before] : [phrase.text, ""];
    made.textContent = before ? "Bring it back" : "Clear";
    draw();
  });
  document.getElementById("phrase").addEventListener("input", () => { before = ""; made.textContent = "Clear"; });
  return made;
}

// Taps become lengths: beside the middle one of their distances, each is what it is
// nearest to on a scale of ratios.
const LENGTHS = [[0.25, "s"], [0.5, "e"], [0.75, "e."], [1, "q"], [1.5, "q."], [2, "h"], [3, "h."], [4, "w"]];
const REST_MS = 1800;
function rhythmOf(times) {
  const gaps = times.slice(1).map((time, place) => time - times[place]);
  const middle = [...gaps].sort((one, other) => one - other)[Math.floor(gaps.length / 2)];
  const named = (gap) => LENGTHS.reduce((best, each) => (
    Math.abs(Math.log(gap / middle / each[0])) < Math.abs(Math.log(gap / middle / best[0])) ? each : best))[1];
  return [...gaps.map(named), "q"].join(" ");
}
function tapping() {
  let times = [];
  let waiting = 0;
  const made = button("Tap its rhythm here", (event) => {
    // A tap that comes after a while begins anew.
    times.push(event.timeStamp);
    made.textContent = `${times.length} taps`;
    clearTimeout(waiting);
    waiting = setTimeout(() => { times = []; made.textContent = "Tap its rhythm here"; }, REST_MS);
    if (times.length < 3) return;
    phrase.text = rhythmOf(times);
    draw();
  });
  made.className = "tapping";
  return made;
}

function build() {
  let keys = board();
  const shifted = (octaves) => {
    lowest = Math.min(96, Math.max(24, lowest + 12 * octaves));
    const fresh = board();
    keys.replaceWith(fresh);
    keys = fresh;
    told(`The keyboard begins at ${spoken(lowest)}.`);
  };
  const octaves = document.createElement("div");
  octaves.className = "octaves";
  octaves.append(button("Octave lower", () => shifted(-1)), button("Octave higher", () => shifted(1)));
  home.querySelector(".keys-row").append(octaves);
  const buttons = document.createElement("div");
  buttons.className = "buttons";
  buttons.append(
    button("Take back the last", takeBack),
    tapping(),
    clearing(),
  );
  if (navigator.requestMIDIAccess) buttons.append(button("Listen to a MIDI keyboard", listen));
  const hint = document.createElement("p");
  hint.className = "hint";
  hint.textContent = "Once a key of it has been played, the letters on the keys play as well; Backspace takes the last note back.";
  home.querySelector(".needs-script")?.remove();
  home.append(keys, buttons, hint);
  // Where the browser knows what is printed on the keys, it is said.
  navigator.keyboard?.getLayoutMap?.().then((map) => {
    letters = ROW.map((code, place) => (map.get(code) ?? PRINTED[place]).toUpperCase());
    keys.querySelectorAll(".letter").forEach((each, place) => { each.textContent = letters[place] ?? ""; });
  }).catch(() => {});
}

async function listen(event) {
  const asked = event.target;
  try {
    const access = await navigator.requestMIDIAccess();
    const open = () => {
      const inputs = [...access.inputs.values()];
      inputs.forEach((input) => { input.onmidimessage = heard; });
      const names = inputs.map((input) => input.name).join(", ");
      asked.textContent = names ? `Listening to ${names}` : "No MIDI keyboard is there yet";
      told(asked.textContent);
    };
    access.onstatechange = open;
    open();
  } catch {
    asked.textContent = "The browser does not give access to MIDI";
    told(asked.textContent);
  }
}

// MIDI 1.0: 0x9n is note on; with velocity 0 it is a note off.
function heard({ data: [status, midi, velocity] }) {
  if ((status & 0xf0) === 0x90 && velocity > 0) play(midi);
}

if (home) build();
