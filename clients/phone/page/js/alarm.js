// Sound and vibration.  A browser lets a page sound only after a touch, so the first one unlocks it.
const RINGS = 45, EVERY_MS = 1600;

export class Alarm {
  constructor() {
    this.context = null;
    this.timer = null;
    this.left = 0;
    this.wanted = new Set();
    this.past = new Set(); // what was called for long enough, or answered with a touch
    const touched = () => {
      this.unlock();
      if (this.timer !== null) this.rest();
    };
    for (const kind of ["pointerdown", "keydown"]) addEventListener(kind, touched, { capture: true });
  }

  unlock() {
    const Context = window.AudioContext ?? window.webkitAudioContext;
    if (!Context) return;
    this.context ??= new Context();
    if (this.context.state === "suspended") this.context.resume().catch(() => {});
  }

  get canSound() { return this.context?.state === "running"; }

  /** Two rising tones. */
  tones(loud = 0.5) {
    if (!this.context) return;
    const from = this.context.currentTime;
    for (const [index, pitch] of [587, 880].entries()) {
      const tone = this.context.createOscillator(), volume = this.context.createGain();
      tone.type = "triangle";
      tone.frequency.value = pitch;
      const at = from + index * 0.28;
      volume.gain.setValueAtTime(0, at);
      volume.gain.linearRampToValueAtTime(loud, at + 0.03);
      volume.gain.linearRampToValueAtTime(0, at + 0.26);
      tone.connect(volume).connect(this.context.destination);
      tone.start(at);
      tone.stop(at + 0.28);
    }
  }

  buzz(pattern) { navigator.vibrate?.(pattern); }

  /** A short call that the end is near. */
  nudge() {
    this.tones(0.25);
    this.buzz([120]);
  }

  /** Call for frames by their ids; one that has been called for is called for again only after it was gone. */
  call(ids) {
    this.wanted = new Set(ids);
    for (const id of this.past) if (!this.wanted.has(id)) this.past.delete(id);
    if (ids.some((id) => !this.past.has(id))) this.ring(); else if (this.timer !== null) this.hush();
  }

  rest() {
    for (const id of this.wanted) this.past.add(id);
    this.hush();
  }

  ring() {
    if (this.timer !== null) return;
    this.left = RINGS;
    const once = () => {
      this.tones();
      this.buzz([300, 150, 300]);
      this.left -= 1;
      if (this.left <= 0) this.rest();
    };
    this.timer = setInterval(once, EVERY_MS);
    once();
  }

  hush() {
    clearInterval(this.timer);
    this.timer = null;
    this.buzz(0);
  }
}
