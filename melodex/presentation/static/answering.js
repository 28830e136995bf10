"use strict";
(() => {
  const home = document.querySelector("[data-answers]");
  if (!home) return;
  const answers = JSON.parse(home.textContent);
  const right = new Map();

  // One way to write what may be typed in several: signs, spaces, commas.
  const tidy = (text) =>
    text
      .replaceAll("\u266d", "b")
      .replaceAll("\u266f", "#")
      .replaceAll("\ud834\udd2b", "bb")
      .replaceAll("\ud834\udd2a", "##")
      .replace(/[,;\s]+/g, " ")
      .replace(/([A-Ga-g]) flat\b/g, "$1b")
      .replace(/([A-Ga-g]) sharp\b/g, "$1#")
      .trim();

  // Large and small numerals differ; nothing else does.
  const isNumeral = (text) => /^[b#]*([IV]+|[iv]+)(?![a-z])/.test(text);

  function fits(typed, accepted) {
    const text = tidy(typed);
    return accepted.some((each) => {
      const wanted = tidy(each);
      return isNumeral(wanted) ? text === wanted : text.toLowerCase() === wanted.toLowerCase();
    });
  }

  function count() {
    const told = document.querySelector("[data-total]");
    if (!told) return;
    let sum = 0;
    for (const points of right.values()) sum += points;
    told.textContent = `${sum} of ${told.dataset.total} right so far`;
  }

  for (const group of document.querySelectorAll("[data-answering]")) {
    const data = answers[group.dataset.answering];
    const told = group.querySelector("[data-told]");
    group.querySelector("[data-check]").addEventListener("click", () => {
      if (data.open) {
        told.textContent = `The key says: ${data.right[0][0]}`;
        return;
      }
      const chosen = group.querySelector("input[type=radio]:checked");
      const radios = group.querySelector("input[type=radio]");
      const fields = [...group.querySelectorAll("input[data-field]")];
      const typed = radios ? [chosen ? chosen.value : ""] : fields.map((field) => field.value);
      const good = typed.map((text, place) => fits(text, data.right[place]));
      fields.forEach((field, place) => field.setAttribute("aria-invalid", String(!good[place])));
      const points = good.filter(Boolean).length;
      right.set(group.dataset.answering, points);
      if (points === good.length) told.textContent = `\u2713 Right. ${data.why}`;
      else if (typed.every((text) => text.trim() === "")) told.textContent = "Write an answer first.";
      else told.textContent = `${points} of ${good.length} right. Try again.`;
      count();
    });
  }
  count();
})();
