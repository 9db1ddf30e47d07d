// The next move of a frame: planned by the service, shown with its drawing, acknowledged with a tap.
import { button, fill, h, say, show } from "./dom.js";
import { clock, distance, instant, length } from "./moments.js";
import { t } from "./texts.js";

const LEAST_J_M2 = 1;

/** Where the frame lies now, as a spot of the service. */
function spotNow(app, frame) {
  const moved = frame.events.filter((event) => event.kind === "moved" && event.spot && event.state !== "refused");
  const last = moved.sort((a, b) => a.atMs - b.atMs).at(-1)?.spot;
  if (last) return last;
  if (frame.body.spot) return frame.body.spot;
  if (frame.body.saved_spot) return app.setup.spot.id === frame.body.saved_spot ? app.setup.spot.body ?? null : null;
  return { kind: "open", tilt_deg: 0, aim_azimuth_deg: 180 };
}

/** A spot with its frame at another position. */
export function spotAt(spot, to) {
  if (spot.kind !== "window") return { ...spot, tilt_deg: to.tilt_deg, aim_azimuth_deg: to.aim_azimuth_deg ?? spot.aim_azimuth_deg };
  const { distance_m, offset_m, tilt_deg, aim_azimuth_deg } = to;
  return { ...spot, frame: { ...spot.frame, distance_m, offset_m, tilt_deg, aim_azimuth_deg } };
}

/** Request fields of a frame's sheet at a place of its own: all but sky, start and dose. */
function sceneAt(frame, basis, spot) {
  const { latitude_deg, longitude_deg, elevation_m } = basis;
  const { sensitizer, stack, recipe, recipe_version } = frame.body;
  const sheet = recipe ? { recipe, recipe_version } : { sensitizer: sensitizer ?? basis.sensitizer, stack: stack ?? (basis.stack.join(",") || "none") };
  return { latitude_deg, longitude_deg, elevation_m, time_zone: frame.zone, ...sheet, spot };
}

/** Fills `node` with the next move of `frame`, once that is asked for (at once inside a window). */
export function nextMove(node, app, frame) {
  let plan = null, address = null, left = false, turn = 0, due = false;
  const told = h("p", { role: "status" }), picture = h("div", { class: "picture" });
  const ask = button(t("move.ask"), () => look(), { class: "wide" });
  const done = button(t("move.done"), moved, { class: "big wide" });
  fill(node, h("h2", {}, t("move.title")), told, picture, done, ask);
  show(done, false);
  show(told, false);

  async function look() {
    const ticket = ++turn;
    const spot = spotNow(app, frame);
    if (!spot) return;
    const stand = app.frames.stand(frame);
    const basis = frame.answer?.basis ?? app.frames.lightAt(frame)?.(app.now).answer.basis;
    due = !basis || !stand.target;
    if (due) return; // as soon as the service has spoken of the frame
    const sky = skyOf(stand) ?? frame.body.sky;
    const body = {
      ...sceneAt(frame, basis, spot), start: instant(app.now), start_fixed: true,
      target_j_m2: Math.max(stand.target - stand.dose, LEAST_J_M2), ...(sky ? { sky } : {}),
    };
    say(told, t("move.looking"));
    show(told, true);
    try {
      const answer = await app.api.post("v1/moves", body, { patienceMs: 15000 });
      const drawing = await app.api.ask("POST", "v1/moves/picture", { body, kind: "blob", patienceMs: 15000 });
      if (left || ticket !== turn) return;
      plan = { spot, answer };
      forgetPicture();
      address = URL.createObjectURL(drawing);
      fill(picture, h("img", { src: address, alt: t("move.picture", { summary: answer.summary }) }));
      draw();
    } catch {
      if (!left && ticket === turn) say(told, t("move.away"));
    }
  }

  function draw() {
    const next = plan.answer.moves[0];
    show(done, Boolean(next));
    say(ask, t("move.again"));
    if (!next) {
      say(told, t("move.stay"));
      return;
    }
    const { to } = next;
    const where = to.distance_m === null ? next.says
      : t("move.where", { distance: distance(to.distance_m, app.units), offset: distance(Math.abs(to.offset_m), app.units), side: t(to.offset_m < 0 ? "move.left" : "move.right") });
    const gain = next.saves_s ? t("move.saves", { length: length(next.saves_s) }) : "";
    say(told, `${t("move.next", { time: clock(Date.parse(next.time), frame.zone), where })} ${gain}`.trim());
  }

  async function moved() {
    const spot = spotAt(plan.spot, plan.answer.moves[0].to);
    await app.frames.tell(frame, "moved", { spot });
    const { target_j_m2 } = frame.body;
    const fields = { ...sceneAt(frame, plan.answer.basis, spot), ...(target_j_m2 ? { target_j_m2 } : {}) };
    app.lights.find(fields).then((light) => app.frames.keepLight(frame, app.now, light)).catch(() => {});
    look();
  }

  const skyOf = (stand) => ({ "sun-out": "clear", covered: "overcast" })[stand.sky] ?? stand.sky;

  function forgetPicture() {
    if (address) URL.revokeObjectURL(address);
    address = null;
  }

  if (spotNow(app, frame)?.kind === "window") look();
  return {
    again() { if (plan) look(); },
    tick() { if (due) look(); },
    leave() {
      left = true;
      forgetPicture();
    },
  };
}
