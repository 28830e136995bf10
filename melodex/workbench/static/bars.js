// Choosing bars on the engraved music, by mouse, touch and keyboard; hearing them.

import { told } from "./bench.js";

const home = document.querySelector(".music-with-bars");
const field = document.querySelector("[data-bars-field]");
const copies = document.querySelectorAll("[data-bars-copy]");

function build() {
  const areas = JSON.parse(home.dataset.areas);
  const layer = document.createElement("div");
  layer.className = "bar-layer";
  layer.setAttribute("role", "group");
  layer.setAttribute("aria-label", "Bars. Arrows move, Enter chooses; with Shift all up to there.");
  const buttons = areas.map(([bar, left, top, width, height], place) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "bar-area";
    button.dataset.bar = bar;
    button.tabIndex = place === 0 ? 0 : -1;
    button.setAttribute("aria-label", `Bar ${bar}`);
    button.setAttribute("aria-pressed", "false");
    Object.assign(button.style, {
      left: `${left * 100}%`, top: `${top * 100}%`, width: `${width * 100}%`, height: `${height * 100}%`,
    });
    layer.append(button);
    return button;
  });
  home.append(layer);

  let anchor = null;
  const named = (first, last) => (first === last ? `bar ${first}` : `bars ${first}–${last}`);
  const numbers = areas.map(([bar]) => bar);
  function hear(first, last) {
    const player = window.melodexSound.players.tune;
    const button = document.querySelector('[data-player="tune"] [data-play]');
    if (!player || !button) return;
    const bars = JSON.parse(home.dataset.noteBars);
    window.melodexSound.stop();
    player.only = first === null ? null : (note) => bars[note] >= first && bars[note] <= last;
    button.textContent = first === null ? "Play" : `Play ${named(first, last)}`;
  }
  function show(first, last) {
    hear(first, last);
    buttons.forEach((button, place) => {
      const inside = first !== null && numbers[place] >= first && numbers[place] <= last;
      button.setAttribute("aria-pressed", String(inside));
    });
  }
  function choose(bar, extend) {
    let first = bar;
    let last = bar;
    if (anchor !== null && (extend || anchor.open)) {
      first = Math.min(anchor.bar, bar);
      last = Math.max(anchor.bar, bar);
      anchor = { bar: anchor.bar, open: false };
    } else {
      anchor = { bar, open: true };
    }
    show(first, last);
    field.value = first === last ? String(first) : `${first}-${last}`;
    copies.forEach((copy) => { copy.value = field.value; });
    told(first === last ? `Bar ${first} is chosen.` : `Bars ${first} to ${last} are chosen.`);
  }
  function fromField() {
    const found = /^\s*(\d+)\s*(?:[-–]\s*(\d+)\s*)?$/.exec(field.value);
    anchor = null;
    if (found) show(Number(found[1]), Number(found[2] ?? found[1]));
    else show(null, null);
    copies.forEach((copy) => { copy.value = field.value; });
  }
  layer.addEventListener("click", (event) => {
    const button = event.target.closest("[data-bar]");
    if (button) choose(Number(button.dataset.bar), event.shiftKey);
  });
  layer.addEventListener("keydown", (event) => {
    const go = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    const here = buttons.indexOf(document.activeElement);
    if (!go || here < 0) return;
    event.preventDefault();
    const next = buttons[Math.min(buttons.length - 1, Math.max(0, here + go))];
    buttons.forEach((button) => { button.tabIndex = button === next ? 0 : -1; });
    next.focus();
    if (event.shiftKey) {
      anchor ??= { bar: numbers[here], open: true };
      choose(Number(next.dataset.bar), true);
    }
  });
  field.addEventListener("input", fromField);
  fromField();
}

if (home && field) build();
