// Spots: where the frame lies.  A list, and the page of one: in the open with its skyline, or inside a window.
import { allFit, known, labelled, leads, numberField, refusal, selectField, textField, tick, toastLine, typed, wayBack } from "../bench_kit.js";
import { keeper, turn } from "../bench_record.js";
import { button, fill, h, say, show } from "../dom.js";
import { wayName, ways } from "../setup.js";
import { skylineEditor } from "../skyline_editor.js";
import { windowEditor } from "../window_editor.js";
import { t } from "../texts.js";

const POSITION = ["latitude_deg", "longitude_deg", "elevation_m", "time_zone"];
const FRESH = { name: "", spot: { kind: "open", tilt_deg: 0, aim_azimuth_deg: 180 }, retired: false };

export const mount = (root, app, [id]) => (id ? oneSpot(root, app, id === "new" ? null : id) : list(root, app));

async function list(root, app) {
  const box = h("div"), told = toastLine();
  const away = selectField("spots-retired", ["no", "yes"].map((value) => ({ value, label: t(`bench.retired.${value}`) })), "no", { onchange: look });
  fill(root, wayBack("", t("bench.title")), h("h1", {}, t("bench.room.spots")), told, box, labelled(t("prints.which"), away),
    h("section", { class: "thumb", "aria-label": t("now.controls") }, h("a", { class: "big go button", href: "#/bench/spots/new" }, t("spots.new"))));
  async function look() {
    try {
      const { answer, note } = await known(app, `v1/spots?retired=${away.value}&limit=200`);
      say(told, note || (answer.spots.length ? "" : t("saved.none.spots")));
      fill(box, leads(answer.spots.map((spot) => ({ label: spot.name, note: spot.says, href: `#/bench/spots/${spot.id}` }))));
    } catch (error) {
      say(told, refusal(error));
    }
  }
  await look();
  return {};
}

/** The fields of a place, of a saved spot or as the page is set up; null where there is none. */
function placeOf(record, setup) {
  if (record?.latitude_deg !== null && record?.latitude_deg !== undefined) {
    return Object.fromEntries(POSITION.filter((name) => record[name] !== null).map((name) => [name, record[name]]));
  }
  if (record?.place) return { place: record.place };
  if (!setup.place) return null;
  return Object.fromEntries(POSITION.filter((name) => setup.place[name] !== null && setup.place[name] !== undefined).map((name) => [name, setup.place[name]]));
}

