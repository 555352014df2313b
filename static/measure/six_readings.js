// Do two edges, two ends and two diagonals fit one panel? What qc_app/measure/quadrilateral says of six
// readings of one tape, said while the panel is still in the fence.

import { AB, AC, adjust, BD, CB, DA, DC, NAMES, product } from "./adjustment.js";
import { rounded } from "./rational.js";
import { Refusal } from "./refusal.js";

/** @typedef {import("./adjustment.js").Line} Line */
/** @typedef {import("./adjustment.js").Six} Six */
/** @typedef {{length: number, width: number}} Nominal size that the panel should have, inches */

const TRIANGLES = [[AC, AB, CB], [AC, DA, DC], [BD, AB, DA], [BD, CB, DC]];

/** Standard deviations that a normal variable exceeds, up or down, with probability 0.01. */
const ALLOWED = 2.5758293035489;
/** A reading more than so many times its nominal size, or less than that part of it, is in another unit. */
const OTHER_UNIT = 3;

/**
 * The misclosure of six readings, in inches at the diagonals, and whether their uncertainty allows it.
 *
 * Sound readings are called inconsistent once in a hundred times.
 *
 * @param {Record<Line, number>} readings inches
 * @param {Nominal} nominal
 * @param {number} standardUncertainty of each reading, inches
 * @returns {{read: Six, lengths: Six, gradient: Six, misclosure: number, misclosureUncertainty: number,
 *   isConsistent: boolean}} with the nearest lengths that close; `misclosure` is positive where the diagonals
 *   read long against the sides, and grows with each reading by its `gradient`
 * @throws {Refusal} for readings that no panel near this size can have
 */
export function testSixReadings(readings, nominal, standardUncertainty) {
  const read = NAMES.map((name) => readings[name]);
  checkPositive([...read, nominal.length, nominal.width]);
  checkUnit(read, nominal);
  TRIANGLES.forEach((triangle) => checkTriangle(read, triangle));
  checkUncertainty(standardUncertainty);
  const adjustment = adjust(read);
  const { misclosure, gradient } = adjustment;
  const misclosureUncertainty = standardUncertainty * Math.sqrt(product(gradient, gradient));
  const isConsistent = Math.abs(misclosure) <= ALLOWED * misclosureUncertainty;
  return { read, ...adjustment, misclosureUncertainty, isConsistent };
}

/** The sizes that six readings should have. @param {Nominal} nominal @returns {Six} */
export function nominalSix({ length, width }) {
  const diagonal = Math.sqrt(length * length + width * width);
  return [length, length, width, width, diagonal, diagonal];
}

const isPositive = (/** @type {number} */ number) => Number.isFinite(number) && number > 0;

/** @param {number[]} sizes the six readings, then length and width */
function checkPositive(sizes) {
  const line = sizes.findIndex((size) => !isPositive(size));
  if (line < 0) return;
  throw new Refusal("Reading {reading} must be a finite number of inches, more than zero, not {value}.", {
    reading: [...NAMES, "length", "width"][line], value: sizes[line],
  });
}

/** @param {Six} read @param {Nominal} nominal */
function checkUnit(read, nominal) {
  const sizes = nominalSix(nominal);
  const isOdd = (value, size) => value > OTHER_UNIT * size || OTHER_UNIT * value < size;
  const line = read.findIndex((value, at) => isOdd(value, sizes[at]));
  if (line < 0) return;
  throw new Refusal(
    "Reading {reading} of {value} in is far from the {nominal} in of this panel. Check its unit.",
    { reading: NAMES[line], value: read[line], nominal: rounded(sizes[line], 3) },
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

/** @param {number} standardUncertainty */
function checkUncertainty(standardUncertainty) {
  if (isPositive(standardUncertainty)) return;
  throw new Refusal(
    "The uncertainty of a reading must be a finite number of inches, more than zero, not {value}.",
    { value: standardUncertainty },
  );
}
