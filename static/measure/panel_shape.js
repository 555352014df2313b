// The measured shape of a panel from six readings: what qc_app/measure/quadrilateral says, said on the tablet.
// All in inches, angles in degrees. Corners A, B, C, D go round the panel; AB and DC are its edges.

import { suspects } from "./slips.js";
import { testSixReadings } from "./six_readings.js";

/** @typedef {import("./adjustment.js").Six} Six */
/** @typedef {[x: number, y: number]} Point */
/**
 * @typedef {object} PanelShape of least squares
 * @property {Record<"A" | "B" | "C" | "D", Point>} corners A at the origin, B on the x axis, C and D above it
 * @property {number} misclosure by how much the diagonals read long against the sides; negative: short
 * @property {number} misclosureUncertainty standard uncertainty of the misclosure
 * @property {boolean} isConsistent whether the misclosure is within what the uncertainties allow
 * @property {number} diagonalDifference AC − BD
 * @property {number} lean shift of the middle of DC along the panel; positive when AC is longer than BD
 * @property {number} angle by which the middle lines are off square, with the sign of the lean
 * @property {number} lengthTaper AB − DC
 * @property {number} widthTaper DA − CB
 * @property {number} midLength from the middle of DA to the middle of CB
 * @property {number} midWidth from the middle of AB to the middle of DC
 * @property {import("./slips.js").Suspect[]} suspects most plausible first; none where consistent
 * @property {SquaringMove | null} squaringMove none where square, and where the readings are to be taken again
 */
/**
 * @typedef {object} SquaringMove how to rack the panel square; a taper stays
 * @property {"C" | "D"} corner to push along its edge
 * @property {"C" | "D"} towards which corner
 * @property {number} distance
 * @property {number} diagonal what both diagonals then read
 */

/**
 * @param {Record<import("./adjustment.js").Line, number>} readings
 * @param {import("./six_readings.js").Nominal} nominal
 * @param {number} standardUncertainty of each reading
 * @param {"imperial" | "metric"} [system] of the tape, which decides what slips are likely
 * @returns {PanelShape}
 * @throws {import("./refusal.js").Refusal} for readings that no panel near this size can have
 */
export function panelShape(readings, nominal, standardUncertainty, system = "imperial") {
  const tested = testSixReadings(readings, nominal, standardUncertainty);
  const { lengths, misclosure, misclosureUncertainty, isConsistent } = tested;
  const dimensions = dimensionsOf(lengths);
  return {
    corners: corners(lengths),
    misclosure,
    misclosureUncertainty,
    isConsistent,
    ...dimensions,
    suspects: suspects(tested, nominal, system),
    squaringMove: isConsistent ? squaringMove(lengths, dimensions.lean) : null,
  };
}

/** @param {Six} lengths that close */
function dimensionsOf([ab, dc, da, cb, ac, bd]) {
  const [diagonals, sides] = [ac * ac + bd * bd, ab * ab + dc * dc - da * da - cb * cb];
  const [midLength, midWidth] = [Math.sqrt(diagonals + sides) / 2, Math.sqrt(diagonals - sides) / 2];
  const lean = (ac * ac - bd * bd) / (4 * midLength);
  const angle = (Math.asin(lean / midWidth) * 180) / Math.PI;
  return { diagonalDifference: ac - bd, lean, angle, lengthTaper: ab - dc, widthTaper: da - cb, midLength, midWidth };
}

/** @param {Six} lengths that close @returns {PanelShape["corners"]} */
function corners([ab, , da, cb, ac, bd]) {
  const xc = (ab * ab + ac * ac - cb * cb) / (2 * ab);
  const xd = (ab * ab + da * da - bd * bd) / (2 * ab);
  return { A: [0, 0], B: [ab, 0], C: [xc, Math.sqrt(ac * ac - xc * xc)], D: [xd, Math.sqrt(da * da - xd * xd)] };
}

/** @param {Six} lengths that close @param {number} lean @returns {SquaringMove | null} */
function squaringMove([, , , , ac, bd], lean) {
  if (lean === 0) return null;
  const [corner, towards] = lean > 0 ? ["C", "D"] : ["D", "C"];
  return { corner, towards, distance: Math.abs(lean), diagonal: Math.sqrt((ac * ac + bd * bd) / 2) };
}
