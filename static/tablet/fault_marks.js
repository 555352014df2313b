// Marks faults on the drawing of a panel: a finger taps it, or arrow keys move a cross hair and Enter marks.
// Places are thousandths of the length and of the width from corner A: "250,500; 810,120".

import { svg } from "./measured_shape.js";

const WHOLE = 1000;
const STEP = 50;
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

/** @typedef {[along: number, across: number]} Place */

export class FaultMarks {
  /** @type {Place} */
  #cross = [WHOLE / 2, WHOLE / 2];
  #isByKeys = false;

  /** @param {HTMLElement} row that holds the drawing and the hidden input of the places */
  constructor(row) {
    this.row = row;
    this.input = row.querySelector("input");
    this.drawing = row.querySelector("svg");
    this.group = this.drawing.querySelector(".marks");
    this.drawing.addEventListener("click", (event) => this.#tapped(event));
    this.drawing.addEventListener("keydown", (event) => this.#pressed(event));
    this.drawing.addEventListener("blur", () => this.#showCross(false));
    row.querySelector(".unmark").addEventListener("click", () => this.#set(this.places.slice(0, -1)));
    this.draw();
  }

  /** @returns {Place[]} */
  get places() {
    const pairs = this.input.value.split(";").map((pair) => pair.trim()).filter(Boolean);
    return pairs.map((pair) => /** @type {Place} */ (pair.split(",").map(Number)));
  }

  /** @param {Place[]} places */
  #set(places) {
    this.input.value = places.map((place) => place.join(",")).join("; ");
    this.input.dispatchEvent(new Event("input", { bubbles: true }));
    this.draw();
  }

  /** @param {MouseEvent} event */
  #tapped(event) {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.drawing.getScreenCTM().inverse());
    const { left, top, length, width } = this.#frame();
    this.#mark([(point.x - left) / length, 1 - (point.y - top) / width].map((share) => Math.round(share * WHOLE)));
  }

  /** @param {number[]} place */
  #mark(place) {
    const inside = /** @type {Place} */ (place.map((at) => Math.min(WHOLE, Math.max(0, at))));
    this.#set([...this.places, inside]);
  }

  /** @param {KeyboardEvent} event */
  #pressed(event) {
    const arrow = ARROWS[event.key];
    if (arrow) this.#cross = /** @type {Place} */ (this.#cross.map((at, n) => Math.min(WHOLE, Math.max(0, at + arrow[n] * STEP))));
    else if (event.key === "Enter" || event.key === " ") this.#mark(this.#cross);
    else if (event.key === "Delete" || event.key === "Backspace") this.#set(this.places.slice(0, -1));
    else return;
    event.preventDefault();
    this.#showCross(true);
  }

  /** @param {boolean} isByKeys */
  #showCross(isByKeys) {
    this.#isByKeys = isByKeys;
    this.draw();
  }

  draw() {
    const crosses = this.places.map((place) => this.#sign(place, "fault"));
    if (this.#isByKeys) crosses.push(this.#sign(this.#cross, "cross-hair"));
    this.group.replaceChildren(...crosses);
    this.row.querySelector(".unmark").disabled = this.places.length === 0;
  }

  /** @param {Place} place @param {string} name */
  #sign([along, across], name) {
    const { left, top, length, width } = this.#frame();
    const [x, y] = [left + (along / WHOLE) * length, top + (1 - across / WHOLE) * width];
    return svg("path", { class: name, d: `M${x - 6} ${y - 6}l12 12m0 -12l-12 12` });
  }

  #frame() {
    const { left, top, length, width } = this.drawing.dataset;
    return { left: Number(left), top: Number(top), length: Number(length), width: Number(width) };
  }
}
