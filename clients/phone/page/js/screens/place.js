// Where: found by the phone, by name, or by coordinates.  The first thing asked, and the only thing needed.
import { Away, query } from "../api.js";
import { button, fill, h, say } from "../dom.js";
import { glyph } from "../glyphs.js";
import { isPlaced } from "../setup.js";
import { t } from "../texts.js";

export async function mount(root, app) {
  const first = !isPlaced(app.setup);
  const told = h("p", { class: "told", role: "status" });
  const found = h("ul", { class: "choices found" });
  const field = h("input", {
    id: "place-name", type: "search", autocomplete: "off", enterkeyhint: "search", maxlength: 100,
    spellcheck: "false", "aria-describedby": "place-hint",
  });

  async function take(place) {
    const { label, latitude_deg, longitude_deg, elevation_m, time_zone } = place;
    const spot = app.setup.spot.kind === "saved" ? { kind: "flat" } : app.setup.spot;
    await app.choose({ place: { label, latitude_deg, longitude_deg, elevation_m, time_zone }, spot });
    app.go("now");
  }

  async function search(words) {
    const { places, attribution } = await app.api.get(`v1/places?${query({ name: words, limit: 8 })}`);
    return { places, attribution };
  }

  async function look(event) {
    event.preventDefault();
    const words = field.value.trim();
    if (!words) {
      field.focus();
      return;
    }
    fill(found);
    say(told, t("place.looking"));
    try {
      const { places, attribution } = await search(words);
      say(told, t("place.found", { count: places.length, n: places.length }));
      fill(found, places.map((place) => h("li", {}, button("", () => take(place), { class: "choice" }))));
      [...found.querySelectorAll("button")].forEach((one, index) => fill(one,
        h("span", { class: "choice-name" }, places[index].label), h("span", { class: "choice-note" }, places[index].time_zone)));
      found.append(h("li", { class: "small" }, attribution));
    } catch (error) {
      say(told, app.api.keyWanted ? t("key.wanted") : error instanceof Away ? t("place.away") : t("place.none", { words, why: error.message }));
    }
  }

  async function locate() {
    say(told, t("place.locating"));
    try {
      const position = await new Promise((resolve, reject) => navigator.geolocation.getCurrentPosition(
        resolve, reject, { enableHighAccuracy: false, maximumAge: 600000, timeout: 10000 }));
      // a hundred metres are nothing to the sun, and nobody's doorstep
      const [latitude, longitude] = [position.coords.latitude, position.coords.longitude].map((one) => one.toFixed(3));
      const { places } = await search(`${latitude},${longitude}`);
      await take({ ...places[0], label: t("place.here", { where: places[0].label }) });
    } catch (error) {
      say(told, error instanceof Away ? t("place.away") : t("place.notlocated"));
    }
  }

  const canLocate = app.secure && "geolocation" in navigator;
  fill(root,
    h("h1", {}, t(first ? "place.first" : "place.title")),
    first ? h("p", { class: "lead" }, t("place.lead")) : null,
    h("form", { class: "thumbward", onsubmit: look },
      told, found,
      h("label", { for: "place-name" }, t("place.label")),
      h("div", { class: "row" }, field, h("button", { type: "submit", class: "big" }, t("place.search"))),
      h("p", { id: "place-hint", class: "small" }, t("place.hint")),
      canLocate ? button("", locate, { class: "big wide", id: "locate" }) : h("p", { class: "note" }, t("place.insecure")),
    ));
  const locateButton = root.querySelector("#locate");
  if (locateButton) fill(locateButton, glyph("pin"), t("place.locate"));
  return {};
}
