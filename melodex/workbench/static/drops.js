// Files and folders that are dropped onto a page, wherever on it.

import { data, told } from "./bench.js";

const MOST_BYTES = 96 * 2 ** 20;
const MOST_FILES = 4000;

const form = document.querySelector("form.drop");
const field = form?.querySelector("input[type=file]");
const endings = (field?.accept ?? "").split(",").filter((each) => each.startsWith("."));
const isRead = (path) => endings.some((each) => path.toLowerCase().endsWith(each));
const lit = (is) => document.body.classList.toggle("over", is);
const many = (count) => `${count.toLocaleString("en")} file${count === 1 ? "" : "s"}`;

function complain(words) {
  let line = form.querySelector(".bad");
  if (!line) {
    line = document.createElement("p");
    line.className = "bad";
    form.append(line);
  }
  line.textContent = words;
  told(words);
}

// What is wrong with so many files, or so large ones.
function tooMuch(files) {
  const bytes = files.reduce((sum, file) => sum + file.size, 0);
  if (bytes > MOST_BYTES) return `That is ${Math.round(bytes / 2 ** 20)} MB; at most 96 MB go at a time.`;
  if (files.length > MOST_FILES) return `Those are ${many(files.length)}; at most ${many(MOST_FILES)} go at a time. A folder can be named by its path instead.`;
  return "";
}

const taken = (action) => new Promise((resolve, reject) => { action(resolve, reject); });

// All files of an entry, each with the names of the folders above it.
async function filesOf(entry) {
  if (entry.isFile) return [[entry.fullPath.replace(/^\//, ""), await taken((yes, no) => entry.file(yes, no))]];
  const reader = entry.createReader();
  const found = [];
  // A reader gives some at a time, and none when it has given all.
  for (;;) {
    const some = await taken((yes, no) => reader.readEntries(yes, no));
    if (!some.length) return found;
    for (const each of some) found.push(...await filesOf(each));
  }
}

async function sendFolders(entries) {
  told("Reading the folder.");
  try {
    const files = (await Promise.all(entries.map(filesOf))).flat()
      .filter(([path]) => isRead(path));
    const words = files.length ? tooMuch(files.map(([, file]) => file)) : "There is nothing in it that is read: no ABC, MusicXML, MIDI or Humdrum.";
    if (words) { complain(words); return; }
    const body = new FormData();
    body.set("collection", form.querySelector("[name=collection]").value);
    files.forEach(([path, file]) => body.append("folder", file, path));
    told(`Sending ${many(files.length)}.`);
    const { address } = await data(form.action, { method: "POST", body });
    location.assign(address);
  } catch (error) {
    complain(error.message);
  }
}

function take(event) {
  event.preventDefault();
  lit(false);
  const transfer = event.dataTransfer;
  if (!transfer.files.length) return;
  if (!form) {
    told("This page takes no files. The shelf does.");
    return;
  }
  form.closest("details")?.setAttribute("open", "");
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  if (entries.some((entry) => entry.isDirectory)) {
    if (form.matches("[data-add]")) sendFolders(entries);
    else complain("That is a folder. Drop a file here, or the folder on the shelf.");
    return;
  }
  field.files = transfer.files;
  const files = [...field.files];
  told(`${files.length === 1 ? files[0].name : many(files.length)}: ${form.matches("[data-drop]") ? "reading" : "chosen"}`);
  if (form.matches("[data-drop]")) form.requestSubmit();
}

// Without this the browser would leave the page and show the file.
addEventListener("dragover", (event) => {
  if (![...event.dataTransfer.types].includes("Files")) return;
  event.preventDefault();
  lit(Boolean(form));
});
addEventListener("dragleave", (event) => { if (!event.relatedTarget) lit(false); });
addEventListener("drop", take);

form?.addEventListener("submit", (event) => {
  const words = tooMuch([...form.querySelectorAll("input[type=file]")].flatMap((each) => [...each.files]));
  if (!words) return;
  event.preventDefault();
  complain(words);
});
