// Where bars begin in a recording, marked while it plays: by a button, by Enter, or by a
// click on a bar of the map. The points are words of the form, typed or marked alike; the
// sound is played from this page and sent nowhere before the form is.

import { told } from "./bench.js";

const POINT = /^\s*(?:bar\s+)?(\d{1,6})\s*(?:=|at)\s*(?:(\d{1,3}):)?(\d{1,5}(?:\.\d{1,3})?)\s*$/;

function clock(seconds) {
  const tenths = Math.round(seconds * 10);
  const rest = ((tenths % 600) / 10).toFixed(1).replace(/\.0$/, "");
  return `${Math.floor(tenths / 600)}:${rest.padStart(rest.includes(".") ? 4 : 2, "0")}`;
}

// What can be read of the field; what cannot is left for the workbench to speak of.
function pointsOf(text) {
  return text.split(/[,;\n]/).map((part) => POINT.exec(part)).filter(Boolean)
    .map(([, bar, minutes, seconds]) => [Number(bar), 60 * Number(minutes ?? 0) + Number(seconds)]);
}

const strange = (text) => text.split(/[,;\n]/).filter((part) => part.trim() && !POINT.test(part));

function ready(form) {
  const part = (name) => form.querySelector(`[data-${name}]`);
  const file = form.querySelector("input[type=file]");
  const [home, player, bar, marks, field] = ["marking", "recording", "bar", "marks", "points"].map(part);
  let address = "";

  function write(points) {
    points.sort(([one], [other]) => one - other);
    const words = points.map(([number, second]) => `${number}=${clock(second)}`);
    field.value = [...words, ...strange(field.value).map((word) => word.trim())].join(", ");
    // As if it were typed: so it is kept for this page.
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }

  function button(words, does) {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = words;
    made.addEventListener("click", does);
    return made;
  }

  function playFrom(second) {
    if (!address) {
      told("Choose the recording to hear it.");
      return;
    }
    player.currentTime = second;
    player.play();
  }

  function show() {
    marks.replaceChildren(...pointsOf(field.value).map(([number, second]) => {
      const row = document.createElement("li");
      const from = button(`Bar ${number} at ${clock(second)}`, () => playFrom(second));
      from.setAttribute("aria-label", `Play from bar ${number}, at ${clock(second)}`);
      const off = button("Take off", () => {
        write(pointsOf(field.value).filter(([other]) => other !== number));
        told(`Bar ${number} is no longer marked.`);
      });
      off.setAttribute("aria-label", `Take off bar ${number}`);
      row.append(from, " ", off);
      return row;
    }));
  }

  function mark(number) {
    const others = pointsOf(field.value).filter(([other]) => other !== number);
    const before = others.map(([other]) => other).filter((other) => other < number).sort((a, b) => b - a)[0];
    write([...others, [number, player.currentTime]]);
    told(`Bar ${number} begins at ${clock(player.currentTime)}.`);
    // Who marks every eighth bar marks the eighth after this one next.
    bar.value = number + (before === undefined ? 1 : number - before);
  }

  function markNow() {
    if (bar.value !== "" && bar.checkValidity()) mark(Number(bar.value));
    else told("Say which bar begins.");
  }

  file.addEventListener("change", () => {
    if (address) URL.revokeObjectURL(address);
    address = file.files.length ? URL.createObjectURL(file.files[0]) : "";
    home.hidden = !address;
    if (address) player.src = address;
    else player.removeAttribute("src");
  });
  player.addEventListener("error", () => {
    if (address) told("The browser cannot play this recording; type the points.");
  });
  field.addEventListener("input", show);
  part("now").addEventListener("click", markNow);
  bar.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    markNow();
  });
  // While it plays a bar of the map is no door but a place.
  document.addEventListener("click", (event) => {
    const link = event.target.closest?.("svg a");
    const found = /[?&]bars=(\d+)-(\d+)/.exec(link?.getAttribute("href") ?? "");
    if (!found || home.hidden || player.paused) return;
    event.preventDefault();
    mark(Number(found[1]));
  });
  show();
}

document.querySelectorAll("[data-mark-points]").forEach(ready);
