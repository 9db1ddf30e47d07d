// Frames in the light: a countdown by dose, the sky as it is told, the next move, and an end one can't miss.
import { button, fill, h, say, show } from "../dom.js";
import { ENDED } from "../frames.js";
import { glyph, SKY_GLYPHS } from "../glyphs.js";
import { age, clock, clockOn, clockSeconds, countdown, length, number, percent } from "../moments.js";
import { nextMove } from "../moves.js";
import { openSheet } from "../sheet.js";
import { has, t } from "../texts.js";

const SKIES = ["sun-out", "thin-cloud", "covered", "broken", "overcast", "rain", "fog"];
const AGO_MIN = [0, 1, 2, 5, 10];

/** The tone of the paper for a share of the dose: fresh coat to full blue, in twenty steps. */
const tone = (share) => String(Math.min(Math.max(Math.round(share * 20), 0), 20));

export async function mount(root, app, [wanted]) {
  const desk = app.frames;
  let frame, agoMin = 0, spokenMin = null, move = null;

  const p = {
    tabs: h("div", { class: "tabs", role: "group", "aria-label": t("frames.choose") }),
    name: h("h1", { class: "frame-name" }),
    big: h("p", { class: "count-big" }), end: h("p", { class: "until" }), share: h("p", { class: "share" }),
    sun: h("dd"), cloud: h("dd"),
    source: h("p", { class: "aged" }), says: h("p", { class: "small says" }),
    skies: h("div", { class: "skies", role: "group", "aria-labelledby": "sky-label" }),
    agos: h("div", { class: "agos", role: "group", "aria-label": t("frames.when") }),
    told: h("ol", { class: "told-list" }), move: h("section", { class: "move" }),
    troubles: h("section", { class: "troubles" }), cautions: h("ul", { class: "cautions" }),
  };
  p.ifs = h("dl", { class: "ifs" },
    h("div", {}, h("dt", {}, glyph("sun"), t("now.sun")), p.sun),
    h("div", {}, h("dt", {}, glyph("cloud"), t("now.cloud")), p.cloud));
  p.bar = h("div", { class: "dose-bar", "aria-hidden": "true" }, h("i"));
  p.paper = h("section", { class: "paper tone", "aria-label": t("frames.paper") }, p.name, p.big, p.end, p.share, p.bar);
  const underLamp = () => Boolean(frame.answer?.basis.lamp);
  p.cover = button(t("frames.cover"), () => act(frame.status === "covered" ? "uncovered" : "covered"), { class: "big", id: "cover" });
  p.finish = button(t("frames.finish"), () => act("finished"), { class: "big go", id: "finish" });
  p.more = button(t("frames.more"), more, { class: "quiet", id: "more" });
  p.skyPart = h("section", { class: "sky-part" }, h("h2", { id: "sky-label" }, t("frames.sky")), p.agos, p.skies);
  p.acts = h("div", { class: "acts" }, p.cover, p.finish);
  p.thumb = h("section", { class: "thumb", "aria-label": t("now.controls") }, p.acts);
  const shape = [p.tabs, p.paper, p.source, p.troubles, p.ifs, h("div", { class: "beside" }, p.skyPart, p.says, p.move),
    h("details", { class: "why" }, h("summary", {}, t("frames.told")), p.told), p.cautions, p.more, p.thumb];

  fill(p.skies, SKIES.map((sky) => h("button", { type: "button", class: "sky", "data-sky": sky, onclick: () => tellSky(sky) },
    glyph(SKY_GLYPHS[sky]), h("span", {}, t(`seen.${sky}`)))));
  fill(p.agos, AGO_MIN.map((minutes) => button(minutes ? t("frames.ago", { n: number(minutes) }) : t("frames.justnow"), () => {
    agoMin = minutes;
    drawAgos();
  }, { class: "ago", "data-ago": minutes, "aria-label": minutes ? t("frames.ago.long", { count: minutes, n: number(minutes) }) : t("frames.justnow.long") })));

  function drawAgos() {
    for (const one of p.agos.children) one.setAttribute("aria-pressed", String(Number(one.dataset.ago) === agoMin));
  }

  async function tellSky(sky) {
    const atMs = app.now - agoMin * 60000;
    agoMin = 0;
    drawAgos();
    await desk.tell(frame, "sky", { sky, atMs });
    app.tellAloud(t("frames.heard.sky", { sky: t(`seen.${sky}`), time: clock(atMs, frame.zone) }));
    move?.again();
  }

  async function act(kind, fields = {}) {
    app.alarm.hush();
    if (kind === "finished" || kind === "covered") frame.rang = true;
    await desk.tell(frame, kind, fields);
    app.tellAloud(t(underLamp() && has(`lamp.heard.${kind}`) ? `lamp.heard.${kind}` : `frames.heard.${kind}`));
  }

  function more() {
    openSheet(t("frames.more.title", { name: frame.name }), (close) => [
      underLamp() && frame.status === "running" ? [h("p", {}, t("lamp.shade.text")), button(t("lamp.shade"), async () => {
        await act("covered", { lamp_on: true });
        close();
      }, { class: "big wide", id: "shade" })] : null,
      h("p", {}, t("frames.discard.text")),
      button(t("frames.discard"), async () => {
        await act("discarded");
        close();
      }, { class: "big wide", id: "discard" }),
    ]);
  }

  function choose() {
    const all = desk.all();
    const found = (wanted && desk.get(wanted)) || desk.underWay()[0] || all[0] || null;
    if (found === frame) return;
    frame = found;
    move?.leave();
    move = null;
    spokenMin = null;
    app.follower.look(frame?.id ?? null);
    if (!frame) {
      fill(root, h("h1", {}, t("frames.none")), h("p", { class: "lead" }, t("frames.none.text")),
        h("a", { class: "big button", href: "#/now" }, t("frames.none.go")));
      return;
    }
    fill(root, shape);
    if (!ENDED.includes(frame.status) && !underLamp()) move = nextMove(p.move, app, frame);
    else fill(p.move);
  }

  function drawTabs(nowMs) {
    const all = desk.all().slice(0, 12);
    show(p.tabs, all.length > 1);
    if (p.tabs.children.length !== all.length || [...p.tabs.children].some((tab, index) => tab.dataset.id !== all[index].id)) {
      fill(p.tabs, all.map((one) => h("a", { href: `#/frames/${encodeURIComponent(one.id)}`, "data-id": one.id }, h("span", {}, one.name), h("b"))));
    }
    all.forEach((one, index) => {
      const tab = p.tabs.children[index], stand = desk.stand(one, nowMs);
      if (one === frame) tab.setAttribute("aria-current", "true"); else tab.removeAttribute("aria-current");
      tab.dataset.tone = tone(stand.share);
      say(tab.lastChild, shortly(one, stand, nowMs));
    });
  }

  function shortly(one, stand, nowMs) {
    if (ENDED.includes(one.status)) return t(`status.${one.status}`);
    if (stand.reached) return t("frames.done");
    if (one.status === "covered") return t("status.covered");
    return stand.endMs ? countdown((stand.endMs - nowMs) / 1000) : "…";
  }

  function draw(nowMs = app.now) {
    choose();
    if (!frame) return;
    drawTabs(nowMs);
    move?.tick();
    const stand = desk.stand(frame, nowMs);
    const { status } = frame, ended = ENDED.includes(status), zone = frame.zone;
    const leftS = stand.endMs === null || stand.endMs === undefined ? null : (stand.endMs - nowMs) / 1000;
    p.paper.dataset.tone = tone(stand.share);
    p.bar.style.setProperty("--share", `${Math.min(Math.max(stand.share, 0), 1) * 100}%`);
    p.paper.dataset.state = stand.reached ? "done" : status;
    say(p.name, frame.name);
    say(p.share, stand.source === "none" ? "" : t("frames.share", { share: percent(Math.max(stand.share, 0)) }));
    if (ended) {
      say(p.big, t(`status.${status}`));
      const stopped = frame.answer?.stopped ? Date.parse(frame.answer.stopped) : frame.events.findLast((event) => ENDED.includes(event.kind))?.atMs;
      say(p.end, stopped ? t("frames.stopped", { from: clockOn(frame.startMs, zone, nowMs), to: clockSeconds(stopped, zone) }) : "");
    } else if (stand.reached) {
      say(p.big, t("frames.done"));
      const overS = (nowMs - stand.endMs) / 1000;
      say(p.end, overS < 5 ? t("frames.done.now") : t("frames.done.since", { time: clockSeconds(stand.endMs, zone), length: length(overS) }));
    } else if (leftS === null) {
      say(p.big, t(stand.source === "none" ? "frames.unknown" : "frames.nolight"));
      say(p.end, t(stand.source === "none" ? "frames.unknown.text" : "frames.nolight.text"));
    } else {
      say(p.big, countdown(leftS));
      p.big.classList.toggle("long", leftS > 3599);
      say(p.end, t(status === "covered" ? (underLamp() ? "lamp.covered.left" : "frames.covered.left") : "frames.doneat", { time: clockSeconds(stand.endMs, zone), zone: "" }));
    }
    const other = (node, ms) => say(node, ms === null || ms === undefined ? t("now.never") : length(Math.max((ms - nowMs) / 1000, 0)));
    const lamp = underLamp();
    show(p.ifs, !lamp && !ended && !stand.reached && stand.source !== "none");
    other(p.sun, stand.sunMs);
    other(p.cloud, stand.cloudMs);
    drawSource(stand, nowMs, ended);
    show(p.says, !ended && Boolean(stand.says));
    if (stand.says) {
      const range = stand.lowMs && stand.highMs ? ` ${t("frames.range", { low: clock(stand.lowMs, zone), high: clock(stand.highMs, zone) })}` : "";
      say(p.says, (lamp ? t("lamp.says", { says: frame.answer.basis.lamp }) : t("frames.says", { says: stand.says })) + range);
    }
    show(p.skyPart, !ended && !lamp);
    show(p.move, !ended && !lamp);
    for (const one of p.skies.children) one.setAttribute("aria-pressed", String(stand.sky === one.dataset.sky));
    show(p.thumb, !ended);
    show(p.more, !ended);
    say(p.cover, t(`${lamp ? "lamp" : "frames"}.${status === "covered" ? "uncover" : "cover"}`));
    fillOnce(p.cautions, (ended ? [] : frame.answer?.cautions ?? [t("caution.eyes")]).map((one) => h("li", {}, one)));
    drawTold();
    drawTroubles();
    speak(stand, leftS);
  }

  function drawSource(stand, nowMs, ended) {
    const lines = [];
    if (stand.source === "phone" && !ended) lines.push(t("frames.byphone", { age: age((nowMs - stand.keptMs) / 1000) }));
    if (stand.stale) lines.push(t("frames.stale", { age: age((nowMs - stand.heardMs) / 1000) }));
    const untold = frame.events.filter((event) => event.state === "waiting").length + (frame.serverId || frame.refused ? 0 : 1);
    if (untold && !(app.api.reachable && stand.source === "service")) lines.push(t("frames.untold", { count: untold, n: number(untold) }));
    if (!app.keep.lasting) lines.push(t("keep.memory"));
    say(p.source, lines.join(" "));
    show(p.source, lines.length > 0);
  }

  function drawTold() {
    const lines = [h("li", {}, t("told.line", { time: clockSeconds(frame.startMs, frame.zone), what: wordOf({ kind: "started" }) })),
      ...[...frame.events].sort((a, b) => a.atMs - b.atMs || a.order - b.order).map((event) => h("li", { class: event.state },
        t("told.line", { time: clockSeconds(event.atMs, frame.zone), what: wordOf(event) }), " ", h("small", {}, t(`told.${event.state}`))))];
    fillOnce(p.told, lines);
  }

  const wordOf = (event) => (event.kind === "sky" ? t(`seen.${event.sky}`)
    : t(underLamp() && has(`lamp.told.${event.kind}`) ? `lamp.told.${event.kind}` : `told.${event.kind}`));

  function drawTroubles() {
    const troubles = desk.troubles(frame);
    const key = JSON.stringify(troubles.map(({ what, event }) => [what, event?.eventId]));
    show(p.troubles, troubles.length > 0);
    if (p.troubles.dataset.key === key) return;
    p.troubles.dataset.key = key;
    fill(p.troubles, troubles.length ? h("h2", {}, t("trouble.title")) : null, troubles.map((trouble) => h("div", { class: "trouble" },
      h("p", {}, trouble.what === "event"
        ? t("trouble.event", { what: wordOf(trouble.event), time: clockSeconds(trouble.event.atMs, frame.zone), why: trouble.problem.detail })
        : t(`trouble.${trouble.what}`, { why: trouble.problem?.detail ?? "" })),
      h("div", { class: "row" },
        button(t(trouble.what === "event" ? "trouble.again" : "trouble.anew"), () => desk.again(frame, trouble)),
        trouble.what === "event" ? button(t("trouble.leave"), () => desk.leaveOut(frame, trouble.event)) : null))));
  }

  function fillOnce(node, children) {
    const key = children.map((child) => child.textContent + child.className).join("|");
    if (node.dataset.key === key) return;
    node.dataset.key = key;
    fill(node, children);
  }

  /** For who listens: whole minutes only, and the end. */
  function speak(stand, leftS) {
    if (leftS === null || ENDED.includes(frame.status) || stand.reached) return;
    const minutes = Math.ceil(leftS / 60);
    if (spokenMin !== null && minutes < spokenMin) app.tellAloud(t("frames.left.aloud", { count: minutes, n: number(minutes), name: frame.name }));
    spokenMin = minutes;
  }

  drawAgos();
  draw();
  app.frames.adopt().then(() => draw()).catch(() => {});
  return {
    tick: draw,
    changed(what) { if (what !== "install") draw(); },
    leave() {
      move?.leave();
      app.follower.look(null);
    },
  };
}
