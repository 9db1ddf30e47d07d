// What the printer has chosen: place, spot, recipe, sky, units and theme, and the request fields that say it.
import { t } from "./texts.js";

const USUAL_STACK = "float-glass-4mm,polyester-film";
export const COVERS = [
  { id: "usual", stack: USUAL_STACK },
  { id: "glass", stack: "float-glass-4mm" },
  { id: "film", stack: "polyester-film" },
  { id: "bare", stack: "none" },
];

export const FIRST = {
  place: null, // { label, latitude_deg, longitude_deg, elevation_m, time_zone }
  spot: { kind: "flat" }, // flat | lean { tilt_deg, aim_azimuth_deg } | saved { id, name, zone }
  recipe: { kind: "coat", sensitizer: "citrate-classic", label: null, cover: "usual", target_j_m2: null },
  sky: null, // null: the forecast, or what the service assumes
  units: null, // metric | inch; null: by the phone's region
  theme: "day",
};

const INCH_REGIONS = new Set(["US", "LR", "MM"]);

export function unitsOf(setup) {
  if (setup.units) return setup.units;
  const region = new Intl.Locale(navigator.language || "en").maximize().region;
  return INCH_REGIONS.has(region) ? "inch" : "metric";
}

export const isPlaced = (setup) => setup.place !== null || setup.spot.kind === "saved";

/** The zone whose clock is shown. */
export const zoneOf = (setup) => (setup.spot.kind === "saved" && setup.spot.zone) || setup.place?.time_zone || "UTC";

/** Request fields of place, spot and recipe: all but sky and start. */
export function sceneFields(setup) {
  const fields = {};
  const { spot, recipe, place } = setup;
  if (spot.kind === "saved") {
    fields.saved_spot = spot.id;
  } else {
    fields.latitude_deg = place.latitude_deg;
    fields.longitude_deg = place.longitude_deg;
    if (place.elevation_m !== null && place.elevation_m !== undefined) fields.elevation_m = place.elevation_m;
    fields.time_zone = place.time_zone;
    if (spot.kind === "lean") {
      fields.spot = { kind: "open", tilt_deg: spot.tilt_deg, aim_azimuth_deg: spot.aim_azimuth_deg };
    }
  }
  if (recipe.kind === "saved") {
    fields.recipe = recipe.id;
  } else {
    fields.sensitizer = recipe.sensitizer;
    fields.stack = (COVERS.find((cover) => cover.id === recipe.cover) ?? COVERS[0]).stack;
    if (recipe.target_j_m2) fields.target_j_m2 = recipe.target_j_m2;
  }
  return fields;
}

export const withSky = (fields, sky) => (sky ? { ...fields, sky } : fields);

export function spotLabel(setup) {
  const { spot } = setup;
  if (spot.kind === "saved") return spot.name;
  return spot.kind === "lean" ? t("spot.lean.label", { tilt: spot.tilt_deg, way: wayName(spot.aim_azimuth_deg) }) : t("spot.flat");
}

export const recipeLabel = (setup) =>
  setup.recipe.kind === "saved" ? setup.recipe.name : setup.recipe.label ?? t("recipe.first");
export const skyLabel = (setup) => (setup.sky ? t(`sky.${setup.sky}`) : t("sky.auto"));

const WAYS = ["n", "ne", "e", "se", "s", "sw", "w", "nw"];
export const wayName = (azimuth) => t(`way.${WAYS[Math.round(azimuth / 45) % 8]}`);
export const ways = WAYS.map((way, index) => ({ azimuth: index * 45, name: () => t(`way.${way}`) }));
