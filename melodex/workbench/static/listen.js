// Sing it, whistle it, play it: what the microphone or a file holds becomes notes that can
// be mended, and then a phrase like any other. The sound goes to the workbench on this
// machine, which keeps nothing of it, and is gone with the page.

import { data, told } from "./bench.js";
import { draw, phrase } from "./phrase.js";

const home = document.querySelector("[data-listen]");
const start = home.querySelector("[data-start]");
const file = home.querySelector("input[type=file]");
const meter = home.querySelector("meter");
const said = home.querySelector("[data-said]");
const roll = home.querySelector("[data-roll]");
const hints = home.querySelector("[data-mend]");
const hear = home.querySelector("[data-again]");

const RATE = 16000;
const MOST_SECONDS = 60;
const STOP_AFTER_QUIET = 2;
const LETTERS = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"];
const SVG = "http://www.w3.org/2000/svg";
const ROW = 14;
const SECOND = 110;

let running = null;
let notes = [];
let inRhythm = false;
let chosen = 0;
let sound = null;
let player = null;

const nameOf = (midi) => `${LETTERS[midi % 12]}${Math.floor(midi / 12) - 1}`;

function say(words) {
  said.textContent = words;
  told(words);
}

// A WAV file of 16 bits, as the workbench reads it.
function wav(samples, rate) {
  const view = new DataView(new ArrayBuffer(44 + 2 * samples.length));
  const text = (at, word) => [...word].forEach((letter, i) => view.setUint8(at + i, letter.charCodeAt(0)));
  text(0, "RIFF"); view.setUint32(4, 36 + 2 * samples.length, true); text(8, "WAVEfmt ");
  view.setUint32(16, 16, true); view.setUint16(20, 1, true); view.setUint16(22, 1, true);
  view.setUint32(24, rate, true); view.setUint32(28, 2 * rate, true);
  view.setUint16(32, 2, true); view.setUint16(34, 16, true);
  text(36, "data"); view.setUint32(40, 2 * samples.length, true);
  samples.forEach((value, i) => view.setInt16(44 + 2 * i, Math.max(-1, Math.min(1, value)) * 32767, true));
  return new Blob([view], { type: "audio/wav" });
}

// The pitch of a block, roughly: where it is most like itself a little later.
function roughPitch(block, rate) {
  const size = 800;
  let best = 0;
  let lag = 0;
  for (let shift = Math.floor(rate / 1200); shift <= Math.floor(rate / 70); shift += 1) {
    let product = 0;
    let power = 1e-9;
    for (let i = 0; i < size; i += 2) {
      product += block[i] * block[i + shift];
      power += (block[i] ** 2 + block[i + shift] ** 2) / 2;
    }
    if (product / power > best + 0.03) { best = product / power; lag = shift; }
  }
  return best > 0.8 ? Math.round(69 + 12 * Math.log2(rate / lag / 440)) : null;
}

// Recording

function stop() {
  const { stream, context, blocks, rate } = running;
  running = null;
  stream.getTracks().forEach((track) => track.stop());
  context.close();
  start.textContent = "Record";
  start.setAttribute("aria-pressed", "false");
  meter.value = 0;
  const samples = new Float32Array(blocks.length * 1600);
  blocks.forEach((block, i) => samples.set(block, i * 1600));
  send(wav(samples, rate), "what you sang");
}

function take(block) {
  if (!running) return;
  const { blocks, rate } = running;
  // The first block has come: from now on nothing is lost.
  if (!blocks.length) say("Sing, whistle or play now. It stops by itself when you are quiet.");
  blocks.push(block);
  // Around the mean: some microphones never come to rest at nothing.
  const mean = block.reduce((sum, value) => sum + value, 0) / block.length;
  const level = Math.sqrt(block.reduce((sum, value) => sum + (value - mean) ** 2, 0) / block.length);
  meter.value = Math.max(0, 60 + 20 * Math.log10(level + 1e-6));
  running.loudest = Math.max(running.loudest, level);
  if (blocks.length > 2) running.softest = Math.min(running.softest, level);
  const loud = level > Math.max(0.003, running.loudest / 20, Math.min(1.8 * running.softest, running.loudest / 2));
  if (loud) { running.begun = true; running.quiet = 0; }
  else running.quiet += block.length / rate;
  const pitch = loud ? roughPitch(block, rate) : null;
  home.querySelector("[data-pitch]").textContent = pitch === null ? "" : nameOf(pitch);
  const seconds = blocks.length * block.length / rate;
  if ((running.begun && running.quiet > STOP_AFTER_QUIET) || seconds > MOST_SECONDS - 0.5) stop();
}

