// Adding files: how far their way is, and the news of long work as they come.

import { told } from "./bench.js";

const adding = document.querySelector("form[data-add]");
if (adding) {
  // The browser sends a folder's files with the folders above them in their names.
  adding.addEventListener("submit", (event) => {
    if (event.defaultPrevented) return;
    const chosen = [...adding.querySelectorAll("input[type=file]")].flatMap((f) => [...f.files]);
    if (!chosen.length) {
      event.preventDefault();
      told("Choose files, or a folder.");
      adding.querySelector("input[type=file]").focus();
    }
  });
}

const home = document.querySelector("[data-work]");
if (home) {
  const progress = document.getElementById("progress");
  const words = document.getElementById("work-words");
  const news = new EventSource(`/work/news?id=${encodeURIComponent(home.dataset.work)}`);
  let said = 0;
  news.addEventListener("state", (event) => {
    const state = JSON.parse(event.data);
    if (state.kind !== "running") {
      news.close();
      location.reload();
      return;
    }
    if (state.total) {
      progress.max = state.total;
      progress.value = state.done;
    }
    const part = state.total ? `${state.done.toLocaleString("en")} of ${state.total.toLocaleString("en")}. ` : "";
    words.textContent = part + state.words;
    const tenth = state.total ? Math.floor((10 * state.done) / state.total) : 0;
    // Not every step is spoken, or nothing else could be heard.
    if (tenth > said) {
      said = tenth;
      told(`${tenth * 10} per cent done.`);
    }
  });
  news.addEventListener("error", () => {
    if (news.readyState === EventSource.CLOSED) words.textContent = "The workbench does not answer any more.";
  });
}
