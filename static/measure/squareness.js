// Squareness from the two diagonals alone, taking the nominal size for true: what
// qc_app/measure/quadrilateral/squareness says, said on the tablet.

import { checkSize, inInches, NANOMETRES_PER_INCH } from "./length.js";
import { nearestFloat } from "./rational.js";
import { Refusal } from "./refusal.js";

/**
 * How far a panel of this size is racked; every figure is positive when AC is the longer diagonal.
 *
 * @param {bigint} length nanometres, as are the next three
 * @param {bigint} width
 * @param {bigint} ac
 * @param {bigint} bd
 * @returns {{difference: bigint, lean: number, angle: number}} nanometres, inches over the width, degrees
 * @throws {Refusal} for a size of zero, and for diagonals that no panel near this size can have
 */
export function squareFromDiagonals(length, width, ac, bd) {
  checkSize(length, "length");
  checkSize(width, "width");
  checkSize(ac, "diagonal AC");
  checkSize(bd, "diagonal BD");
  checkTriangle("AC", ac, length, width);
  checkTriangle("BD", bd, length, width);
  checkUnit(length, width, ac, bd);
  // a parallelogram: AC² − BD² = 4 · length · lean
  const [squares, edges] = [ac * ac - bd * bd, 4n * length];
  const angle = (Math.asin(nearestFloat(squares, edges * width)) * 180) / Math.PI;
  return { difference: ac - bd, lean: nearestFloat(squares, edges * NANOMETRES_PER_INCH), angle };
}

/** @param {string} name @param {bigint} diagonal @param {bigint} length @param {bigint} width */
function checkTriangle(name, diagonal, length, width) {
  const [least, most] = [length > width ? length - width : width - length, length + width];
  if (least < diagonal && diagonal < most) return;
  throw new Refusal(
    "Diagonal {name} of {diagonal} in cannot be: it must lie between {least} in and {most} in.",
    { name, diagonal: inInches(diagonal), least: inInches(least), most: inInches(most) },
  );
}

/** @param {bigint} length @param {bigint} width @param {bigint} ac @param {bigint} bd */
function checkUnit(length, width, ac, bd) {
  // AC² + BD² = 2 (length² + width²) for every parallelogram; a quarter more or less is another unit
  const sides = 2n * (length * length + width * width);
  const off = ac * ac + bd * bd - sides;
  if (4n * (off < 0n ? -off : off) <= sides) return;
  throw new Refusal(
    "Diagonals of {ac} in and {bd} in do not fit a panel {length} in × {width} in. Check the units.",
    { ac: inInches(ac), bd: inInches(bd), length: inInches(length), width: inInches(width) },
  );
}
