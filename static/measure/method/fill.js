// The density of a whole bay, from the mass blown into it.

import { bayVolume, filledDensity, filledUncertainty, massNeeded } from "../fill.js";
import { parseMass } from "../mass.js";
import { densityGrains, GRAINS, parseCount, POUND_PER_CUBIC_FOOT } from "../quantity.js";
import { rounded } from "../rational.js";
import { Refusal } from "../refusal.js";
import { about, has, parseText, read, refused } from "./entry.js";
import { outcome } from "./outcome.js";

/** @typedef {import("./entry.js").Entries} Entries */
/** @typedef {import("./outcome.js").Circumstances} Circumstances */

/** Mean densities of one bay, in lb/ft³, that its own mass can give; beyond, it is of more or less than one. */
const [FEWEST, MOST] = [0.5, 15];

/** @param {Entries} entries @param {Circumstances} at */
export function fill(entries, at) {
  const mass = read(entries, "mass", parseMass);
  if (has(entries, "setting")) read(entries, "setting", parseText);
  if (has(entries, "seconds")) read(entries, "seconds", parseCount);
  const volume = room(at);
  const density = about(() => "mass", () => possible(filledDensity(mass, volume)));
  return outcome(densityGrains(density), uncertainty(mass, volume, at.uncertainties), wanted(volume, at.target));
}

/** The room in the bay, which runs across the panel from edge AB to DC. @param {Circumstances} at */
function room({ bayWidth, bayDepth, width }) {
  if (bayWidth != null && bayDepth != null) return bayVolume(bayWidth, width, bayDepth);
  throw refused("mass", "A mass of fill needs the bay that it was blown into.");
}

/** @param {number} kilograms by cubic metre */
function possible(kilograms) {
  const pounds = kilograms / POUND_PER_CUBIC_FOOT;
  if (FEWEST <= pounds && pounds <= MOST) return kilograms;
  throw new Refusal(
    "Is this the mass of this bay alone? It would be {pounds} lb/ft³, or {kilograms} kg/m³.",
    { pounds: rounded(pounds, 2), kilograms: rounded(kilograms, 1) },
  );
}

/** @param {import("../rational.js").Rational} mass @param {bigint} volume @param {Circumstances["uncertainties"]} known */
function uncertainty(mass, volume, { scale, bay_volume: share }) {
  return scale && share ? densityGrains(filledUncertainty(mass, volume, { scale, share })) : null;
}

/** The mass that the target would take, where there is a target. @param {bigint} volume @param {bigint | null} [target] */
function wanted(volume, target) {
  if (target == null) return [];
  const density = (Number(target) / Number(GRAINS)) * POUND_PER_CUBIC_FOOT;
  return [{ name: "Target would take", quantity: "mass", amount: massNeeded(volume, density) }];
}
