// The moisture of wood, as a meter shows it.

import { parsePercent } from "../moisture.js";
import { GRAINS } from "../quantity.js";
import { nearest } from "../rational.js";
import { read } from "./entry.js";
import { outcome } from "./outcome.js";

/**
 * @param {import("./entry.js").Entries} entries
 * @param {import("./outcome.js").Circumstances} at
 */
export function meter(entries, at) {
  const { top, bottom } = read(entries, "percent", parsePercent);
  return outcome(nearest(top * GRAINS, bottom), at.uncertainties.moisture_meter);
}
