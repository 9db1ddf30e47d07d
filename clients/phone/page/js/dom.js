// Small helpers that build elements; text is always text, never markup.
const SVG = "http://www.w3.org/2000/svg";

function filled(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name === "value" || name === "checked") node[name] = value;
    else node.setAttribute(name, value === true ? "" : String(value));
  }
  node.append(...children.flat(3).filter((child) => child !== null && child !== undefined && child !== false));
  return node;
}

/** An HTML element: `h("button", { class: "big", onclick: go }, "Go")`. */
export const h = (tag, attributes, ...children) => filled(document.createElement(tag), attributes, children);

/** An SVG element. */
export const s = (tag, attributes, ...children) =>
  filled(document.createElementNS(SVG, tag), attributes, children);

/** Set a node's text only when it changes, so that nothing is read out twice. */
export function say(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

/** Replace what a node holds. */
export function fill(node, ...children) {
  node.replaceChildren(...children.flat(3).filter((child) => child !== null && child !== undefined && child !== false));
}

export const show = (node, seen) => { node.hidden = !seen; };

/** A button of at least a thumb's size. */
export const button = (text, onclick, attributes = {}) =>
  h("button", { type: "button", onclick, ...attributes }, text);