const REASONS = {
  NotAllowedError: "The browser does not let this page hear the microphone. Allow it in the address bar, or choose a recording below.",
  NotFoundError: "There is no microphone. Connect one, or choose a recording below.",
  NotReadableError: "Another program holds the microphone. Close it, or choose a recording below.",
};

async function record() {
  if (running) { stop(); return; }
  start.disabled = true;
  try {
    if (!navigator.mediaDevices) throw new DOMException("", "NotFoundError");
    const plain = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
    const stream = await navigator.mediaDevices.getUserMedia({ audio: plain });
    const context = new AudioContext({ sampleRate: RATE });
    await context.audioWorklet.addModule(new URL("./recorder.js", import.meta.url));
    const worker = new AudioWorkletNode(context, "melodex-recorder", { numberOfOutputs: 0 });
    worker.port.onmessage = ({ data: block }) => take(block);
    running = { stream, context, rate: context.sampleRate, blocks: [], quiet: 0, loudest: 0, softest: 1, begun: false };
    context.createMediaStreamSource(stream).connect(worker);
    start.textContent = "Stop";
    start.setAttribute("aria-pressed", "true");
    say("Wait a moment.");
  } catch (error) {
    say(REASONS[error.name] ?? "The microphone cannot be used; choose a recording below.");
  }
  start.disabled = false;
}

// What was heard

async function send(blob, name) {
  say("Listening to it.");
  const body = new FormData();
  body.append("sound", blob, `${name}.wav`);
  try {
    const heard = await data("/hear", { method: "POST", body });
    notes = heard.notes;
    inRhythm = heard.in_rhythm;
    chosen = 0;
    if (sound) URL.revokeObjectURL(sound);
    sound = URL.createObjectURL(blob);
    hear.hidden = false;
    mended();
    say([`${notes.length} notes were heard, ${heard.tuning}.`, ...heard.remarks].join(" "));
  } catch (error) {
    say(error.message);
  }
}

// The nearest length that can be written: plain or dotted.
const VALUES = [0.0625, 0.125, 0.1875, 0.25, 0.375, 0.5, 0.75, 1, 1.5, 2, 3, 4, 6, 8];
const beats = ({ beats: length }) => VALUES.reduce((best, value) => (
  Math.abs(Math.log(value / length)) < Math.abs(Math.log(best / length)) ? value : best));
const word = (note) => (inRhythm ? `${note.name}*${beats(note)}` : note.name);

function mended(focus = false) {
  phrase.text = notes.map(word).join(" ");
  draw();
  show();
  if (focus) roll.querySelectorAll("[data-note]")[chosen]?.focus();
}

function mark(kind, attributes) {
  const made = document.createElementNS(SVG, kind);
  Object.entries(attributes).forEach(([name, value]) => made.setAttribute(name, value));
  return made;
}

function show() {
  roll.replaceChildren();
  hints.hidden = !notes.length;
  if (!notes.length) return;
  const first = notes[0].onset;
  const highest = Math.max(...notes.map((note) => note.midi)) + 3;
  const lowest = Math.min(...notes.map((note) => note.midi)) - 3;
  const last = notes[notes.length - 1];
  const width = (last.onset + last.seconds - first) * SECOND + 20;
  const height = (highest - lowest + 1) * ROW;
  const picture = mark("svg", { width, height, viewBox: `0 0 ${width} ${height}`, role: "group", "aria-label": "The notes that were heard" });
  notes.forEach((note, place) => {
    const bar = mark("rect", {
      x: 10 + (note.onset - first) * SECOND,
      y: (highest - note.midi) * ROW,
      width: Math.max(note.seconds * SECOND - 1, 6),
      height: ROW - 1,
      rx: 2,
      tabindex: place === chosen ? 0 : -1,
      role: "button",
      "data-note": place,
      "aria-label": `Note ${place + 1}, ${note.name}${note.sure ? "" : ", uncertain"}`,
      class: note.sure ? "heard" : "heard unsure",
    });
    picture.append(bar);
  });
  roll.append(picture);
}

