/**
 * Makes an element; text never becomes markup.
 * @template {keyof HTMLElementTagNameMap} Tag
 * @param {Tag} tag
 * @param {Record<string, any>} [given] properties; `on` holds listeners, names with a dash are attributes
 * @param {...(Node | string | null)} children
 * @returns {HTMLElementTagNameMap[Tag]}
 */
export function element(tag, { on = {}, ...given } = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(given)) {
    if (name.includes("-") || name === "role") {
      made.setAttribute(name, value);
    } else {
      Object.assign(made, { [name]: value });
    }
  }
  for (const [event, listener] of Object.entries(on)) {
    made.addEventListener(event, /** @type {EventListener} */ (listener));
  }
  made.append(...children.filter((child) => child !== null));
  return made;
}

/**
 * @param {string} text
 * @param {() => void} press
 * @param {string} [className]
 */
export function key(text, press, className = "") {
  return element("button", { type: "button", className, on: { click: press } }, text);
}

/** Marks of state, told apart by their shape first: the same as in the pages that the server draws. */
const SHAPES = {
  within: ["M16 1a15 15 0 1 0 .01 0z", "M8.5 16.5l5 5 10-11"],
  none: ["M16 3a13 13 0 1 0 .01 0z", "M16 9v8l5 4"],
  unclear: ["M16 2.5L30.5 29h-29z", "M16 11.5v9m0 3v2.5"],
  outside: ["M10 1h12l9 9v12l-9 9H10l-9-9V10z", "M10.5 10.5l11 11m0-11l-11 11"],
};

/** @param {keyof typeof SHAPES} state */
export function mark(state) {
  const drawn = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  drawn.setAttribute("viewBox", "0 0 32 32");
  drawn.setAttribute("class", `mark mark-${state}`);
  drawn.setAttribute("width", "28");
  drawn.setAttribute("height", "28");
  drawn.setAttribute("aria-hidden", "true");
  for (const [number, shape] of SHAPES[state].entries()) {
    const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
    path.setAttribute("d", shape);
    path.setAttribute("class", number === 1 ? "stroke" : "edge");
    drawn.append(path);
  }
  return drawn;
}
