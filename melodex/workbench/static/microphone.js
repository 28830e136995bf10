// The microphone: recorded until it is quiet or somebody stops it, counted in if that is
// wanted. What is recorded goes to whoever asked, and is kept nowhere.

const RATE = 16000;
const BLOCK = 1600;
const MOST_SECONDS = 60;
const STOP_AFTER_QUIET = 2;
const CLICK_SECONDS = 0.02;
const LEAD_SECONDS = 0.15;

const REASONS = {
  NotAllowedError: "The browser does not let this page hear the microphone. Allow it in the address bar, or choose a recording below.",
  NotFoundError: "There is no microphone. Connect one, or choose a recording below.",
  NotReadableError: "Another program holds the microphone. Close it, or choose a recording below.",
};

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

// A short click; the first of a bar is higher.
function click(context, at, isFirst) {
  const tone = context.createOscillator();
  const gain = context.createGain();
  tone.frequency.value = isFirst ? 1760 : 1320;
  gain.gain.setValueAtTime(0.3, at);
  gain.gain.exponentialRampToValueAtTime(0.001, at + CLICK_SECONDS);
  tone.connect(gain).connect(context.destination);
  tone.start(at);
  tone.stop(at + CLICK_SECONDS);
}

// One recording. `ways` says what happens: `says` words, `hears` (level in dB above -60,
// and a pitch or null) for each block, `ends` with a WAV file, `fails` with words; and what
// is wanted: `beats` to count in, `tempo` of them, whether it goes on `clicking`.
export class Recording {
  constructor(ways) {
    this.ways = ways;
    this.blocks = [];
    this.quiet = 0;
    this.loudest = 0;
    this.softest = 1;
    this.hasBegun = false;
    this.isOver = false;
    this.from = null;
  }

  async start() {
    try {
      if (!navigator.mediaDevices) throw new DOMException("", "NotFoundError");
      const plain = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
      this.stream = await navigator.mediaDevices.getUserMedia({ audio: plain });
      this.context = new AudioContext({ sampleRate: RATE });
      await this.context.audioWorklet.addModule(new URL("./recorder.js", import.meta.url));
      if (this.isOver) { this.release(); return; }
      const worker = new AudioWorkletNode(this.context, "melodex-recorder", { numberOfOutputs: 0 });
      worker.port.onmessage = ({ data: block }) => this.take(block);
      this.context.createMediaStreamSource(this.stream).connect(worker);
      this.ways.says("Wait a moment.");
    } catch (error) {
      this.isOver = true;
      this.release();
      this.ways.fails(REASONS[error.name] ?? "The microphone cannot be used; choose a recording below.");
    }
  }

  // The first block has come: from now on nothing is lost.
  begin() {
    const { beats = 0, tempo = 90, clicking = false } = this.ways;
    const beat = 60 / tempo;
    const first = this.context.currentTime + LEAD_SECONDS;
    const last = clicking ? Math.ceil(MOST_SECONDS / beat) : 0;
    for (let i = 0; i < beats + last; i += 1) click(this.context, first + i * beat, beats ? i % beats === 0 : false);
    // A note may begin a little early; a click must not be in it.
    this.from = beats ? first + beats * beat - 0.1 : 0;
    if (beats) this.ways.says(`${beats} beats, then sing, whistle or play. It stops by itself when you are quiet.`);
    else this.ways.says("Sing, whistle or play now. It stops by itself when you are quiet.");
  }

  take(block) {
    if (this.isOver) return;
    if (this.from === null) this.begin();
    // Around the mean: some microphones never come to rest at nothing.
    const mean = block.reduce((sum, value) => sum + value, 0) / block.length;
    const level = Math.sqrt(block.reduce((sum, value) => sum + (value - mean) ** 2, 0) / block.length);
    if (this.context.currentTime < this.from) {
      this.ways.hears(level, null);
      return;
    }
    this.blocks.push(block);
    this.loudest = Math.max(this.loudest, level);
    if (this.blocks.length > 2) this.softest = Math.min(this.softest, level);
    const isLoud = level > Math.max(0.003, this.loudest / 20, Math.min(1.8 * this.softest, this.loudest / 2));
    if (isLoud) { this.hasBegun = true; this.quiet = 0; } else this.quiet += block.length / RATE;
    this.ways.hears(level, isLoud ? roughPitch(block, RATE) : null);
    const seconds = this.blocks.length * block.length / RATE;
    if ((this.hasBegun && this.quiet > STOP_AFTER_QUIET) || seconds > MOST_SECONDS - 0.5) this.stop();
  }

  stop() {
    if (this.isOver) return;
    this.isOver = true;
    this.release();
    const samples = new Float32Array(this.blocks.length * BLOCK);
    this.blocks.forEach((block, i) => samples.set(block, i * BLOCK));
    this.ways.ends(wav(samples, RATE));
  }

  release() {
    this.stream?.getTracks().forEach((track) => track.stop());
    if (this.context && this.context.state !== "closed") this.context.close();
  }
}

// A button that records and stops, with a level beside it. `found` takes the WAV file.
export function recordsWith(home, { say, found, wanted = () => ({}) }) {
  const button = home.querySelector("[data-start]");
  const meter = home.querySelector("meter");
  const pitch = home.querySelector("[data-pitch]");
  let running = null;

  function settle() {
    running = null;
    button.textContent = "Record";
    button.setAttribute("aria-pressed", "false");
    meter.value = 0;
    if (pitch) pitch.textContent = "";
  }

  button.addEventListener("click", async () => {
    if (running) { running.stop(); return; }
    button.disabled = true;
    running = new Recording({
      ...wanted(),
      says: say,
      hears: (level, midi) => {
        meter.value = Math.max(0, 60 + 20 * Math.log10(level + 1e-6));
        if (pitch) pitch.textContent = midi === null ? "" : nameOf(midi);
      },
      ends: (file) => { settle(); found(file); },
      fails: (words) => { settle(); say(words); },
    });
    button.textContent = "Stop";
    button.setAttribute("aria-pressed", "true");
    await running.start();
    button.disabled = false;
  });
  addEventListener("pagehide", () => running?.release());
}

const LETTERS = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"];
export const nameOf = (midi) => `${LETTERS[midi % 12]}${Math.floor(midi / 12) - 1}`;
export const isSound = (file) => file.type.startsWith("audio/") || /\.(wav|flac|og[ga]|opus|mp3)$/i.test(file.name);
