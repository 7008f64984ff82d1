// Plays the tone. Browsers let a page sound only after a person touched it.

export class Sound {
  constructor() {
    this.context = null;
    this.gain = null;
    this.oscillator = null;
    this.beat = null;
  }

  /** Call it from a touch. */
  wake() {
    if (this.context !== null || typeof AudioContext === "undefined") return;
    this.context = new AudioContext();
    this.gain = this.context.createGain();
    this.gain.gain.value = 0;
    this.oscillator = this.context.createOscillator();
    this.oscillator.type = "triangle";
    this.oscillator.connect(this.gain).connect(this.context.destination);
    this.oscillator.start();
  }

  /** Sound as `toneOf` says; null is silence. */
  play(tone, now) {
    if (this.context === null) return;
    const at = this.context.currentTime;
    const on = tone !== null && (tone.beat_s === 0 || (now / 1000) % tone.beat_s < tone.beat_s / 2);
    if (tone !== null) this.oscillator.frequency.setTargetAtTime(tone.hz, at, 0.02);
    this.gain.gain.setTargetAtTime(on ? 0.15 : 0, at, 0.01);
  }
}
