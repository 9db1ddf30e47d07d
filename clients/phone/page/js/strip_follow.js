// A strip in the light: what to cover, and at what time by the clock.
import { wayBack } from "./bench_kit.js";
import { button, fill, h, say, show } from "./dom.js";
import { age, clockSeconds, countdown, length } from "./moments.js";
import { besideTarget } from "./strip_plan.js";
import { coverNext, coversOf, isLast, nextStrip, notice, uncoverLast } from "./strip_book.js";
import { ladder } from "./strip_ladder.js";
import { t } from "./texts.js";

export async function followStrip(root, app, frame) {
  const p = {
    big: h("p", { class: "count-big", id: "strip-big" }), what: h("h2", { class: "strip-what", id: "strip-what" }), when: h("p", { class: "until", id: "strip-when" }),
    source: h("p", { class: "aged" }), note: h("p", { class: "small" }),
  };
  p.paper = h("section", { class: "paper strip-paper", "aria-label": t("strip.next.label") }, p.what, p.big, p.when);
  p.done = button("", covered, { class: "big go", id: "strip-covered" });
  p.undo = button(t("strip.undo"), () => uncoverLast(app, frame), { class: "big", id: "strip-undo" });
  const strips = ladder(frame.strip.totals.length, { label: t("strip.ladder") });
  app.follower.look(frame.id);
  fill(root, wayBack("", t("bench.title")), h("h1", { class: "frame-name" }, frame.name), p.paper, p.source,
    h("div", { class: "beside" }, strips.node, h("p", { class: "small" }, t("strip.how"))),
    h("a", { class: "quiet-link", href: `#/frames/${encodeURIComponent(frame.id)}` }, t("strip.sky")),
    h("ul", { class: "cautions" }, (frame.answer?.cautions ?? [t("caution.eyes")]).map((one) => h("li", {}, one))),
    h("section", { class: "thumb", "aria-label": t("now.controls") }, h("div", { class: "acts" }, p.undo, p.done)));

  async function covered() {
    const number = nextStrip(frame);
    await coverNext(app, frame);
    app.tellAloud(t(isLast(frame, number) ? "frames.heard.finished" : "strip.covered.aloud", { n: number }));
  }

  function draw(nowMs = app.now) {
    if (frame.status === "running" && notice(app.frames, frame, nowMs)) app.frames.save(frame);
    const all = coversOf(app.frames, frame, nowMs);
    const number = nextStrip(frame);
    if (number === null) return;
    const next = all[number - 1], { zone } = frame, last = isLast(frame, number);
    const words = { n: number, name: frame.name };
    const lit = frame.status === "running";
    p.paper.dataset.state = next.past && lit ? "due" : "open";
    if (!lit) {
      say(p.what, t("strip.what", words));
      say(p.big, t("status.covered"));
      say(p.when, t("strip.allcovered"));
    } else if (next.past) {
      say(p.what, t(last ? "strip.takein" : "strip.cover.now", words));
      say(p.big, t(last ? "strip.takein.big" : "strip.big", words));
      say(p.when, t("strip.since", { time: clockSeconds(next.atMs, zone), length: length((nowMs - next.atMs) / 1000) }));
    } else {
      say(p.what, t(last ? "strip.what.last" : "strip.what", words));
      say(p.big, next.atMs === null ? t("frames.nolight") : countdown((next.atMs - nowMs) / 1000));
      say(p.when, next.atMs === null ? t("strip.nolight") : t("strip.coverat", { time: clockSeconds(next.atMs, zone) }));
    }
    say(p.done, t(last ? "frames.finish" : "strip.iscovered", words));
    p.undo.disabled = number === 1;
    strips.draw(all.map((one, index) => {
      const told = frame.strip.covers[index];
      const mark = told !== undefined ? "covered" : one.past ? "due" : index + 1 === number ? "next" : "open";
      const time = told ?? one.atMs;
      return {
        mark, name: t("strip.n", { n: one.number }), note: besideTarget(frame.strip.stops[index]),
        word: told !== undefined ? t("strip.word.covered", { time: clockSeconds(told, zone) }) : one.past ? t("strip.word.due")
          : time === null ? t("now.never") : clockSeconds(time, zone),
      };
    }));
    const stand = app.frames.stand(frame, nowMs);
    const byPhone = stand.source === "phone";
    say(p.source, byPhone ? t("frames.byphone", { age: age((nowMs - stand.keptMs) / 1000) }) : stand.source === "none" ? t("frames.unknown.text") : "");
    show(p.source, stand.source !== "service");
  }

  draw();
  return { tick: draw, changed(what) { if (what === "frame" || what === "reach") draw(); }, leave() { app.follower.look(null); } };
}
