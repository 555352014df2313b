// Fill by mass balance, the mass blown in over the room for it: what qc_app/measure/fill says, said on the
// tablet. Masses in grams, volumes in cubic nanometres, densities in kg/m³.

import { checkSize } from "./length.js";
import { nearest, nearestFloat } from "./rational.js";
import { checkMass } from "./mass.js";

/** @typedef {import("./rational.js").Rational} Rational */

const CUBIC_NANOMETRES_PER_METRE = 10n ** 27n;

/** @param {bigint} width nanometres, as are the next two @param {bigint} length @param {bigint} depth */
export function bayVolume(width, length, depth) {
  checkSize(width, "width of the bay");
  checkSize(length, "length of the bay");
  checkSize(depth, "depth of the bay");
  return width * length * depth;
}

/** @param {Rational} mass @param {bigint} volume @throws {Refusal} for a mass of zero */
export function filledDensity(mass, volume) {
  checkMass(mass, "mass blown");
  return nearestFloat(mass.top * (CUBIC_NANOMETRES_PER_METRE / 1000n), mass.bottom * volume);
}

/**
 * The standard uncertainty of `filledDensity` (JCGM 100:2008, 5.1.6, from memory).
 * @param {Rational} mass
 * @param {bigint} volume
 * @param {{scale: bigint, share: bigint}} uncertainties of the mass in micrograms, and of the volume in
 *   millionths of a percent
 */
export function filledUncertainty(mass, volume, { scale, share }) {
  const density = filledDensity(mass, volume);
  const ofMass = (density * (Number(scale) / 1e6)) / nearestFloat(mass.top, mass.bottom);
  return Math.hypot(ofMass, density * (Number(share) / 1e6 / 100));
}

/** The mass, in micrograms, that fills `volume` to `density`. @param {bigint} volume @param {number} density */
export function massNeeded(volume, density) {
  const grams = 1000 * nearestFloat(volume, CUBIC_NANOMETRES_PER_METRE) * density;
  // a float times a power of two keeps all its digits
  return nearest(BigInt(grams * 2 ** 60) * 1_000_000n, 2n ** 60n);
}
