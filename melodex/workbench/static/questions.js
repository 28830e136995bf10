// The page of a set's questions: what is typed is written down as one stops typing, and
// before anything is printed.

import { data, told } from "./bench.js";
import { forget } from "./keeps.js";

const PAUSE = 1500;
const form = document.getElementById("choice");
const line = document.getElementById("saved");
const fields = () => [...form.elements].filter((each) => each.type !== "hidden" && each.name !== "do" && each.name !== "kind" && each.name !== "level");
const holds = (each) => (each.type === "checkbox" ? each.checked : each.value);
const before = (each) => (each.type === "checkbox" ? each.defaultChecked : each.defaultValue);
const unsaved = () => fields().filter((each) => holds(each) !== before(each));
let waiting = 0;
let writing = null;

function settle(changed, values) {
  changed.forEach((each, place) => {
    if (each.type === "checkbox") each.defaultChecked = values[place];
    else each.defaultValue = values[place];
  });
  forget(changed);
}

async function write() {
  clearTimeout(waiting);
  await writing;
  const changed = unsaved();
  if (!changed.length) return;
  const values = changed.map(holds);
  const body = new FormData(form);
  body.set("do", "words");
  line.textContent = "Writing …";
  writing = (async () => {
    try {
      const found = await data(form.action, { method: "POST", body });
      form.elements.mark.value = found.mark;
      settle(changed, values);
      line.textContent = "All words are written down.";
    } catch (error) {
      // They are kept in the browser.
      line.textContent = `Not written yet: ${error.message}`;
      told(error.message);
    }
    writing = null;
  })();
  await writing;
}

document.addEventListener("input", ({ target }) => {
  if (!fields().includes(target)) return;
  line.textContent = "";
  clearTimeout(waiting);
  waiting = setTimeout(write, PAUSE);
});
document.addEventListener("change", ({ target }) => { if (fields().includes(target)) write(); });

// What is on its way is waited for: the form would carry the mark of before.
form.addEventListener("submit", async (event) => {
  clearTimeout(waiting);
  if (writing) {
    event.preventDefault();
    await writing;
    form.requestSubmit(event.submitter);
    return;
  }
  forget(fields());
});
document.querySelector("form.print").addEventListener("submit", async (event) => {
  if (!writing && !unsaved().length) return;
  event.preventDefault();
  await write();
  event.target.requestSubmit(event.submitter);
});
