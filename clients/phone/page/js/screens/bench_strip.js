// A test strip: planned by dose for what is printed, followed cover by cover, read, and told to its recipe.
import { isPlaced } from "../setup.js";
import { fill, h } from "../dom.js";
import { ENDED } from "../frames.js";
import { isStrip } from "../strip_book.js";
import { followStrip } from "../strip_follow.js";
import { planStrip } from "../strip_plan.js";
import { readStrip } from "../strip_read.js";
import { watchStrips } from "../strip_watch.js";
import { t } from "../texts.js";
import { wayBack } from "../bench_kit.js";

export async function mount(root, app, [id]) {
  watchStrips(app);
  const frame = id ? app.frames.get(id) : null;
  if (id && !(frame && isStrip(frame))) {
    fill(root, wayBack("/strip", t("bench.back.strip")), h("h1", {}, t("strip.unknown")), h("p", {}, t("strip.unknown.text")));
    return {};
  }
  if (!frame && !isPlaced(app.setup)) {
    fill(root, wayBack("", t("bench.title")), h("h1", {}, t("strip.title")), h("p", { class: "lead" }, t("bench.noplace")),
      h("a", { class: "big button", href: "#/place" }, t("place.first")));
    return {};
  }
  let part = null, stage = null;
  const stageOf = () => (!frame ? "plan" : ENDED.includes(frame.status) ? "read" : "follow");
  async function draw() {
    if (stage === stageOf()) return;
    part?.leave?.();
    stage = stageOf();
    part = await { plan: planStrip, follow: followStrip, read: readStrip }[stage](root, app, frame);
  }
  await draw();
  return {
    tick(nowMs) { part?.tick?.(nowMs); },
    changed(what, value) {
      if (what === "frame" && frame && stage !== stageOf()) draw();
      else part?.changed?.(what, value);
    },
    leave() { part?.leave?.(); },
  };
}
