// The quantities a characteristic can have, and how a shop writes them: what qc_app/plan/quantity says,
// said on the tablet. An amount is a whole number of grains: nanometres, millionths of a pound per cubic
// foot, millionths of a percent, micrograms, faults.

import { stripped } from "./entry.js";
import { formatDeviation, formatLength, MINUS, NANOMETRES_PER_INCH } from "./length.js";
import { fixed, nearestWhole } from "./rational.js";
import { Refusal, shortened } from "./refusal.js";

/** @typedef {"length" | "density" | "moisture" | "mass" | "count"} Quantity */
/** @typedef {{system: "imperial" | "metric", denominator: number}} Units how a shop writes its numbers */

/** Grains in one pound per cubic foot, in one percent, and in one gram. */
export const GRAINS = 1_000_000n;
/** kg/m³ in one lb/ft³: 0.45359237 / 0.3048³ (NIST SP 811, appendix B.8). */
export const POUND_PER_CUBIC_FOOT = 16.018463373960138;
const GRAMS_PER_POUND = 453.59237;

/** A whole number from 0 to 9999. @param {string} text @returns {bigint} @throws {Refusal} for anything else */
export function parseCount(text) {
  const cleaned = stripped(text);
  if (/^[0-9]{1,4}$/.test(cleaned)) return BigInt(cleaned);
  throw new Refusal("A count is a whole number from 0 to 9999. Given: “{given}”.", { given: shortened(text) });
}

/** The stored amount of a density. @param {number} kilograms by cubic metre */
export const densityGrains = (kilograms) => nearestWhole((kilograms / POUND_PER_CUBIC_FOOT) * Number(GRAINS));

/** An amount as the shop writes it, with its unit. @param {Quantity} quantity @param {bigint} grains @param {Units} units */
export function formatAmount(quantity, grains, units) {
  if (quantity === "length") return formatLength(grains, graduation(grains, units), units.system);
  if (quantity === "count") return String(grains);
  const amount = Number(grains) / Number(GRAINS);
  if (quantity === "moisture") return `${amount.toFixed(6).replace(/(\..+?)0+$/, "$1")} %`;
  const isImperial = units.system === "imperial";
  if (quantity === "mass") return isImperial ? `${fixed(amount / GRAMS_PER_POUND, 1)} lb` : `${fixed(amount / 1000, 1)} kg`;
  if (isImperial) return `${fixed(amount, 2)} lb/ft³`;
  return `${fixed(amount * POUND_PER_CUBIC_FOOT, 1)} kg/m³`;
}

/** A deviation from target, always with its sign. @type {typeof formatAmount} */
export function formatDeviationOf(quantity, grains, units) {
  if (quantity === "length") return formatDeviation(grains, graduation(grains, units), units.system);
  return sign(grains) + formatAmount(quantity, grains < 0n ? -grains : grains, units);
}

/**
 * A small signed amount that was worked out rather than read: finer than the graduation of a tape.
 * A mass has no sign: it is one, not a difference of two.
 * @param {Quantity} quantity
 * @param {number | bigint} grains
 * @param {Units} units
 */
export function formatDerived(quantity, grains, units) {
  const amount = Number(grains);
  return quantity === "mass" ? fine(quantity, amount, units) : sign(grains) + fine(quantity, Math.abs(amount), units);
}

/**
 * The expanded uncertainty of a reading for a coverage factor of 2; empty where it is not known.
 * @param {Quantity} quantity
 * @param {bigint | null} standardUncertainty
 * @param {Units} units
 */
export const formatSpread = (quantity, standardUncertainty, units) =>
  standardUncertainty ? `± ${fine(quantity, 2 * Number(standardUncertainty), units)}` : "";

/** The shop's own denominator, or a finer one where rounding could hide the side of a limit. */
function graduation(grains, { denominator }) {
  const isOn = (/** @type {number} */ parts) => (grains * BigInt(parts)) % NANOMETRES_PER_INCH === 0n;
  return Math.max(denominator, [denominator, 32, 64].find(isOn) ?? denominator);
}

const sign = (/** @type {number | bigint} */ amount) => (amount > 0 ? "+" : amount < 0 ? MINUS : "");

/** @param {Quantity} quantity @param {number} amount @param {Units} units */
function fine(quantity, amount, units) {
  if (quantity !== "length") return formatAmount(quantity, nearestWhole(amount), units);
  return units.system === "imperial" ? `${fixed(amount / 25_400_000, 3)} in` : `${fixed(amount / 1_000_000, 1)} mm`;
}
