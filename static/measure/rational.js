// Exact fractions, and how they become whole numbers and floats: as on the server, to the last bit.

/** @typedef {{top: bigint, bottom: bigint}} Rational `bottom` is more than zero */

/** The whole number nearest to top/bottom, half-way the even one. @type {(top: bigint, bottom: bigint) => bigint} */
export function nearest(top, bottom) {
  const remainder = ((top % bottom) + bottom) % bottom;
  const below = (top - remainder) / bottom;
  const isAbove = 2n * remainder > bottom || (2n * remainder === bottom && below % 2n !== 0n);
  return isAbove ? below + 1n : below;
}

/** The whole number nearest to a float, half-way the even one. @param {number} number */
export function nearestWhole(number) {
  const below = Math.floor(number);
  const part = number - below;
  return BigInt(part > 0.5 || (part === 0.5 && below % 2 !== 0) ? below + 1 : below);
}

/** The float nearest to top/bottom. @type {(top: bigint, bottom: bigint) => number} */
export function nearestFloat(top, bottom) {
  const size = top < 0n ? -top : top;
  const shift = Math.max(0, 64 + bits(bottom) - bits(size));
  const shifted = size << BigInt(shift);
  // 64 bits of the quotient, the last standing for all that would follow, round as the whole would
  const quotient = (shifted / bottom) | (shifted % bottom ? 1n : 0n);
  return ((top < 0n ? -1 : 1) * Number(quotient)) / 2 ** shift;
}

/** `toFixed`, which rounds up half-way, with the even digit there. @param {number} number @param {number} places */
export function fixed(number, places) {
  const isHalfWay = Math.abs((number * 2 ** (places + 1)) % 2) === 1;
  const rounded = isHalfWay ? Number(nearestWhole(number * 10 ** places)) / 10 ** places : number;
  return rounded.toFixed(places);
}

/** A float with so many decimals, as a float. @param {number} number @param {number} places */
export const rounded = (number, places) => Number(fixed(number, places));

const bits = (/** @type {bigint} */ whole) => whole.toString(2).length;
