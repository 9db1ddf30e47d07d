// Keeping the screen on while a frame is in the light, where the phone allows it.
export class Awake {
  constructor() {
    this.lock = null;
    this.wanted = false;
    this.refused = !("wakeLock" in navigator);
    document.addEventListener("visibilitychange", () => this.turn());
  }

  want(wanted) {
    if (wanted === this.wanted) return;
    this.wanted = wanted;
    this.turn();
  }

  async turn() {
    if (!this.wanted) {
      await this.lock?.release().catch(() => {});
      this.lock = null;
      return;
    }
    if (this.lock || document.visibilityState !== "visible" || !("wakeLock" in navigator)) return;
    try {
      this.lock = await navigator.wakeLock.request("screen");
      this.refused = false;
      this.lock.addEventListener("release", () => { this.lock = null; });
    } catch {
      this.refused = true; // the end is an absolute time, so nothing is lost but the light of the screen
    }
  }
}
