// Least-squares adjustment of six lengths that must close to a plane quadrilateral: what
// qc_app/measure/quadrilateral/adjustment says, and derives, said on the tablet.
//
// A plane quadrilateral has five degrees of freedom, so six lengths obey one condition.

import { Refusal } from "./refusal.js";

/** @typedef {"AB" | "DC" | "DA" | "CB" | "AC" | "BD"} Line corners A, B, C, D go round, AB is an edge */
/** @typedef {number[]} Six numbers in the order of NAMES */
/**
 * @typedef {object} Adjustment
 * @property {Six} lengths close to a plane quadrilateral, inches
 * @property {Six} gradient by how much the misclosure grows with each reading; mean of the two diagonals 1
 * @property {number} misclosure of the readings, in inches at the diagonals; positive where those read long
 */

export const NAMES = /** @type {const} */ (["AB", "DC", "DA", "CB", "AC", "BD"]);
export const [AB, DC, DA, CB, AC, BD] = NAMES.keys();

const MOST_ROUNDS = 60;
/** Part of the six lengths together that the remaining error stays below: the last places of a float. */
const SETTLED = 3e-14;
const FIRST_CHANGE = 0.01;
/** Part of the shorter diagonal; a larger misclosure is no slip of the tape. */
const LARGEST_MISCLOSURE = 0.5;
const ALIKE = [1, 1, 1, 1, 1, 1];

/**
 * The nearest lengths that close.
 * @param {Six} read
 * @param {Six} [weights] how far each length may move (0: not at all)
 * @returns {Adjustment}
 * @throws {Refusal} when no convex quadrilateral is near
 */
export function adjust(read, weights = ALIKE) {
  const { lengths, slopes, isSound } = fitted(read, weights);
  const scale = 2 / (slopes[AC] + slopes[BD]);
  const gradient = slopes.map((slope) => slope * scale);
  const misclosure = product(gradient, read.map((reading, line) => reading - lengths[line]));
  const isLikely = Math.abs(misclosure) < LARGEST_MISCLOSURE * Math.min(lengths[AC], lengths[BD]);
  if (isSound && isLikely) return { lengths, gradient, misclosure };
  throw new Refusal(
    "The six readings contradict each other too much to belong to one panel. Check the units.",
  );
}

/** The nearest lengths that close, and the slopes of the condition there. @param {Six} read @param {Six} weights */
function fitted(read, weights) {
  const least = SETTLED * sum(read);
  let [lengths, before, isSettled] = [read, FIRST_CHANGE * sum(read), false];
  let slopes, isFigure;
  for (let round = 0; round < MOST_ROUNDS && !isSettled; round += 1) {
    ({ slopes, isFigure } = slopesAt(lengths));
    // the condition is the sum of slopes · lengths, and its derivatives are twice the slopes
    const excess = product(slopes, lengths.map((length, line) => length / 2 - read[line]));
    const ways = slopes.map((slope, line) => slope * weights[line]);
    const share = excess / product(slopes, ways);
    const moved = read.map((reading, line) => reading + ways[line] * share);
    const change = Math.max(...moved.map((length, line) => Math.abs(length - lengths[line])));
    // the changes shrink by a steady ratio, so the next one tells the error that is left
    isSettled = change * Math.min(change / before, 1) <= least;
    [lengths, before] = [moved, Math.max(change, least)];
  }
  const isConvex = isFigure && slopes[AC] > 0 && slopes[BD] > 0;
  return { lengths, slopes, isSound: isSettled && isConvex && lengths.every((length) => length > 0) };
}

/**
 * Half the derivatives of the condition by each length, and whether the figure spans an area.
 * @param {Six} lengths
 */
function slopesAt(lengths) {
  const [ab, dc, da, cb, ac, bd] = lengths.map((length) => length * length);
  const [diagonals, sides] = [ac + bd, ab + dc - da - cb];
  const [uu, nn] = [diagonals + sides, diagonals - sides];
  const [un, um, nm] = [ac - bd, dc - ab, cb - da];
  const areaSquared = uu * nn - un * un;
  const [p, r] = [(um * nn - nm * un) / areaSquared, (nm * uu - um * un) / areaSquared];
  const [along, across] = [p + r, p - r];
  const [a, b, c, d] = [1 + along, -1 - across, 1 - along, across - 1];
  const stresses = [a * b, c * d, d * a, b * c, a * c, b * d];
  return { slopes: stresses.map((stress, line) => stress * lengths[line]), isFigure: areaSquared > 0 };
}

const sum = (/** @type {number[]} */ numbers) => numbers.reduce((total, number) => total + number, 0);
/** The sum of the products, line by line. @type {(one: Six, other: Six) => number} */
export const product = (one, other) => sum(one.map((number, line) => number * other[line]));
