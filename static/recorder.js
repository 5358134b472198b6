// Hands the microphone's samples over in blocks; all else happens in the program.
const BLOCK = 2048;

class Recorder extends AudioWorkletProcessor {
  constructor() {
    super();
    this.block = new Float32Array(BLOCK);
    this.filled = 0;
  }

  process(inputs) {
    const channel = inputs[0][0];
    if (!channel) return true;
    for (const x of channel) {
      this.block[this.filled++] = x;
      if (this.filled === BLOCK) {
        this.port.postMessage(this.block);
        this.filled = 0;
      }
    }
    return true;
  }
}

registerProcessor("lipwright-recorder", Recorder);
