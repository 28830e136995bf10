// Sing it, whistle it, play it: what the microphone or a file holds becomes notes that can
// be mended, and then a phrase like any other. The sound goes to the workbench on this
// machine, which keeps nothing of it, and is gone with the page unless it is kept.

import { data, told } from "./bench.js";
import { isSound, nameOf, recordsWith } from "./microphone.js";
import { draw, phrase } from "./phrase.js";

const home = document.querySelector("[data-listen]");
const file = home.querySelector("input[type=file]");
const said = home.querySelector("[data-said]");
const roll = home.querySelector("[data-roll]");
const hints = home.querySelector("[data-mend]");
const after = home.querySelector("[data-after]");
const kept = home.querySelector("[data-keep]");
const beats = home.querySelector("[data-beats]");
const tempo = home.querySelector("[data-tempo]");
const clicking = home.querySelector("[data-clicking]");

const SVG = "http://www.w3.org/2000/svg";
const ROW = 14;
const SECOND = 110;
const SIDE = 10;
const SHORTEST = 0.06;
const EDGE = 10;

let notes = [];
let inRhythm = false;
let chosen = 0;
let sound = null;
let playing = null;

const bars = () => [...roll.querySelectorAll("[data-note]")];

function say(words) {
  said.textContent = words;
  told(words);
}

// What was heard

const speed = () => Math.max(40, Math.min(208, Number(tempo.value) || 90));

async function send(blob, name, atTempo = false) {
  say("Listening to it.");
  const body = new FormData();
  body.append("sound", blob, name);
  if (atTempo) body.append("tempo", speed());
  try {
    const heard = await data("/hear", { method: "POST", body });
    notes = heard.notes;
    inRhythm = heard.in_rhythm;
    chosen = 0;
    silence();
    if (sound) URL.revokeObjectURL(sound);
    sound = URL.createObjectURL(blob);
    kept.href = sound;
    kept.download = name;
    after.hidden = false;
    mended();
    say([`${notes.length} notes were heard, ${heard.tuning}.`, ...heard.remarks].join(" "));
  } catch (error) {
    say(error.message);
  }
}

// The nearest length that can be written: plain or dotted.
const VALUES = [0.0625, 0.125, 0.1875, 0.25, 0.375, 0.5, 0.75, 1, 1.5, 2, 3, 4, 6, 8];
const written = ({ beats: length }) => VALUES.reduce((best, value) => (
  Math.abs(Math.log(value / length)) < Math.abs(Math.log(best / length)) ? value : best));
const word = (note) => (inRhythm ? `${note.name}*${written(note)}` : note.name);

function mended(focus = false) {
  phrase.text = notes.map(word).join(" ");
  draw();
  show();
  if (focus) bars()[chosen]?.focus();
}

function mark(kind, attributes) {
  const made = document.createElementNS(SVG, kind);
  Object.entries(attributes).forEach(([name, value]) => made.setAttribute(name, value));
  return made;
}

const leftOf = (note) => SIDE + (note.onset - notes[0].onset) * SECOND;
const widthOf = (note) => Math.max(note.seconds * SECOND - 1, 6);

function show() {
  roll.replaceChildren();
  hints.hidden = !notes.length;
  if (!notes.length) return;
  const highest = Math.max(...notes.map((note) => note.midi)) + 3;
  const lowest = Math.min(...notes.map((note) => note.midi)) - 3;
  const last = notes[notes.length - 1];
  const width = leftOf(last) + last.seconds * SECOND + 2 * SIDE;
  const height = (highest - lowest + 1) * ROW;
  const picture = mark("svg", { width, height, viewBox: `0 0 ${width} ${height}`, role: "group", "aria-label": "The notes that were heard" });
  notes.forEach((note, place) => {
    picture.append(mark("rect", {
      x: leftOf(note),
      y: (highest - note.midi) * ROW,
      width: widthOf(note),
      height: ROW - 1,
      rx: 2,
      tabindex: place === chosen ? 0 : -1,
      role: "button",
      "data-note": place,
      "aria-label": `Note ${place + 1}, ${note.name}${note.sure ? "" : ", uncertain"}`,
      class: note.sure ? "heard" : "heard unsure",
    }));
  });
  roll.append(picture);
}

// Mending

function raise(place, by) {
  const note = notes[place];
  note.midi = Math.max(0, Math.min(127, note.midi + by));
  note.name = nameOf(note.midi);
  note.sure = true;
}

// The end of a note moves, and with it the start of the next where they touch.
function stretch(place, seconds) {
  const note = notes[place];
  const next = notes[place + 1];
  const most = next ? next.onset + next.seconds - SHORTEST - note.onset : note.seconds + 4;
  const length = Math.max(SHORTEST, Math.min(most, seconds));
  const perSecond = note.beats / Math.max(next ? next.onset - note.onset : note.seconds, SHORTEST);
  const end = note.onset + length;
  if (next && (end > next.onset || note.onset + note.seconds > next.onset - 0.02)) {
    const by = end - next.onset;
    next.onset += by;
    next.seconds -= by;
    note.beats = Math.max(0.06, note.beats + by * perSecond);
    next.beats = Math.max(0.06, next.beats - by * perSecond);
  } else if (!next) note.beats *= length / note.seconds;
  note.seconds = length;
}

