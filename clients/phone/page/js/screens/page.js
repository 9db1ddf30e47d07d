// The page itself: units, how it looks, what this connection allows, installing, and what is still to be told.
import { button, fill, h, say, show } from "../dom.js";
import { choices } from "../sheet.js";
import { t } from "../texts.js";

export async function mount(root, app) {
  const group = (title, node) => h("section", {}, h("h2", {}, title), node);
  const units = h("div"), themes = h("div"), install = h("div"), able = h("ul", { class: "able" }), outbox = h("p"), key = h("div");
  const sound = button(t("page.sound.try"), () => {
    app.alarm.unlock();
    app.alarm.nudge();
  }, { class: "wide" });

  function draw() {
    const { setup } = app;
    fill(units, choices(["metric", "inch"].map((unit) => ({ label: t(`page.units.${unit}`), on: app.units === unit, stay: true, pick: () => app.choose({ units: unit }) }))));
    fill(themes, choices(["day", "dim"].map((theme) => ({ label: t(`page.theme.${theme}`), note: t(`page.theme.${theme}.note`), on: setup.theme === theme, stay: true, pick: () => app.choose({ theme }) }))));
    const can = (what, yes) => h("li", { class: yes ? "yes" : "no" }, h("b", {}, t(yes ? "able.yes" : "able.no")), " ", t(`able.${what}`));
    fill(able,
      can("offline", app.secure && "serviceWorker" in navigator),
      can("keep", app.keep.lasting),
      can("locate", app.secure && "geolocation" in navigator),
      can("awake", app.secure && "wakeLock" in navigator && !app.awake.refused),
      can("sound", Boolean(window.AudioContext ?? window.webkitAudioContext)),
      can("vibrate", "vibrate" in navigator));
    const installed = matchMedia("(display-mode: standalone)").matches;
    fill(install,
      app.secure ? null : h("p", { class: "note", id: "insecure" }, t("page.insecure", { origin: location.origin })),
      app.secure ? h("p", {}, t(installed ? "page.installed" : app.install ? "page.install.ready" : "page.install.menu")) : null,
      app.install ? button(t("page.install"), async () => {
        await app.install.prompt();
        app.install = null;
        draw();
      }, { class: "big wide" }) : null);
    const { api } = app;
    if (!key.contains(document.activeElement)) {
      const field = h("input", { id: "key", type: "password", autocomplete: "off", maxlength: 200, value: api.key ?? "", "aria-describedby": "key-text" });
      fill(key, h("p", { id: "key-text" }, t(api.keyWanted ? "key.wanted" : api.key ? "key.taken" : "key.none")),
        h("label", { for: "key" }, t("key.label")), field,
        button(t("key.take"), () => app.takeKey(field.value.trim()), { class: "big wide", id: "take-key" }));
    }
    const count = app.frames.outbox.count;
    say(outbox, count ? t("page.outbox", { count, n: count }) : t("page.outbox.none"));
  }

  fill(root, h("h1", {}, t("page.title")), group(t("page.theme"), themes), group(t("page.units"), units), group(t("page.install.title"), install),
    group(t("page.able"), able), group(t("page.sound"), [h("p", {}, t("page.sound.text")), sound]), group(t("page.outbox.title"), outbox), group(t("key.title"), key),
    h("p", { class: "small" }, t("page.version", { version: document.querySelector("meta[name=page-version]").content })));
  draw();
  show(sound, Boolean(window.AudioContext ?? window.webkitAudioContext));
  return { changed: draw };
}
