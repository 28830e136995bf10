// Nothing typed, ticked or unfolded on a page is lost by leaving it: it is kept for its
// address as it happens, in this tab's own storage, so that two tabs disturb nothing.

const VOLATILE = ["did", "kept", "had", "gone"];
// How many results are shown makes no other page: what was ticked and typed stays.
const AMOUNT = ["limit"];
const SHOWN = ["text", "search", "number", "textarea", "select-one", "checkbox"];
const PHRASE = "melodex phrase";
const ROOM = "melodex room ";

// The address of the page as it is now, without what only tells of a moment.
function here(without = VOLATILE) {
  const fields = new URLSearchParams(location.search);
  without.forEach((name) => fields.delete(name));
  const said = fields.toString();
  return location.pathname + (said ? `?${said}` : "");
}

const read = (key) => { try { return JSON.parse(sessionStorage.getItem(key)) ?? {}; } catch { return {}; } };
function write(key, value) {
  try {
    if (Object.keys(value).length) sessionStorage.setItem(key, JSON.stringify(value));
    else sessionStorage.removeItem(key);
  } catch { /* A full storage keeps nothing; the page goes on. */ }
}
// What is written about a tune goes by the tune, by whatever address one came to it.
export const placeOf = (form) => form?.dataset.of ?? here([...VOLATILE, ...AMOUNT]);
const homeOf = (form) => `melodex page ${placeOf(form)}`;
const place = () => homeOf(null);

let restoring = false;

// Whether a request may outlive its page: browsers take 64 KiB of them at a time.
const MOST_KEPT_ALIVE = 60000;
export const outlives = (body) => [...body].reduce((sum, [, text]) => sum + 200 + 3 * text.length, 0) < MOST_KEPT_ALIVE;

// What a field is called, whatever else stands on the page.
export function called(field) {
  if (field.dataset.words) return `words ${field.dataset.words}`;
  const name = field.name || field.id;
  if (!name || !SHOWN.includes(field.type)) return "";
  const { tune, bars } = field.dataset;
  // A tick belongs to its passage, wherever that stands in the result the next time.
  if (field.type === "checkbox") return `${name} ${tune ? `${tune} ${bars}` : field.value}`;
  const alike = [...document.getElementsByName(field.name)].indexOf(field);
  return `${name} ${Math.max(0, alike)}`;
}

const holds = (field) => (field.type === "checkbox" ? field.checked : field.value);
export function usual(field) {
  if (field.type === "checkbox") return field.defaultChecked;
  if (field.type !== "select-one") return field.defaultValue;
  return ([...field.options].find((option) => option.defaultSelected) ?? field.options[0])?.value ?? "";
}

// Whether this tab remembers what was typed into a field.
export const isKept = (field) => called(field) in read(homeOf(field.form));

// Forget what was typed into fields, since it is elsewhere now; words go by their keys.
export function forget(fields) {
  fields.forEach((field) => {
    const isKey = typeof field === "string";
    const home = isKey ? place() : homeOf(field.form);
    const kept = read(home);
    delete kept[isKey ? `words ${field}` : called(field)];
    write(home, kept);
  });
}

// The page goes by another address from now on, and what is kept for it comes along.
export function moveTo(address) {
  const before = place();
  const kept = read(before);
  history.replaceState(null, "", address);
  if (place() === before) return;
  write(before, {});
  write(place(), { ...read(place()), ...kept });
}

function keep({ target }) {
  if (!target.matches?.("input, textarea, select")) return;
  const name = called(target);
  if (!name) return;
  const home = homeOf(target.form);
  const kept = read(home);
  if (holds(target) === usual(target)) delete kept[name];
  else kept[name] = target.dataset.words ? { text: target.value, field: target.name } : holds(target);
  write(home, kept);
  // What is put back is not what was typed last.
  if (target.id === "phrase" && !restoring) keepPhrase(target.value);
}

export function keepPhrase(text) {
  try { sessionStorage.setItem(PHRASE, text); } catch { /* as above */ }
}

const nameOf = (fold) => `fold ${fold.id || fold.dataset.part || ""} ${fold.querySelector("summary")?.textContent.trim() ?? ""} ${fold.closest("[id]:not(main)")?.id ?? ""}`;

