// Do two edges, two ends and two diagonals fit one panel? What qc_app/measure/quadrilateral says of six
// readings of one tape, said while the panel is still in the fence. The server names the likely culprit.
//
// A plane quadrilateral has five degrees of freedom, so six lengths obey one condition; the least-squares
// adjustment with it, iterated, is derived in qc_app/measure/quadrilateral/adjustment.py.

import { Refusal } from "./length.js";

/** @typedef {"AB" | "DC" | "DA" | "CB" | "AC" | "BD"} Line corners A, B, C, D go round, AB is an edge */
/** @typedef {number[]} Six numbers in the order of NAMES */

const NAMES = /** @type {const} */ (["AB", "DC", "DA", "CB", "AC", "BD"]);
const [AB, DC, DA, CB, AC, BD] = NAMES.keys();
const TRIANGLES = [[AC, AB, CB], [AC, DA, DC], [BD, AB, DA], [BD, CB, DC]];

/** Standard deviations that a normal variable exceeds, up or down, with probability 0.01. */
const ALLOWED = 2.5758293035489;
/** A reading more than so many times its nominal size, or less than that part of it, is in another unit. */
const OTHER_UNIT = 3;
const MOST_ROUNDS = 60;
/** Part of the six lengths together that the remaining error stays below: the last places of a float. */
const SETTLED = 3e-14;
const FIRST_CHANGE = 0.01;
/** Part of the shorter diagonal; a larger misclosure is no slip of the tape. */
const LARGEST_MISCLOSURE = 0.5;

/**
 * The misclosure of six readings, in inches at the diagonals, and whether their uncertainty allows it.
 *
 * Sound readings are called inconsistent once in a hundred times.
 *
 * @param {Record<Line, number>} readings inches
 * @param {{length: number, width: number}} nominal inches
 * @param {number} standardUncertainty of each reading, inches
 * @returns {{misclosure: number, misclosureUncertainty: number, isConsistent: boolean}} `misclosure` is
 *   positive where the diagonals read long against the sides
 * @throws {Refusal} for readings that no panel near this size can have
 */
export function testSixReadings(readings, nominal, standardUncertainty) {
  const read = NAMES.map((name) => readings[name]);
  checkPositive([...read, nominal.length, nominal.width]);
  checkUnit(read, nominal);
  TRIANGLES.forEach((triangle) => checkTriangle(read, triangle));
  if (!isPositive(standardUncertainty)) {
    throw new Refusal(
      "The uncertainty of a reading must be a finite number of inches, more than zero, not {value}.",
      { value: standardUncertainty },
    );
  }
  const { misclosure, gradient } = adjusted(read);
  const misclosureUncertainty = standardUncertainty * Math.sqrt(product(gradient, gradient));
  const isConsistent = Math.abs(misclosure) <= ALLOWED * misclosureUncertainty;
  return { misclosure, misclosureUncertainty, isConsistent };
}

/**
 * The misclosure, and by how much it grows with each reading; mean of the two diagonals 1.
 * @param {Six} read
 */
function adjusted(read) {
  const { lengths, slopes, isSound } = fitted(read);
  const scale = 2 / (slopes[AC] + slopes[BD]);
  const gradient = slopes.map((slope) => slope * scale);
  const misclosure = product(gradient, read.map((reading, line) => reading - lengths[line]));
  const isLikely = Math.abs(misclosure) < LARGEST_MISCLOSURE * Math.min(lengths[AC], lengths[BD]);
  if (!isSound || !isLikely) {
    throw new Refusal(
      "The six readings contradict each other too much to belong to one panel. Check the units.",
    );
  }
  return { misclosure, gradient };
}

/** The nearest lengths that close, and the slopes of the condition there. @param {Six} read */
function fitted(read) {
  const least = SETTLED * sum(read);
  let [lengths, before, isSettled] = [read, FIRST_CHANGE * sum(read), false];
  let slopes, isFigure;
  for (let round = 0; round < MOST_ROUNDS && !isSettled; round += 1) {
    ({ slopes, isFigure } = slopesAt(lengths));
    // the condition is the sum of slopes · lengths, and its derivatives are twice the slopes
    const excess = product(slopes, lengths.map((length, line) => length / 2 - read[line]));
    const share = excess / product(slopes, slopes);
    const moved = read.map((reading, line) => reading + slopes[line] * share);
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
/** @type {(one: Six, other: Six) => number} */
const product = (one, other) => sum(one.map((number, line) => number * other[line]));
const isPositive = (/** @type {number} */ number) => Number.isFinite(number) && number > 0;

/** @param {number[]} sizes the six readings, then length and width */
function checkPositive(sizes) {
  const line = sizes.findIndex((size) => !isPositive(size));
  if (line < 0) return;
  throw new Refusal("Reading {reading} must be a finite number of inches, more than zero, not {value}.", {
    reading: [...NAMES, "length", "width"][line], value: sizes[line],
  });
}

/** @param {Six} read @param {{length: number, width: number}} nominal */
function checkUnit(read, { length, width }) {
  const diagonal = Math.sqrt(length * length + width * width);
  const sizes = [length, length, width, width, diagonal, diagonal];
  const isOdd = (value, size) => value > OTHER_UNIT * size || OTHER_UNIT * value < size;
  const line = read.findIndex((value, at) => isOdd(value, sizes[at]));
  if (line < 0) return;
  throw new Refusal(
    "Reading {reading} of {value} in is far from the {nominal} in of this panel. Check its unit.",
    { reading: NAMES[line], value: read[line], nominal: thousandths(sizes[line]) },
  );
}

/** @param {Six} read @param {number[]} triangle a diagonal, and the sides from its ends to a third corner */
function checkTriangle(read, [diagonal, one, other]) {
  const [longest, shortest] = [read[one] + read[other], Math.abs(read[one] - read[other])];
  if (shortest < read[diagonal] && read[diagonal] < longest) return;
  throw new Refusal(
    "Diagonal {reading} of {value} in cannot be: sides {one} and {other} leave {shortest} to {longest} in.",
    {
      reading: NAMES[diagonal], value: read[diagonal], one: NAMES[one], other: NAMES[other], shortest, longest,
    },
  );
}

/** Rounded to 0.001, half-way to the even one, as the server rounds. @param {number} inches */
function thousandths(inches) {
  const above = Math.round(inches * 1000);
  const isTie = above - inches * 1000 === 0.5;
  return (isTie && above % 2 ? above - 1 : above) / 1000;
}