const MENDS = {
  ArrowUp: (place) => raise(place, 1),
  ArrowDown: (place) => raise(place, -1),
  "+": (place) => stretch(place, notes[place].seconds + 0.05),
  "-": (place) => stretch(place, notes[place].seconds - 0.05),
  Delete: (place) => {
    const [gone] = notes.splice(place, 1);
    // Its time goes to the note before, so that the others stay where they are.
    if (place) notes[place - 1].beats += gone.beats;
    chosen = Math.max(0, Math.min(place, notes.length - 1));
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
  else say("No note is left.");
}

function choose(place) {
  chosen = Math.max(0, Math.min(notes.length - 1, place));
  bars().forEach((bar, i) => bar.setAttribute("tabindex", i === chosen ? 0 : -1));
  bars()[chosen]?.focus();
}

const SAME_KEYS = { Backspace: "Delete", "=": "+", "_": "-" };
roll.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || !notes.length) return;
  const key = SAME_KEYS[event.key] ?? (event.key.length === 1 ? event.key.toLowerCase() : event.key);
  if (key === "ArrowLeft") choose(chosen - 1);
  else if (key === "ArrowRight") choose(chosen + 1);
  else if (key in MENDS) mend(key);
  else return;
  event.preventDefault();
});

// A finger or the mouse: a note goes up and down with it, its end to and fro.
roll.addEventListener("pointerdown", (event) => {
  const bar = event.target.closest("[data-note]");
  if (!bar || event.button > 0) return;
  choose(Number(bar.dataset.note));
  const note = notes[chosen];
  const box = bar.getBoundingClientRect();
  const isEnd = box.right - event.clientX < Math.min(EDGE, box.width / 3);
  const rows = (now) => Math.round((event.clientY - now.clientY) / ROW);
  const length = (now) => Math.max(SHORTEST, note.seconds + (now.clientX - event.clientX) / SECOND);
  const move = (now) => {
    if (now.pointerId !== event.pointerId) return;
    if (isEnd) bar.setAttribute("width", length(now) * SECOND);
    else bar.setAttribute("transform", `translate(0 ${-rows(now) * ROW})`);
  };
  const end = (now) => {
    if (now.pointerId !== event.pointerId) return;
    removeEventListener("pointermove", move);
    removeEventListener("pointerup", end);
    removeEventListener("pointercancel", end);
    const isMoved = isEnd ? Math.abs(now.clientX - event.clientX) > 2 : rows(now) !== 0;
    if (!isMoved || now.type === "pointercancel") { show(); bars()[chosen]?.focus(); return; }
    if (isEnd) stretch(chosen, length(now));
    else raise(chosen, rows(now));
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

// Heard again

function silence() {
  if (!playing) return;
  playing.audio.pause();
  playing.context?.close();
  cancelAnimationFrame(playing.frame);
  bars().forEach((bar) => bar.classList.remove("now"));
  playing = null;
}

// The notes as plain tones, each where it was heard.
function tonesOf(context) {
  const from = context.currentTime;
  notes.forEach((note) => {
    const tone = context.createOscillator();
    const gain = context.createGain();
    tone.type = "triangle";
    tone.frequency.value = 440 * 2 ** ((note.midi - 69) / 12);
    const start = from + note.onset;
    gain.gain.setValueAtTime(0, start);
    gain.gain.linearRampToValueAtTime(0.2, start + 0.01);
    gain.gain.setTargetAtTime(0, start + note.seconds, 0.03);
    tone.connect(gain).connect(context.destination);
    tone.start(start);
    tone.stop(start + note.seconds + 0.2);
  });
}

function follow() {
  const now = playing.audio.currentTime;
  const shown = bars();
  notes.forEach((note, i) => shown[i]?.classList.toggle("now", note.onset <= now && now < note.onset + note.seconds));
  playing.frame = requestAnimationFrame(follow);
}

async function play(withNotes) {
  silence();
  const mine = { audio: new Audio(sound), frame: 0 };
  playing = mine;
  mine.audio.addEventListener("ended", () => { if (playing === mine) silence(); });
  try {
    await mine.audio.play();
  } catch {
    if (playing === mine) { silence(); say("The browser cannot play this recording; the notes stand below."); }
    return;
  }
  if (playing !== mine) return;
  if (withNotes) {
    mine.audio.volume = 0.4;
    mine.context = new AudioContext();
    tonesOf(mine.context);
  }
  follow();
}

after.addEventListener("click", (event) => {
  const what = event.target.closest("[data-play]")?.dataset.play;
  if (what) play(what === "both");
});

// Where it comes from

recordsWith(home, {
  say,
  found: (blob) => send(blob, "what you sang.wav", clicking.checked || Number(beats.value) > 0),
  wanted: () => { silence(); return { beats: Number(beats.value), tempo: speed(), clicking: clicking.checked }; },
});
file.addEventListener("change", () => { if (file.files.length) send(file.files[0], file.files[0].name); });

// A recording may be dropped anywhere on the page; other files are not for here.
addEventListener("drop", (event) => {
  const dropped = [...event.dataTransfer.files].find(isSound) ?? (home.contains(event.target) ? event.dataTransfer.files[0] : null);
  if (!dropped) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  document.body.classList.remove("over");
  home.closest("details").open = true;
  send(dropped, dropped.name);
}, { capture: true });
