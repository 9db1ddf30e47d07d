// What the light passes on its way to the coat, outermost first: a short list of choices in order.
import { button, fill, h } from "./dom.js";
import { t } from "./texts.js";

const MOST = 8;

/** `materials` are those of /v1/materials; `value()` is the list of ids. */
export function stackField(materials, chosen) {
  let ids = [...chosen];
  const node = h("fieldset", { class: "layers" });
  const label = (id) => materials.find((one) => one.id === id)?.label ?? id;

  function draw() {
    fill(node, h("legend", {}, t("field.stack")),
      ids.length ? null : h("p", { class: "small" }, t("recipes.bare")),
      h("ol", {}, ids.map((id, index) => h("li", { class: "layer" },
        h("select", { "aria-label": t("recipes.layer", { n: index + 1 }), onchange: (event) => { ids[index] = event.target.value; } },
          [...materials.map((one) => one.id), ...(materials.some((one) => one.id === id) ? [] : [id])].map((one) => h("option", { value: one, selected: one === id }, label(one)))),
        button("×", () => {
          ids.splice(index, 1);
          draw();
          node.querySelector(".layer-more")?.focus();
        }, { class: "cross", "aria-label": t("recipes.layer.less", { n: index + 1, what: label(id) }) })))),
      ids.length < MOST && materials.length ? button(t("recipes.layer.more"), () => {
        ids.push(materials[0].id);
        draw();
        node.querySelector(".layer:last-child select").focus();
      }, { class: "wide layer-more" }) : null);
  }

  draw();
  return { node, value: () => [...ids], words: (list) => list.map(label).join(", ") };
}
