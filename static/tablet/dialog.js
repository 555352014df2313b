/** Questions in a dialog of the page, each answered once. */

import { element, key } from "./element.js";
import { word } from "./words.js";

/**
 * Shows a dialog until it is answered or closed.
 * @template T
 * @param {(dialog: HTMLDialogElement, answer: (value: T) => void) => void} fill
 * @returns {Promise<T | null>} null if it was closed
 */
export function inDialog(fill) {
  return new Promise((resolve) => {
    const dialog = element("dialog", { className: "people", "aria-labelledby": "people-title" });
    /** @type {T | null} */
    let answer = null;
    dialog.addEventListener("close", () => {
      dialog.remove();
      resolve(answer);
    });
    document.body.append(dialog);
    fill(dialog, (value) => {
      answer = value;
      dialog.close();
    });
    dialog.showModal();
  });
}

/**
 * Fills a dialog anew, and leads whoever reads it by ear to its title.
 * @param {HTMLDialogElement} dialog
 * @param {string} title
 * @param {...Node} parts
 */
export function lay(dialog, title, ...parts) {
  const heading = element("h2", { id: "people-title", tabIndex: -1, autofocus: true }, title);
  dialog.onkeydown = null;
  dialog.replaceChildren(element("header", {}, heading, key(word("close"), () => dialog.close(), "quiet")), ...parts);
  if (dialog.open) {
    heading.focus();
  }
}

/**
 * A question with large keys, one under or beside the other.
 * @template T
 * @param {string} title
 * @param {{text: string, value: T, isMain?: boolean}[]} choices
 * @param {...Node} parts above the keys
 * @returns {Promise<T | null>}
 */
export function choose(title, choices, ...parts) {
  return inDialog((dialog, /** @type {(value: T) => void} */ answer) => {
    const keys = choices.map(({ text, value, isMain }) => key(text, () => answer(value), isMain ? "primary" : ""));
    lay(dialog, title, ...parts, element("div", { className: "names" }, ...keys));
  });
}