async function oneSpot(root, app, id) {
  let record = { ...FRESH }, editor = null, panes = [], moved = false;
  const told = toastLine(), title = h("h1", {}, t("spots.new")), where = h("div"), editing = h("div", { class: "beside" });
  const name = textField("spot-name", "", { maxlength: 200, required: true });
  const kind = selectField("spot-kind", ["open", "window"].map((value) => ({ value, label: t(`spots.kind.${value}`) })), "open", { onchange: () => drawKind() });
  const save = button(t("bench.save"), send, { class: "big go", id: "spot-save" });
  const put = button("", retire, { class: "big", id: "spot-retire" });
  const use = button(t("spots.use"), () => {
    app.choose({ spot: { kind: "saved", id: record.id, name: record.name, zone: record.time_zone, body: record.spot } });
    app.go("now");
  }, { class: "big wide", id: "spot-use" });
  const keep = keeper({ app, path: "v1/spots", words: value, onsaved: saw });
  const form = h("form", { class: "spot-form", onsubmit: (event) => event.preventDefault() });
  fill(form, labelled(t("field.name"), name), where, labelled(t("spots.kind"), kind), editing);
  fill(root, wayBack("/spots", t("bench.room.spots")), title, form, keep.node, told,
    h("section", { class: "thumb", "aria-label": t("now.controls") }, use, h("div", { class: "acts" }, put, save)));

  const place = () => placeOf(moved ? null : record, app.setup);

  function value(field, it) {
    if (it === null || it === undefined || it === "") return t("bench.empty");
    if (field !== "spot") return typeof it === "boolean" ? t(it ? "able.yes" : "able.no") : String(it);
    if (it.kind === "window") return t("spots.words.window", { width: it.window.width_m, way: wayName(it.window.outward_azimuth_deg), away: it.frame.distance_m });
    return t("spots.words.open", { tilt: it.tilt_deg, way: wayName(it.aim_azimuth_deg), corners: it.skyline?.length ?? 0 });
  }

  function openEditor() {
    const spot = record.spot.kind === "open" ? record.spot : FRESH.spot;
    const tilt = numberField("spot-tilt", spot.tilt_deg, { min: 0, max: 90, required: true });
    const aim = numberField("spot-aim", spot.aim_azimuth_deg, { min: 0, max: 360, required: true });
    const way = selectField("spot-way", [{ value: "", label: t("window.facing.pick") }, ...ways.map(({ azimuth, name: word }) => ({ value: String(azimuth), label: word() }))], String(spot.aim_azimuth_deg), {
      onchange: () => { if (way.value !== "") aim.value = way.value; },
    });
    aim.addEventListener("input", () => { way.value = ways.some(({ azimuth }) => String(azimuth) === aim.value) ? aim.value : ""; });
    const skyline = skylineEditor(app, { corners: spot.skyline, place });
    return {
      node: h("div", {}, h("fieldset", {}, h("legend", {}, t("spots.lean")), h("div", { class: "two" },
        labelled(t("spots.tilt"), tilt, t("spots.tilt.note")), labelled(t("spot.way"), way), labelled(t("spots.aim"), aim))), skyline.node),
      placed: skyline.placed,
      value() {
        const corners = skyline.value();
        return { kind: "open", tilt_deg: typed(tilt), aim_azimuth_deg: typed(aim), ...(corners ? { skyline: corners } : {}) };
      },
    };
  }

  function drawKind() {
    const window = kind.value === "window";
    editor = window ? windowEditor(app, { spot: record.spot.kind === "window" ? record.spot : null, panes, place }) : openEditor();
    fill(editing, editor.node);
  }

  function draw() {
    say(title, record.id ? record.name : t("spots.new"));
    name.value = record.name;
    kind.value = record.spot.kind;
    drawKind();
    const here = app.setup.place?.label;
    moved = false;
    fill(where, record.id
      ? [h("p", { class: "small" }, t("spots.at", { place: record.place ?? `${record.latitude_deg}°, ${record.longitude_deg}°` })),
        here ? tick("spot-moved", t("spots.move", { place: here }), false, (event) => {
          moved = event.target.checked;
          editor.placed?.();
        }) : null]
      : here ? h("p", { class: "small" }, t("spots.at", { place: here })) : [h("p", { class: "note" }, t("bench.noplace")), h("a", { class: "big button", href: "#/place" }, t("place.first"))]);
    for (const control of form.elements) control.disabled = record.retired;
    show(put, Boolean(record.id));
    show(use, Boolean(record.id) && !record.retired);
    say(put, t(record.retired ? "bench.restore" : "bench.retire"));
    save.disabled = record.retired || (!record.id && !here);
  }

  function saw(saved) {
    const fresh = !record.id;
    record = saved;
    draw();
    say(told, t("bench.saved"));
    if (app.setup.spot.id === record.id) app.choose({ spot: { kind: "saved", id: record.id, name: record.name, zone: record.time_zone, body: record.spot } });
    if (fresh) history.replaceState(null, "", `#/bench/spots/${record.id}`);
  }

  async function send() {
    if (!allFit(form)) return;
    save.disabled = true;
    try {
      const body = { name: name.value.trim(), spot: editor.value(), ...(record.id && !moved ? {} : placeOf(null, app.setup)) };
      const saved = await keep.save(record.id ? record : null, body);
      if (saved) saw(saved);
    } catch (error) {
      say(told, refusal(error));
    }
    save.disabled = record.retired;
  }

  async function retire() {
    try {
      saw(await turn(app, "v1/spots", record, record.retired ? "restore" : "retire"));
    } catch (error) {
      if (error.status === 412) await load();
      say(told, refusal(error));
    }
  }

  async function load() {
    record = (await known(app, `v1/spots/${id ?? record.id}`)).answer;
    draw();
  }

  panes = await known(app, "v1/materials").then(({ answer }) => answer.stack.filter((one) => one.kind !== "film")).catch(() => []);
  try {
    if (id) await load(); else draw();
  } catch (error) {
    say(title, t("bench.notthere"));
    say(told, refusal(error));
    fill(form);
    for (const node of [save, put, use]) show(node, false);
  }
  return {};
}
