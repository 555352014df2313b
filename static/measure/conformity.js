// Does a reading meet its limits? What qc_app/measure/conformity says, said on the tablet.
// Amounts are whole grains of one quantity (nanometres for a length), so comparisons are exact.
// Decision rules after JCGM 106:2012, clause 8 (from memory); rounding method of limits after ASTM E29.

import { nearest } from "./rational.js";
import { Refusal } from "./refusal.js";

/** @typedef {"within" | "outside" | "unclear"} Verdict */

/**
 * @typedef {object} Limits
 * @property {bigint | null} [lower]
 * @property {bigint | null} [upper]
 * @property {bigint | null} [roundedTo] a value is first rounded to this unit; without it every digit counts
 */

/**
 * @typedef {object} Decision how the uncertainty of a value enters its verdict
 * @property {"simple_acceptance" | "guarded_acceptance" | "guarded_rejection"} [rule]
 * @property {bigint | null} [standardUncertainty] of the value
 */

const RULES = ["simple_acceptance", "guarded_acceptance", "guarded_rejection"];
const COVERAGE = 2n;

/**
 * The verdict on an amount; one on a limit is within it, and so is one on the far edge of a guard band.
 *
 * The guard band is the expanded uncertainty for a coverage factor of 2. Guarded acceptance calls a value
 * unclear inside the limits, so that within is proven; guarded rejection outside them, so that outside is.
 *
 * @param {bigint} amount
 * @param {Limits} limits
 * @param {Decision} [decision]
 * @returns {Verdict}
 * @throws {Refusal} for limits that cannot be, and for a guarded rule without an uncertainty
 */
export function judge(amount, limits, { rule = "simple_acceptance", standardUncertainty = null } = {}) {
  check(limits);
  checkDecision(rule, standardUncertainty);
  const at = limits.roundedTo == null ? amount : nearest(amount, limits.roundedTo) * limits.roundedTo;
  const band = COVERAGE * (standardUncertainty ?? 0n);
  const isWithin = isBetween(at, limits, 0n);
  if (rule === "guarded_acceptance" && isWithin) return isBetween(at, limits, -band) ? "within" : "unclear";
  if (rule === "guarded_rejection" && !isWithin) return isBetween(at, limits, band) ? "unclear" : "outside";
  return isWithin ? "within" : "outside";
}

/** @param {bigint} at @param {Limits} limits @param {bigint} wider */
function isBetween(at, { lower, upper }, wider) {
  return (lower == null || at >= lower - wider) && (upper == null || at <= upper + wider);
}

/** @param {Limits} limits */
function check({ lower, upper, roundedTo }) {
  if (lower == null && upper == null) {
    throw new Refusal("A tolerance needs a lower limit, an upper limit, or both.");
  }
  if (lower != null && upper != null && lower > upper) {
    throw new Refusal("The lower limit {lower} is above the upper limit {upper}.", { lower, upper });
  }
  if (roundedTo != null && roundedTo <= 0n) {
    throw new Refusal("A value is rounded to a unit more than zero, not {unit}.", { unit: roundedTo });
  }
}

/** @param {string} rule @param {bigint | null} standardUncertainty */
function checkDecision(rule, standardUncertainty) {
  if (!RULES.includes(rule)) throw new Refusal("“{rule}” is not a decision rule.", { rule });
  if (standardUncertainty == null) {
    if (rule === "simple_acceptance") return;
    throw new Refusal("A guarded rule needs the standard uncertainty of the value.");
  }
  if (standardUncertainty <= 0n) {
    throw new Refusal("The {name} must be more than zero, not {value}.", {
      name: "standard uncertainty", value: standardUncertainty,
    });
  }
}
