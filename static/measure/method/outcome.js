// What an amount depends on besides the entries, and what comes out of both.

/**
 * @typedef {object} Circumstances what the amount depends on besides the entries; sizes in nanometres
 * @property {bigint} length of the panel
 * @property {bigint} width
 * @property {bigint} depth
 * @property {bigint | null} [bayWidth] of the bay that is checked, clear between its members
 * @property {bigint | null} [bayDepth] of the bay that is checked
 * @property {bigint | null} [bore] of the core cutter chosen
 * @property {Record<string, bigint | undefined>} uncertainties standard uncertainty of one reading with each
 *   kind of instrument, in grains; `bay_volume` in millionths of a percent
 * @property {bigint | null} [target] grains; only for what is shown beside the amount
 */
/** @typedef {{name: string, quantity: string | null, amount: bigint | number}} Companion */
/**
 * @typedef {object} Outcome
 * @property {bigint} amount grains of the method's quantity
 * @property {bigint | null} standardUncertainty likewise
 * @property {Companion[]} companions numbers that follow from the same entries, to be shown beside the amount
 * @property {string | null} advice what to do for a smaller uncertainty
 */

/**
 * @param {bigint} amount
 * @param {bigint | null} [standardUncertainty]
 * @param {Companion[]} [companions]
 * @param {string | null} [advice]
 * @returns {Outcome}
 */
export const outcome = (amount, standardUncertainty = null, companions = [], advice = null) =>
  ({ amount, standardUncertainty, companions, advice });
