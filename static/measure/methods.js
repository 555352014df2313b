// How each characteristic is measured: what follows from the entries. What qc_app/plan/method says, said on
// the tablet.

import { check } from "./method/check.js";
import { core } from "./method/core.js";
import { fill } from "./method/fill.js";
import { differenceOfDiagonals, leanOverWidth, tape } from "./method/lengths.js";
import { meter } from "./method/meter.js";

export { EntryRefused } from "./method/entry.js";

const METHODS = {
  tape, difference_of_diagonals: differenceOfDiagonals, lean_over_width: leanOverWidth, fill, core, meter, check,
};

/**
 * What the entries of one reading amount to, in grains of the method's quantity.
 * @param {string} method as the control plan names it
 * @param {import("./method/entry.js").Entries} entries
 * @param {import("./method/outcome.js").Circumstances} circumstances
 * @returns {import("./method/outcome.js").Outcome}
 * @throws {import("./method/entry.js").EntryRefused} for an entry that cannot be read
 */
export const workOut = (method, entries, circumstances) => METHODS[method](entries, circumstances);
