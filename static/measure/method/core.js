// The density of a core taken out of a bay.

import { coreDensity, coreUncertainty } from "../core_sample.js";
import { inInches, parseLength } from "../length.js";
import { parseMass } from "../mass.js";
import { densityGrains } from "../quantity.js";
import { about, has, isAbout, read, refused } from "./entry.js";
import { outcome } from "./outcome.js";

/** @typedef {import("./entry.js").Entries} Entries */
/** @typedef {import("./outcome.js").Circumstances} Circumstances */

/** How much deeper than its bay a core may read: 1/4 in, for a face that bulges. */
const DEPTH_OVER_BAY = 6_350_000n;
const NOTHING = { top: 0n, bottom: 1n };

/** @param {Entries} entries @param {Circumstances} at */
export function core(entries, at) {
  if (at.bore == null) throw refused("mass", "Choose the core cutter first; its bore is needed for the density.");
  const mass = read(entries, "mass", parseMass);
  const tare = has(entries, "tare") ? read(entries, "tare", parseMass) : NOTHING;
  const depth = read(entries, "depth", parseLength).nanometres;
  checkAgainstBay(depth, at.bayDepth);
  const sample = { mass, tare, bore: at.bore, depth };
  const field = (/** @type {Error} */ refusal) => (isAbout(refusal, "depth") ? "depth" : "mass");
  const amount = densityGrains(about(field, () => coreDensity(sample)));
  const { scale, core_cutter: bore, tape } = at.uncertainties;
  if (scale == null || !bore || !tape) return outcome(amount);
  const { standardUncertainty, advice } = coreUncertainty(sample, { scale, bore, depth: tape });
  return outcome(amount, densityGrains(standardUncertainty), [], advice);
}

/** @param {bigint} depth @param {bigint | null | undefined} bay */
function checkAgainstBay(depth, bay) {
  if (bay == null || depth <= bay + DEPTH_OVER_BAY) return;
  const facts = { bay: inInches(bay), given: inInches(depth) };
  throw refused("depth", "The core cannot be deeper than its bay ({bay} in). Given: {given} in.", facts);
}
