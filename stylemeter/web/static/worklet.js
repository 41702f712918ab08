// Takes the input as it comes, with the frame it came at: nothing is changed, nothing is left out.

class Take extends AudioWorkletProcessor {
  constructor() {
    super();
    this.parts = [];
    this.count = 0;
    this.first = currentFrame;
  }

  process([[channel]]) {
    if (!channel) return true;
    if (!this.count) this.first = currentFrame;
    this.parts.push(channel.slice());
    this.count += channel.length;
    if (this.count >= 4096) {
      const samples = new Float32Array(this.count);
      let at = 0;
      for (const part of this.parts) {
        samples.set(part, at);
        at += part.length;
      }
      this.port.postMessage({ samples, first: this.first }, [samples.buffer]);
      this.parts = [];
      this.count = 0;
    }
    return true;
  }
}

registerProcessor("take", Take);
