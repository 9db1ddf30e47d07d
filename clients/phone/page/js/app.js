// What every screen is given: the set-up, the desks, and ways to move on.
import { Alarm } from "./alarm.js";
import { Api } from "./api.js";
import { Awake } from "./awake.js";
import { FrameDesk } from "./frames.js";
import { openKeep } from "./keep.js";
import { LightDesk } from "./light.js";
import { FIRST, unitsOf, zoneOf } from "./setup.js";
import { Follower } from "./stream.js";
import { say } from "./dom.js";

export class App {
  static async open() {
    const app = new App();
    app.keep = await openKeep();
    app.api = new Api(app.keep);
    app.api.skewMs = (await app.keep.things.get("skew")) ?? 0;
    app.api.key = (await app.keep.things.get("key")) ?? null;
    app.lights = new LightDesk(app.api, app.keep);
    app.frames = new FrameDesk(app.api, app.keep, app.lights);
    app.follower = new Follower(app.api, app.frames);
    app.alarm = new Alarm();
    app.awake = new Awake();
    app.setup = { ...FIRST, ...(await app.keep.things.get("setup")) };
    app.install = null; // the browser's offer to install, once it makes one
    app.listeners = new Set();
    await app.frames.open();
    app.frames.onChange = (frame) => app.changed("frame", frame);
    app.frames.onFlushed = () => app.changed("outbox", app.frames.outbox.count);
    app.api.onReach = (reachable) => app.changed("reach", reachable);
    return app;
  }

  get now() { return this.api.now(); }
  get zone() { return zoneOf(this.setup); }
  get units() { return unitsOf(this.setup); }
  get secure() { return window.isSecureContext; }

  async choose(choices) {
    this.setup = { ...this.setup, ...choices };
    await this.keep.things.put(this.setup, "setup");
    this.changed("setup", choices);
  }

  /** Take a key, or none any more, and tell what waited for one. */
  async takeKey(key) {
    this.api.key = key || null;
    await this.keep.things.put(this.api.key, "key");
    this.changed("key", true);
    this.frames.outbox.flush();
  }

  go(...path) { location.hash = `#/${path.map(encodeURIComponent).join("/")}`; }

  /** Hear of changes: `listen((what, value) => ...)`; gives back how to stop. */
  listen(listener) {
    this.listeners.add(listener);
    return () => this.listeners.delete(listener);
  }

  changed(what, value) { for (const listener of [...this.listeners]) listener(what, value); }

  /** Say something to who listens rather than looks. */
  tellAloud(text) { say(document.getElementById("heard"), text); }
}
