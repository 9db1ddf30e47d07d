// Starts the page: bar, rail, one screen at a time, the second hand, and what may happen at any moment.
import { App } from "./app.js";
import { button, fill, h, say, show } from "./dom.js";
import { glyph } from "./glyphs.js";
import { wallClock } from "./moments.js";
import { routeOf, SCREENS } from "./screens.js";
import { isPlaced } from "./setup.js";
import { t } from "./texts.js";

const NEAR_MS = 30000, QUIET_MS = 8000, AHEAD_MS = 30 * 60000;
const bar = document.getElementById("bar"), main = document.getElementById("main"), rail = document.getElementById("rail");
const TINTS = { day: "#f7f4e6", dim: "#000000" };
let app, current = null, shownFor = null, mounting = 0, aheadMs = 0;

function theme() {
  document.documentElement.dataset.theme = app.setup.theme;
  document.querySelector("meta[name=theme-color]").content = TINTS[app.setup.theme] ?? TINTS.day;
}

const parts = {};

function drawBar() {
  parts.place = button("", () => app.go("place"), { class: "bar-place" });
  parts.clock = h("span", { class: "bar-clock" });
  parts.away = h("span", { class: "bar-away" }, t("bar.away"));
  parts.key = h("a", { class: "bar-away", href: "#/page" }, t("bar.key"));
  parts.theme = button("", () => app.choose({ theme: app.setup.theme === "day" ? "dim" : "day" }), { class: "round" });
  fill(bar, parts.place, parts.clock, parts.away, parts.key, parts.theme,
    h("a", { class: "round", href: "#/page", "aria-label": t("bar.page") }, glyph("dial")));
  say(document.getElementById("skip"), t("skip"));
  document.getElementById("skip").addEventListener("click", (event) => {
    event.preventDefault();
    main.focus();
  });
  document.documentElement.lang = t("language");
  rail.setAttribute("aria-label", t("rail.label"));
  fill(rail, SCREENS.filter((screen) => screen.rail).map((screen) =>
    h("a", { href: `#/${screen.id}`, id: `rail-${screen.id}` }, glyph(screen.glyph), h("span", {}, t(screen.rail)), h("b", { class: "count" }))));
}

function refreshBar() {
  const { setup } = app;
  const label = setup.spot.kind === "saved" ? setup.spot.name : setup.place?.label ?? t("bar.noplace");
  say(parts.place, label.split(",")[0]);
  parts.place.setAttribute("aria-label", t("bar.place", { place: label }));
  say(parts.clock, isPlaced(setup) ? wallClock(app.now, app.zone) : "");
  show(parts.away, !app.api.reachable);
  show(parts.key, app.api.reachable && app.api.keyWanted);
  const dim = setup.theme === "dim";
  fill(parts.theme, glyph(dim ? "sun" : "lamp"));
  parts.theme.setAttribute("aria-label", t(dim ? "bar.day" : "bar.dim"));
  const count = app.frames.underWay().length;
  const badge = document.querySelector("#rail-frames .count");
  say(badge, count ? String(count) : "");
  document.getElementById("rail-frames").setAttribute("aria-label", count ? t("rail.frames.count", { count, n: count }) : t("rail.frames"));
}

/** Whether the service has a page of another version by now: what this one has not loaded yet is gone. */
async function isRenewed() {
  try {
    const page = new DOMParser().parseFromString(await (await fetch("./", { cache: "no-cache" })).text(), "text/html");
    const versionOf = (one) => one.querySelector("meta[name=page-version]")?.content;
    return Boolean(versionOf(page)) && versionOf(page) !== versionOf(document);
  } catch {
    return false;
  }
}

