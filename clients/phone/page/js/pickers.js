// Panels to choose sky, spot and recipe from; what is saved comes from the service, or from when it was last there.
import { fill, h, say } from "./dom.js";
import { glyph, SKY_GLYPHS } from "./glyphs.js";
import { age } from "./moments.js";
import { COVERS, ways } from "./setup.js";
import { choices, openSheet } from "./sheet.js";
import { t } from "./texts.js";

export const SKIES = ["clear", "thin-cloud", "broken", "overcast", "rain", "fog"];

export const pickSky = (app) => openSheet(t("pick.sky"), (close) => choices([
  { label: t("sky.auto"), note: t("sky.auto.note"), glyph: glyph("clock"), on: app.setup.sky === null, pick: () => app.choose({ sky: null }) },
  ...SKIES.map((sky) => ({
    label: t(`sky.${sky}`), note: t(`sky.${sky}.note`), glyph: glyph(SKY_GLYPHS[sky]), on: app.setup.sky === sky, pick: () => app.choose({ sky }),
  })),
], close));

/** Fill `list` with saved things once they are there; says so when they are old or none. */
async function saved(app, path, field, list, told, draw) {
  try {
    const { answer, keptMs } = await app.api.getKept(path);
    const items = answer[field].filter((item) => !item.retired);
    say(told, keptMs !== null ? t("saved.kept", { age: age((app.now - keptMs) / 1000) }) : items.length ? "" : t(`saved.none.${field}`));
    fill(list, items.length ? draw(items) : []);
  } catch {
    say(told, t("saved.away"));
  }
}

export const pickSpot = (app) => openSheet(t("pick.spot"), (close) => {
  const list = h("div"), told = h("p", { class: "small", role: "status" });
  const { spot } = app.setup;
  saved(app, "v1/spots?limit=50", "spots", list, told, (items) => choices(items.map((item) => ({
    label: item.name, on: spot.kind === "saved" && spot.id === item.id,
    pick: () => app.choose({ spot: { kind: "saved", id: item.id, name: item.name, zone: item.time_zone ?? null, body: item.spot } }),
  })), close));
  const lean = spot.kind === "lean" ? spot : { tilt_deg: 30, aim_azimuth_deg: 180 };
  const tilt = h("input", { id: "lean-tilt", type: "range", min: 5, max: 90, step: 5, value: lean.tilt_deg });
  const shown = h("output", { for: "lean-tilt" }, `${lean.tilt_deg}°`);
  tilt.addEventListener("input", () => say(shown, `${tilt.value}°`));
  const way = h("select", { id: "lean-way" }, ways.map(({ azimuth, name }) => h("option", { value: azimuth, selected: azimuth === lean.aim_azimuth_deg }, name())));
  const placed = app.setup.place !== null;
  return [
    placed ? choices([{ label: t("spot.flat"), note: t("spot.flat.note"), glyph: glyph("frame"), on: spot.kind === "flat", pick: () => app.choose({ spot: { kind: "flat" } }) }], close) : null,
    list, told,
    placed ? h("details", { open: spot.kind === "lean" }, h("summary", {}, t("spot.lean")),
      h("label", { for: "lean-tilt" }, t("spot.tilt"), " ", shown), tilt,
      h("label", { for: "lean-way" }, t("spot.way")), way,
      h("button", {
        type: "button", class: "big", onclick: async () => {
          await app.choose({ spot: { kind: "lean", tilt_deg: Number(tilt.value), aim_azimuth_deg: Number(way.value) } });
          close();
        },
      }, t("spot.lean.take"))) : null,
  ];
});

export const pickRecipe = (app) => openSheet(t("pick.recipe"), (close) => {
  const list = h("div"), told = h("p", { class: "small", role: "status" });
  const coats = h("div"), coatsTold = h("p", { class: "small", role: "status" });
  const { recipe } = app.setup;
  saved(app, "v1/recipes?limit=50", "recipes", list, told, (items) => choices(items.map((item) => ({
    label: item.name, on: recipe.kind === "saved" && recipe.id === item.id,
    pick: () => app.choose({ recipe: { kind: "saved", id: item.id, name: item.name } }),
  })), close));
  const bare = recipe.kind === "coat" ? recipe : { kind: "coat", sensitizer: null, cover: "usual", target_j_m2: null };
  const cover = h("select", { id: "coat-cover" }, COVERS.map(({ id }) => h("option", { value: id, selected: id === bare.cover }, t(`cover.${id}`))));
  const target = h("input", { id: "coat-target", type: "number", inputmode: "decimal", min: 1, max: 1e8, step: "any", value: bare.target_j_m2 ?? "" });
  const typed = () => (target.value && target.checkValidity() ? Number(target.value) : null);
  saved(app, "v1/materials", "sensitizers", coats, coatsTold, (items) => choices(items.map((item) => ({
    label: item.label, on: recipe.kind === "coat" && recipe.sensitizer === item.id,
    pick: () => app.choose({ recipe: { kind: "coat", sensitizer: item.id, label: item.label, cover: cover.value, target_j_m2: typed() } }),
  })), close));
  return [
    list, told,
    h("h3", {}, t("recipe.without")),
    h("label", { for: "coat-cover" }, t("recipe.cover")), cover,
    h("label", { for: "coat-target" }, t("recipe.target")), target,
    h("p", { class: "label" }, t("recipe.coat")), coats, coatsTold,
  ];
});
