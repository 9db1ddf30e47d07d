// Light fetched ahead, so that spot and recipe can be changed without a network: that of the saved spots with the
// recipe that is set, and of the saved recipes at the spot that is set; a few, one after the other.
import { isPlaced, sceneFields } from "./setup.js";

const MOST = 4, OLD_MS = 3 * 3600000, PATIENCE_MS = 15000;

export async function fetchAhead(app) {
  if (!isPlaced(app.setup) || app.api.keyWanted) return;
  const { setup } = app;
  const saved = async (path, field) => (await app.api.getKept(path, PATIENCE_MS)).answer[field].filter((one) => !one.retired);
  await app.api.getKept("v1/materials", PATIENCE_MS);
  const spots = await saved("v1/spots?limit=50", "spots"), recipes = await saved("v1/recipes?limit=50", "recipes");
  const setups = [
    setup,
    ...spots.slice(0, MOST).map(({ id, name, time_zone }) => ({ ...setup, spot: { kind: "saved", id, name, zone: time_zone ?? null } })),
    ...(setup.place ? [{ ...setup, spot: { kind: "flat" } }] : []),
    ...recipes.slice(0, MOST).map(({ id, name }) => ({ ...setup, recipe: { kind: "saved", id, name } })),
  ];
  for (const one of setups) {
    if (!app.api.reachable || app.setup !== setup) return; // asked again when there is another
    const fields = sceneFields(one);
    const kept = await app.lights.kept(fields);
    if (!kept || app.now - kept.keptMs > OLD_MS) await app.lights.find(fields, { fresh: true }).catch(() => {});
  }
}
