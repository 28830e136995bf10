"use strict";
(() => {
  // Equal temperament, A4 = 440 Hz.
  const frequency = (midi) => 440 * 2 ** ((midi - 69) / 12);

  // One note: two sines an octave apart under a plucked envelope.
  function note(context, target, midi, start, seconds, colour) {
    const end = start + Math.max(0.06, seconds * 0.96);
    const level = context.createGain();
    level.gain.setValueAtTime(0, start);
    level.gain.linearRampToValueAtTime(0.24, start + 0.012);
    level.gain.exponentialRampToValueAtTime(0.1, Math.max(start + 0.02, end - 0.03));
    level.gain.linearRampToValueAtTime(0, end);
    level.connect(target);
    for (const [times, share] of [[1, 1], [2, colour]]) {
      const voice = context.createOscillator();
      const gain = context.createGain();
      voice.frequency.value = frequency(midi) * times;
      gain.gain.value = share;
      voice.connect(gain).connect(level);
      voice.start(start);
      voice.stop(end);
    }
    return end;
  }

  // All notes of a plan: [voice, index, midi, onset, seconds], times from zero.
  function plan(data, which, tempo, common) {
    const out = [];
    const names = which === "both" ? Object.keys(data.voices) : [which];
    for (const name of names) {
      const side = name === "a" ? 0 : 1;
      const lead = which === "both" ? data.lead[side] : 0;
      const shift = side === 1 && common ? data.shift : 0;
      data.voices[name].forEach(([midi, onset, length], index) => {
        // A page may have a part of it played: what is before is not waited for.
        if (data.only && !data.only(index)) return;
        out.push([side, index, midi + shift, ((onset + lead) * 60) / tempo, (length * 60) / tempo]);
      });
    }
    out.sort((one, other) => one[3] - other[3]);
    const first = data.only && out.length ? out[0][3] : 0;
    return out.map(([side, index, midi, onset, seconds]) => [side, index, midi, onset - first, seconds]);
  }

  function schedule(context, notes, start) {
    const sides = new Set(notes.map(([side]) => side)).size;
    let end = start;
    const targets = [0, 1].map((side) => {
      const pan = context.createStereoPanner();
      pan.pan.value = sides > 1 ? (side === 0 ? -0.35 : 0.35) : 0;
      pan.connect(context.destination);
      return pan;
    });
    for (const [side, , midi, onset, seconds] of notes) {
      end = Math.max(end, note(context, targets[side], midi, start + onset, seconds, side === 0 ? 0.12 : 0.4));
    }
    return end;
  }

  let context = null;
  let playing = null;

  function unlight() {
    document.querySelectorAll(".lit").forEach((element) => element.classList.remove("lit"));
  }

  function stop() {
    if (!playing) return;
    cancelAnimationFrame(playing.frame);
    context.close();
    context = null;
    playing.root.querySelectorAll("[aria-pressed]").forEach((button) => button.removeAttribute("aria-pressed"));
    playing.root.querySelector(".status").textContent = "silent";
    playing = null;
    unlight();
  }

  function light(run) {
    const now = context.currentTime - run.start;
    unlight();
    for (const [side, index, , onset, seconds] of run.notes) {
      if (onset > now || onset + seconds <= now) continue;
      for (const picture of run.data.pictures) {
        const name = `${picture}p${side}n${index}`;
        document.querySelectorAll(`[id="${name}"],[id^="${name}c"]`).forEach((element) => element.classList.add("lit"));
      }
    }
    if (context.currentTime >= run.end) stop();
    else run.frame = requestAnimationFrame(() => light(run));
  }

  function play(root, data, which, button) {
    stop();
    // Alone, a tune has the tempo that it has on every other page, unless one has chosen.
    const own = data.tempos && data.tempos[which];
    if (own && !root.dataset.chosen) {
      root.querySelector("[data-tempo]").value = own;
      root.querySelector("output").textContent = Math.round(own);
    }
    const tempo = Number(root.querySelector("[data-tempo]").value);
    const pitch = root.querySelector('[data-pitch="own"]');
    const notes = plan(data, which, tempo, !(pitch && pitch.checked));
    context = new AudioContext();
    const start = context.currentTime + 0.08;
    playing = { root, data, notes, start, end: schedule(context, notes, start), frame: 0 };
    button.setAttribute("aria-pressed", "true");
    root.querySelector(".status").textContent =
      root.querySelector("fieldset") ? { a: "playing A", b: "playing B", both: "playing both" }[which] : "playing";
    light(playing);
  }

  const all = {};

  function attach(root) {
    const data = all[root.dataset.player];
    const tempo = root.querySelector("[data-tempo]");
    tempo.addEventListener("input", () => {
      root.querySelector("output").textContent = tempo.value;
      root.dataset.chosen = "yes";
    });
    root.querySelectorAll("[data-play]").forEach((button) => {
      button.addEventListener("click", () => {
        if (button.dataset.play === "stop") stop();
        else play(root, data, button.dataset.play, button);
      });
    });
  }

  // Players come with the page, or with a part of it that is fetched later.
  function adopt(scope) {
    scope.querySelectorAll("script[data-players]").forEach((script) => {
      Object.assign(all, JSON.parse(script.textContent));
    });
    scope.querySelectorAll("[data-player]").forEach(attach);
  }

  adopt(document);
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") stop();
  });
  // The same voice can be rendered without a loudspeaker, to be measured.
  window.melodexSound = { frequency, plan, schedule, players: all, adopt, stop, state: () => context && context.state };
})();
