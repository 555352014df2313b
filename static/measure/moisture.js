// Moisture as people type it, exact: what qc_app/measure/moisture says, said on the tablet.

import { decimalNumber, isTooLong, tidied } from "./entry.js";
import { Refusal, shortened } from "./refusal.js";

/** Percent; green sapwood holds up to about this much water (Wood Handbook FPL-GTR-282, table 4-1). */
const WETTEST = 200;

/**
 * The exact percentage that `text` states, with or without its sign; from 0 to 200.
 * @param {string} text
 * @returns {import("./rational.js").Rational}
 * @throws {Refusal} for anything else
 */
export function parsePercent(text) {
  if (isTooLong(text)) throw new Refusal("“{given}” is too long for a percentage.", { given: shortened(text) });
  const percent = decimalNumber(tidied(text).replace(/ ?%$/, ""));
  if (percent.top > BigInt(WETTEST) * percent.bottom) {
    const facts = { given: tidied(text), wettest: WETTEST };
    throw new Refusal("A percentage of {given} is out of reach: from 0 to {wettest}.", facts);
  }
  return percent;
}
