// Draws a panel's measured shape over its nominal rectangle, deviations exaggerated, and says how to make it square.

import { formatLength } from "../measure/length.js";
import { formatDerived } from "../measure/quantity.js";
import { word } from "./words.js";

/** @typedef {ReturnType<typeof import("../measure/panel_shape.js").panelShape>} PanelShape */
/** @typedef {import("../measure/quantity.js").Units} Units */

const NANOMETRES = 25_400_000;
const WIDTH = 260;
const MARGIN = 34;
/** How far, about, the corner that is most out is moved in the drawing. */
const SEEN = 26;
/** Inches; less than that no tape can show. */
const LEAST_MOVE = 1 / 64;
const SVG = "http://www.w3.org/2000/svg";

/** @param {number} inches @param {Units} units */
export const signed = (inches, units) => formatDerived("length", inches * NANOMETRES, units);

/** @param {number} inches @param {Units} units */
const written = (inches, units) =>
  formatLength(BigInt(Math.round(inches * NANOMETRES)), units.denominator, units.system);

/**
 * @param {PanelShape} shape
 * @param {{length: number, width: number}} nominal inches
 * @param {Units} units
 */
export function measuredShape(shape, nominal, units) {
  const figure = document.createElement("figure");
  figure.className = "shape";
  const { drawing, exaggeration } = drawn(shape, nominal);
  const title = word("shape", { n: exaggeration });
  drawing.setAttribute("aria-label", title);
  const caption = document.createElement("figcaption");
  caption.append(line("strong", title), ...sentences(shape, units).map((text) => line("span", text)));
  figure.append(drawing, caption);
  return figure;
}

/** @param {PanelShape} shape @param {Units} units */
function sentences(shape, units) {
  const { squaringMove: move } = shape;
  const facts = [
    word("lean", { lean: signed(shape.lean, units), difference: signed(shape.diagonalDifference, units) }),
    word("taper", { edges: signed(shape.lengthTaper, units), ends: signed(shape.widthTaper, units) }),
  ];
  if (move !== null && move.distance >= LEAST_MOVE) return [...facts, push(move, units)];
  return shape.isConsistent ? [...facts, word("isSquare")] : facts;
}

/** @param {NonNullable<PanelShape["squaringMove"]>} move @param {Units} units */
const push = ({ corner, towards, distance, diagonal }, units) =>
  word("push", { corner, towards, distance: written(distance, units), diagonal: written(diagonal, units) });

/** @param {PanelShape} shape @param {{length: number, width: number}} nominal */
function drawn({ corners }, { length, width }) {
  const scale = WIDTH / length;
  const rectangle = { A: [0, 0], B: [length, 0], C: [length, width], D: [0, width] };
  const names = Object.keys(rectangle);
  const offsets = names.map((name) => corners[name].map((at, axis) => at - rectangle[name][axis]));
  const most = Math.max(...offsets.flat().map(Math.abs));
  const exaggeration = most > 0 ? roundNumber(SEEN / (most * scale)) : 1;
  const place = ([x, y]) => [MARGIN + x * scale, MARGIN + (width - y) * scale];
  const nominalSpots = names.map((name) => place(rectangle[name]));
  const measuredSpots = names.map((name, n) => place(rectangle[name].map((at, axis) => at + offsets[n][axis] * exaggeration)));
  const drawing = svg("svg", { class: "drawing", role: "img", viewBox: `0 0 ${WIDTH + 2 * MARGIN} ${width * scale + 2 * MARGIN}` });
  drawing.append(polygon("nominal", nominalSpots), polygon("measured", measuredSpots));
  names.forEach((name, n) => drawing.append(letter(name, nominalSpots[n], n)));
  return { drawing, exaggeration };
}

/** The largest of 1, 2, 5, 10, 20, 50 … that is not above `largest`; at least 1. @param {number} largest */
function roundNumber(largest) {
  const power = 10 ** Math.max(0, Math.floor(Math.log10(largest)));
  return [5, 2, 1].map((step) => step * power).find((step) => step <= largest) ?? 1;
}

/** @param {string} name @param {number[][]} spots */
const polygon = (name, spots) => svg("polygon", { class: name, points: spots.map((spot) => spot.join(",")).join(" ") });

/** @param {string} name @param {number[]} spot @param {number} n */
function letter(name, [x, y], n) {
  const isLeft = n === 0 || n === 3;
  const text = svg("text", { x: x + (isLeft ? -12 : 12), y: y + (n < 2 ? 18 : -6), "text-anchor": isLeft ? "end" : "start" });
  text.textContent = name;
  return text;
}

/** @param {string} tag @param {Record<string, string | number>} attributes */
export function svg(tag, attributes) {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, String(value));
  return made;
}

/** @param {string} tag @param {string} text */
const line = (tag, text) => Object.assign(document.createElement(tag), { textContent: text });