function keepFold(fold) {
  const kept = read(place());
  if (fold.open === fold.usuallyOpen) delete kept[fold.keptAs];
  else kept[fold.keptAs] = fold.open;
  write(place(), kept);
}

// Words as they are kept, and what was typed before this script was there to keep it.
function withEarly({ value, defaultValue }, text) {
  if (value === defaultValue || text.includes(value.trim())) return text;
  return text + (value.startsWith(defaultValue) ? value.slice(defaultValue.length) : `\n${value}`);
}

// Put back what was there; called again for parts that come later.
export function restore(scope) {
  const ofPage = read(place());
  const keptFor = (form) => (form?.dataset.of ? read(homeOf(form)) : ofPage);
  restoring = true;
  scope.querySelectorAll("details").forEach((fold) => {
    if (fold.keptAs) return;
    fold.keptAs = nameOf(fold);
    fold.usuallyOpen = fold.open;
    if (fold.keptAs in ofPage) fold.open = ofPage[fold.keptAs];
    fold.addEventListener("toggle", () => keepFold(fold));
  });
  scope.querySelectorAll("input, textarea, select").forEach((field) => {
    // A browser that goes back fills fields as it left them, at any time while the page
    // loads: words that were newer would be written over by those.
    if (field.dataset.words || field.type === "textarea") field.form?.setAttribute("autocomplete", "off");
    const name = called(field);
    const kept = keptFor(field.form);
    if (!(name in kept) || kept[name] === holds(field)) return;
    if (field.dataset.words) {
      const { text, field: seen } = kept[name];
      // Words on their way may have come after all; older ones must not hide newer ones.
      if (field.name !== seen && field.defaultValue.includes(text.trim())) { forget([field]); return; }
      field.name = seen;
      field.value = withEarly(field, text);
    } else if (field.type === "checkbox") field.checked = kept[name];
    else field.value = kept[name];
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.dispatchEvent(new Event("change", { bubbles: true }));
  });
  restoring = false;
}

// A phrase goes along to the first page, where nothing else was asked for.
export function restorePhrase(field) {
  const text = sessionStorage.getItem(PHRASE);
  if (location.search || !text || field.value === text) return;
  field.value = text;
  field.dispatchEvent(new Event("input", { bubbles: true }));
}

// What is noted of a form as it is sent is acted on by the page that answers, which tells
// whether that was taken or refused. Listens after every other listener, which may yet take
// the submission over.
export function onceTaken(key, note, act) {
  addEventListener("submit", ({ target, defaultPrevented }) => {
    if (!defaultPrevented && target.method === "post") write(key, note(target));
  });
  const noted = read(key);
  sessionStorage.removeItem(key);
  const isTaken = Object.keys(noted).length && !document.querySelector(".fault[role=alert]");
  return isTaken ? act(noted) : undefined;
}

// What was sent is not offered again, unless it was refused.
const namesIn = (form) => ({ place: homeOf(form), names: [...form.elements].map(called).filter(Boolean) });
function letGo({ place: from, names }) {
  const kept = read(from);
  names.forEach((name) => { delete kept[name]; });
  write(from, kept);
}
// What is asked for stands in the address of the answer; the page that it was typed on
// goes on saying what its own address says.
function asked({ target }) {
  if (target.method !== "get") return;
  forget([...target.elements].filter((field) => called(field)));
}

// Each room is entered where it was left; the room one is in, at its door.
function rooms() {
  const room = document.body.dataset.room;
  const noted = () => { if (room) sessionStorage.setItem(ROOM + doorOf(room), here()); };
  noted();
  addEventListener("pagehide", noted);
  document.querySelectorAll(".top a[href]").forEach((link) => {
    const last = sessionStorage.getItem(ROOM + link.getAttribute("href"));
    if (!last) return;
    if (!room && last === here()) sessionStorage.removeItem(ROOM + link.getAttribute("href"));
    else if (!link.matches("[aria-current]")) link.href = last;
  });
}
const doorOf = (room) => ({ "/find": "/", "/set": "/sets", "/tunes": "/shelf", "/tune": "/shelf", "/work": "/shelf", "/hand": "/shelf" })[room] ?? room;

onceTaken("melodex sent", namesIn, letGo);
rooms();
document.addEventListener("input", keep);
document.addEventListener("change", keep);
// Before any other listener, which may lead to another address.
addEventListener("submit", asked, true);
