// Runs beside the page, where sound is: hands on what the microphone hears, block by block.

const BLOCK = 1600;

class Recorder extends AudioWorkletProcessor {
  constructor() {
    super();
    this.block = new Float32Array(BLOCK);
    this.filled = 0;
  }

  process(inputs) {
    const heard = inputs[0][0];
    if (!heard) return true;
    for (const sample of heard) {
      this.block[this.filled] = sample;
      this.filled += 1;
      if (this.filled === BLOCK) {
        this.port.postMessage(this.block);
        this.block = new Float32Array(BLOCK);
        this.filled = 0;
      }
    }
    return true;
  }
}

registerProcessor("melodex-recorder", Recorder);
