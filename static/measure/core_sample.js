// A core of blown fill: mass and size in, density out, with its uncertainty. What qc_app/measure/core_sample
// says, said on the tablet. Densities in kg/m³, masses in grams, sizes in nanometres.

import { checkSize, inInches } from "./length.js";
import { checkMass } from "./mass.js";
import { nearestFloat } from "./rational.js";
import { Refusal } from "./refusal.js";

/** @typedef {import("./rational.js").Rational} Rational */
/** @typedef {{mass: Rational, tare: Rational, bore: bigint, depth: bigint}} Core */

/** Relative standard uncertainty above which something is to be improved. */
const WANTED = 0.03;
const ADVICE = {
  scale: "The core is too small for this scale: take a wider core or use a finer scale.",
  bore: "Measure the inside diameter of the cutter better: it counts twice.",
  depth: "Measure the depth of the hole better.",
};

/**
 * (mass − tare) / (π/4 · bore² · depth).
 * @param {Core} core
 * @returns {number}
 * @throws {Refusal} for a bore or depth of zero, and for a tare not below the mass
 */
export function coreDensity({ mass, tare, bore, depth }) {
  const net = netGrams(mass, tare);
  checkSize(bore, "bore of the core");
  checkSize(depth, "depth of the core");
  return (nearestFloat(net.top * 10n ** 24n, net.bottom * bore * bore * depth) * 4) / Math.PI;
}

/**
 * The standard uncertainty of `coreDensity` (JCGM 100:2008, 5.1.6, from memory), and what to improve.
 * @param {Core} core
 * @param {{scale: bigint, bore: bigint, depth: bigint}} uncertainties micrograms, nanometres, nanometres
 * @returns {{standardUncertainty: number, advice: string | null}}
 * @throws {Refusal} for a scale without uncertainty
 */
export function coreUncertainty(core, { scale, bore, depth }) {
  const density = coreDensity(core);
  const net = netGrams(core.mass, core.tare);
  checkMass({ top: scale, bottom: 1_000_000n }, "uncertainty of the mass");
  const parts = {
    scale: (density * (Number(scale) / 1e6)) / nearestFloat(net.top, net.bottom),
    bore: (density * 2 * inInches(bore)) / inInches(core.bore),
    depth: (density * inInches(depth)) / inInches(core.depth),
  };
  const standardUncertainty = Math.hypot(...Object.values(parts));
  const [[largest]] = Object.entries(parts).sort(([, one], [, other]) => other - one);
  return { standardUncertainty, advice: standardUncertainty / density > WANTED ? ADVICE[largest] : null };
}

/** @param {Rational} mass @param {Rational} tare @returns {Rational} */
function netGrams(mass, tare) {
  const net = { top: mass.top * tare.bottom - tare.top * mass.bottom, bottom: mass.bottom * tare.bottom };
  if (net.top > 0n) return net;
  throw new Refusal("The mass of the core must be more than its tare: {mass} g and {tare} g.", {
    mass: nearestFloat(mass.top, mass.bottom), tare: nearestFloat(tare.top, tare.bottom),
  });
}
