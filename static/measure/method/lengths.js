// Lengths read on a tape: one by itself, and two diagonals that say whether a panel is square.

import { NANOMETRES_PER_INCH, parseLength } from "../length.js";
import { nearestWhole } from "../rational.js";
import { squareFromDiagonals } from "../squareness.js";
import { about, isAbout, read } from "./entry.js";
import { outcome } from "./outcome.js";

/** @typedef {import("./entry.js").Entries} Entries */
/** @typedef {import("./outcome.js").Circumstances} Circumstances */

/** @param {Entries} entries @param {Circumstances} at */
export function tape(entries, at) {
  return outcome(read(entries, "length", parseLength).nanometres, at.uncertainties.tape);
}

/** @param {Entries} entries @param {Circumstances} at */
export function differenceOfDiagonals(entries, at) {
  const { difference, lean, angle } = squareness(entries, at);
  const companion = { name: "Lean over the width", quantity: "length", amount: nanometres(lean) };
  return outcome(difference, ofTwoReadings(at), [companion, outOfSquare(angle)]);
}

/** @param {Entries} entries @param {Circumstances} at */
export function leanOverWidth(entries, at) {
  const { difference, lean, angle } = squareness(entries, at);
  const companion = { name: "Difference of diagonals, AC − BD", quantity: "length", amount: difference };
  // the lean is D1² − D2² over four lengths, so each diagonal counts with D/2L, nearly the same for both
  const [length, width] = [Number(at.length), Number(at.width)];
  const ofTwo = ofTwoReadings(at);
  const uncertainty = ofTwo ? nearestWhole(Number(ofTwo) * (Math.hypot(length, width) / (2 * length))) : null;
  return outcome(nanometres(lean), uncertainty, [companion, outOfSquare(angle)]);
}

/** @param {Entries} entries @param {Circumstances} at */
function squareness(entries, at) {
  const [ac, bd] = ["ac", "bd"].map((key) => read(entries, key, parseLength).nanometres);
  const field = (/** @type {Error} */ refusal) => (isAbout(refusal, "BD") ? "bd" : "ac");
  return about(field, () => squareFromDiagonals(at.length, at.width, ac, bd));
}

/** @param {Circumstances} at */
function ofTwoReadings({ uncertainties }) {
  return uncertainties.tape ? nearestWhole(Math.SQRT2 * Number(uncertainties.tape)) : null;
}

const outOfSquare = (/** @type {number} */ angle) => ({ name: "Out of square, degrees", quantity: null, amount: angle });
const nanometres = (/** @type {number} */ size) => nearestWhole(size * Number(NANOMETRES_PER_INCH));