async function route() {
  let { screen, args } = routeOf(location.hash);
  if (!isPlaced(app.setup) && screen.id === "now") ({ screen, args } = routeOf("#/place"));
  const ticket = ++mounting;
  current?.leave?.();
  current = null;
  for (const link of rail.children) {
    if (link.id === `rail-${screen.id}`) link.setAttribute("aria-current", "page"); else link.removeAttribute("aria-current");
  }
  document.title = t("title", { screen: t(`title.${screen.id}`) });
  main.dataset.screen = screen.id;
  const root = h("div", { class: `screen ${screen.id}` });
  try {
    const module = await screen.load();
    if (ticket !== mounting) return;
    fill(main, root);
    const mounted = await module.mount(root, app, args);
    if (ticket !== mounting) mounted?.leave?.(); else current = mounted ?? {};
  } catch (error) {
    if (ticket !== mounting) return;
    console.error(error);
    const kind = await isRenewed() ? "renewed" : "broken";
    if (ticket !== mounting) return;
    fill(main, h("div", { class: "screen", id: kind }, h("h1", {}, t(`${kind}.title`)), h("p", {}, t(`${kind}.text`)),
      button(t(`${kind}.again`), () => location.reload(), { class: "big go" })));
  }
  if (shownFor !== null && shownFor !== screen.id) main.focus({ preventScroll: true });
  shownFor = screen.id;
  scrollTo(0, 0);
}

/** Whatever the screen: when a frame has had its light, say so until somebody comes. */
function watchFrames() {
  const nowMs = app.now;
  const done = [];
  let busy = false;
  for (const frame of app.frames.underWay()) {
    if (frame.status !== "running") continue;
    busy = true;
    const stand = app.frames.stand(frame, nowMs);
    if (stand.reached && !frame.rang) {
      done.push(frame.id);
      app.tellAloud(t("done.aloud", { name: frame.name }));
    } else if (!stand.reached && stand.endMs && stand.endMs - nowMs <= NEAR_MS && stand.endMs - frame.startMs > 4 * NEAR_MS && frame.nudged !== frame.events.length) {
      frame.nudged = frame.events.length;
      app.alarm.nudge();
    }
  }
  app.alarm.call(done);
  app.awake.want(busy);
}

function second() {
  refreshBar();
  watchFrames();
  app.follower.turn();
  current?.tick?.(app.now);
  if (!app.api.reachable) return;
  app.frames.renewLight();
  if (app.now - aheadMs >= AHEAD_MS) {
    aheadMs = app.now;
    import("./ahead.js").then((ahead) => ahead.fetchAhead(app)).catch(() => {});
  }
}

function awakeAgain() {
  if (document.visibilityState !== "visible") return;
  app.frames.outbox.flush();
  app.follower.turn(true);
  second();
  app.changed("visible", true);
}

async function start() {
  app = await App.open();
  theme();
  drawBar();
  refreshBar();
  app.listen((what, value) => {
    if (what === "setup" && "theme" in value) theme();
    if (what === "setup" && ("place" in value || "spot" in value || "recipe" in value)) aheadMs = app.now - AHEAD_MS + QUIET_MS;
    if (what === "reach" && value) app.frames.renewLight(true);
    refreshBar();
    current?.changed?.(what, value);
  });
  addEventListener("hashchange", route);
  addEventListener("online", () => { app.api.reached(true); awakeAgain(); });
  addEventListener("offline", () => app.api.reached(false));
  document.addEventListener("visibilitychange", awakeAgain);
  addEventListener("pageshow", (event) => { if (event.persisted) awakeAgain(); });
  addEventListener("beforeinstallprompt", (event) => {
    event.preventDefault();
    app.install = event;
    app.changed("install", true);
  });
  aheadMs = app.now - AHEAD_MS + QUIET_MS; // not while the first answer is on its way
  await route();
  setInterval(second, 1000);
  second();
  performance.mark("usable");
  app.frames.outbox.flush();
  if (app.frames.underWay().some((frame) => frame.strip)) import("./strip_watch.js").then((watch) => watch.watchStrips(app)).catch(() => {});
  if ("serviceWorker" in navigator && app.secure) navigator.serviceWorker.register("worker.js").catch(() => {});
  navigator.storage?.persist?.().catch(() => {});
}

start();
