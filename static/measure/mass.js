// Masses as people type them, exact: what qc_app/measure/mass says, said on the tablet.
// Exact factors (NIST SP 811, appendix B.8): 1 lb = 0.45359237 kg = 16 oz.

import { DECIMAL, decimalNumber, entire, isTooLong, tidied } from "./entry.js";
import { nearestFloat } from "./rational.js";
import { Refusal, shortened } from "./refusal.js";

/** @typedef {import("./rational.js").Rational} Grams */

const POUND = { top: 45_359_237n, bottom: 100_000n };
const OUNCE = { top: POUND.top, bottom: 16n * POUND.bottom };
const GRAM = { top: 1n, bottom: 1n };
const GRAMS_PER_UNIT = { "": GRAM, g: GRAM, kg: { top: 1000n, bottom: 1n }, oz: OUNCE, lb: POUND, lbs: POUND };
const MASS = entire(`(?<number>${DECIMAL}) ?(?<unit>g|kg|oz|lbs?|)`);

/**
 * The exact mass that `text` states; a bare number is grams.
 * @param {string} text
 * @returns {Grams}
 * @throws {Refusal} for anything but a number and one of g, kg, oz, lb
 */
export function parseMass(text) {
  const match = isTooLong(text) ? null : MASS.exec(tidied(text).toLowerCase());
  if (match === null) {
    throw new Refusal("“{given}” is not a mass. Write one such as 60.0 g or 2.1 oz.", { given: shortened(text) });
  }
  const [number, unit] = [decimalNumber(match.groups.number), GRAMS_PER_UNIT[match.groups.unit]];
  return { top: number.top * unit.top, bottom: number.bottom * unit.bottom };
}

/** @param {Grams} mass @param {string} name @throws {Refusal} naming a mass not more than zero */
export function checkMass({ top, bottom }, name) {
  if (top > 0n) return;
  throw new Refusal("The {name} must be more than zero, not {grams} g.", { name, grams: nearestFloat(top, bottom) });
}
