// Whatever the screen: a strip that has its dose is called out until it is covered.
import { h, say, show } from "./dom.js";
import { coversOf, isLast, isStrip, nextStrip, notice } from "./strip_book.js";
import { t } from "./texts.js";

const NEAR_MS = 10000, EVERY_S = 2, MOST_CALLS = 60;

/** Watch every strip in the light from now on; once for the page. */
export function watchStrips(app) {
  if (app.stripWatch) return app.stripWatch;
  const banner = h("a", { class: "strip-call", role: "alert", hidden: true });
  document.body.append(banner);
  const calls = new Map();
  let beats = 0;

  function callOut(frame, number) {
    const key = `${frame.id} ${number}`;
    const count = calls.get(key) ?? 0;
    if (!count) app.tellAloud(t("strip.cover.aloud", { n: number, name: frame.name }));
    if (count < MOST_CALLS && beats % EVERY_S === 0) {
      app.alarm.tones(0.5);
      app.alarm.buzz([250, 120, 250, 120, 250]);
      calls.set(key, count + 1);
    }
  }

  function second() {
    beats += 1;
    const nowMs = app.now;
    let due = null;
    for (const frame of app.frames.underWay().filter((one) => isStrip(one) && one.status === "running")) {
      if (notice(app.frames, frame, nowMs)) app.frames.save(frame);
      const number = nextStrip(frame);
      if (number === null) continue;
      const next = coversOf(app.frames, frame, nowMs)[number - 1];
      const key = `near ${frame.id} ${number}`;
      if (next.past) {
        due ??= { frame, number };
        if (!isLast(frame, number)) callOut(frame, number); // the last is the frame's own end, which is rung for
      } else if (next.atMs !== null && next.atMs - nowMs <= NEAR_MS && !calls.has(key)) {
        calls.set(key, 1);
        app.alarm.nudge();
      }
    }
    const there = due && location.hash === `#/bench/strip/${due.frame.id}`;
    show(banner, Boolean(due) && !there);
    if (due) {
      banner.href = `#/bench/strip/${encodeURIComponent(due.frame.id)}`;
      say(banner, t("strip.cover.banner", { n: due.number, name: due.frame.name }));
    }
  }

  setInterval(second, 1000);
  second();
  app.stripWatch = { second };
  return app.stripWatch;
}