function raise(place, by) {
  const note = notes[place];
  note.midi = Math.max(0, Math.min(127, note.midi + by));
  note.name = nameOf(note.midi);
  note.sure = true;
}

const MENDS = {
  ArrowUp: (place) => raise(place, 1),
  ArrowDown: (place) => raise(place, -1),
  Delete: (place) => {
    const [gone] = notes.splice(place, 1);
    // Its time goes to the note before, so that the others stay where they are.
    if (place) notes[place - 1].beats += gone.beats;
    chosen = Math.min(place, notes.length - 1);
  },
  s: (place) => {
    const note = notes[place];
    const half = { ...note, beats: note.beats / 2, seconds: note.seconds / 2 };
    notes.splice(place, 1, half, { ...half, onset: note.onset + note.seconds / 2 });
  },
  j: (place) => {
    const [note, next] = notes.slice(place, place + 2);
    if (!next) return;
    notes.splice(place, 2, { ...note, beats: note.beats + next.beats, seconds: next.onset + next.seconds - note.onset });
  },
};

function mend(what) {
  if (!notes.length) return;
  MENDS[what](chosen);
  mended(true);
  if (notes[chosen]) told(`Note ${chosen + 1} of ${notes.length}, ${notes[chosen].name}`);
}

function choose(place) {
  chosen = Math.max(0, Math.min(notes.length - 1, place));
  roll.querySelectorAll("[data-note]").forEach((bar, i) => bar.setAttribute("tabindex", i === chosen ? 0 : -1));
  roll.querySelectorAll("[data-note]")[chosen]?.focus();
}

roll.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || !notes.length) return;
  const key = event.key === "Backspace" ? "Delete" : event.key.length === 1 ? event.key.toLowerCase() : event.key;
  if (key === "ArrowLeft") choose(chosen - 1);
  else if (key === "ArrowRight") choose(chosen + 1);
  else if (key in MENDS) mend(key);
  else return;
  event.preventDefault();
});

// A finger or the mouse: a note goes up and down with it.
roll.addEventListener("pointerdown", (event) => {
  const bar = event.target.closest("[data-note]");
  if (!bar) return;
  choose(Number(bar.dataset.note));
  const from = event.clientY;
  const begun = notes[chosen].midi;
  const move = (now) => { bar.setAttribute("transform", `translate(0 ${Math.round((now.clientY - from) / ROW) * ROW})`); };
  const end = (now) => {
    removeEventListener("pointermove", move);
    removeEventListener("pointerup", end);
    removeEventListener("pointercancel", end);
    const by = Math.round((from - now.clientY) / ROW);
    if (!by || now.type === "pointercancel") { bar.removeAttribute("transform"); return; }
    raise(chosen, begun + by - notes[chosen].midi);
    mended(true);
  };
  addEventListener("pointermove", move);
  addEventListener("pointerup", end);
  addEventListener("pointercancel", end);
});

hints.addEventListener("click", (event) => {
  const what = event.target.closest("[data-do]")?.dataset.do;
  if (what) mend(what);
});

hear.addEventListener("click", () => {
  player?.pause();
  player = new Audio(sound);
  player.play();
});
start.addEventListener("click", record);
file.addEventListener("change", () => {
  if (file.files.length) send(file.files[0], file.files[0].name.replace(/\.wav$/i, ""));
});
home.addEventListener("drop", (event) => {
  const dropped = event.dataTransfer.files[0];
  if (!dropped) return;
  event.preventDefault();
  event.stopPropagation();
  send(dropped, dropped.name.replace(/\.wav$/i, ""));
});
addEventListener("pagehide", () => { running?.stream.getTracks().forEach((track) => track.stop()); });
