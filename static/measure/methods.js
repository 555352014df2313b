// How each characteristic is measured: what follows from the entries. What qc_app/plan/method says, said on
// the tablet.

import { coreDensity, coreUncertainty } from "./core_sample.js";
import { stripped } from "./entry.js";
import { inInches, NANOMETRES_PER_INCH, parseLength } from "./length.js";
import { parseMass } from "./mass.js";
import { parsePercent } from "./moisture.js";
import { GRAINS, parseCount, POUND_PER_CUBIC_FOOT } from "./quantity.js";
import { nearest, nearestWhole } from "./rational.js";
import { Refusal } from "./refusal.js";
import { squareFromDiagonals } from "./squareness.js";

/** @typedef {Record<string, string>} Entries what was typed, by the key of its field */
/**
 * @typedef {object} Circumstances what the amount depends on besides the entries; sizes in nanometres
 * @property {bigint} length of the panel
 * @property {bigint} width
 * @property {bigint} depth
 * @property {bigint | null} [bayDepth] of the bay that is checked
 * @property {bigint | null} [bore] of the core cutter chosen
 * @property {Record<string, bigint | undefined>} uncertainties standard uncertainty of one reading with each
 *   kind of instrument, in grains
 */
/** @typedef {{name: string, quantity: string | null, amount: bigint | number}} Companion */
/**
 * @typedef {object} Outcome
 * @property {bigint} amount grains of the method's quantity
 * @property {bigint | null} standardUncertainty likewise
 * @property {Companion[]} companions numbers that follow from the same entries, to be shown beside the amount
 * @property {string | null} advice what to do for a smaller uncertainty
 */

/** How much deeper than its bay a core may read: 1/4 in, for a face that bulges. */
const DEPTH_OVER_BAY = 6_350_000n;
const NOTHING = { top: 0n, bottom: 1n };

/** An entry that cannot be read; `field` is the key of the field it was typed into. */
export class EntryRefused extends Refusal {
  /** @param {string} field @param {Refusal} refusal */
  constructor(field, { sentence, facts }) {
    super(sentence, facts);
    this.field = field;
  }
}

const METHODS = {
  tape, difference_of_diagonals: differenceOfDiagonals, lean_over_width: leanOverWidth, core, meter, check,
};

/**
 * What the entries of one reading amount to.
 * @param {string} method as the control plan names it
 * @param {Entries} entries
 * @param {Circumstances} circumstances
 * @returns {Outcome}
 * @throws {EntryRefused} for an entry that cannot be read
 */
export const workOut = (method, entries, circumstances) => METHODS[method](entries, circumstances);

/** @returns {Outcome} */
const outcome = (amount, standardUncertainty = null, companions = [], advice = null) =>
  ({ amount, standardUncertainty, companions, advice });

/** @param {Entries} entries @param {Circumstances} at */
function tape(entries, at) {
  return outcome(read(entries, "length", parseLength).nanometres, at.uncertainties.tape);
}

/** @param {Entries} entries @param {Circumstances} at */
function differenceOfDiagonals(entries, at) {
  const { difference, lean, angle } = squareness(entries, at);
  const companion = { name: "Lean over the width", quantity: "length", amount: nanometres(lean) };
  return outcome(difference, ofTwoReadings(at), [companion, outOfSquare(angle)]);
}

/** @param {Entries} entries @param {Circumstances} at */
function leanOverWidth(entries, at) {
  const { difference, lean, angle } = squareness(entries, at);
  const companion = { name: "Difference of diagonals, AC − BD", quantity: "length", amount: difference };
  // the lean is D1² − D2² over four lengths, so each diagonal counts with D/2L, nearly the same for both
  const [length, width] = [Number(at.length), Number(at.width)];
  const ofTwo = ofTwoReadings(at);
  const uncertainty = ofTwo ? nearestWhole(Number(ofTwo) * (Math.hypot(length, width) / (2 * length))) : null;
  return outcome(nanometres(lean), uncertainty, [companion, outOfSquare(angle)]);
}

/** @param {Entries} entries @param {Circumstances} at */
function squareness(entries, at) {
  const [ac, bd] = ["ac", "bd"].map((key) => read(entries, key, parseLength).nanometres);
  const field = (/** @type {Refusal} */ refusal) => (isAbout(refusal, "BD") ? "bd" : "ac");
  return about(field, () => squareFromDiagonals(at.length, at.width, ac, bd));
}

/** @param {Circumstances} at */
function ofTwoReadings({ uncertainties }) {
  return uncertainties.tape ? nearestWhole(Math.SQRT2 * Number(uncertainties.tape)) : null;
}

const outOfSquare = (/** @type {number} */ angle) => ({ name: "Out of square, degrees", quantity: null, amount: angle });
const nanometres = (/** @type {number} */ size) => nearestWhole(size * Number(NANOMETRES_PER_INCH));

/** @param {Entries} entries @param {Circumstances} at */
function core(entries, at) {
  if (at.bore == null) throw refused("mass", "Choose the core cutter first; its bore is needed for the density.");
  const mass = read(entries, "mass", parseMass);
  const tare = typed(entries, "tare") ? read(entries, "tare", parseMass) : NOTHING;
  const depth = read(entries, "depth", parseLength).nanometres;
  checkAgainstBay(depth, at.bayDepth);
  const sample = { mass, tare, bore: at.bore, depth };
  const field = (/** @type {Refusal} */ refusal) => (isAbout(refusal, "depth") ? "depth" : "mass");
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

/** @param {number} density kg/m³ */
const densityGrains = (density) => nearestWhole((density / POUND_PER_CUBIC_FOOT) * Number(GRAINS));

/** @param {Entries} entries @param {Circumstances} at */
function meter(entries, at) {
  const { top, bottom } = read(entries, "percent", parsePercent);
  return outcome(nearest(top * GRAINS, bottom), at.uncertainties.moisture_meter);
}

/** @param {Entries} entries */
function check(entries) {
  const answer = read(entries, "passed", stripped).toLowerCase();
  if (answer !== "yes" && answer !== "no") {
    const given = [...answer].slice(0, 40).join("");
    throw refused("passed", "Answer yes or no. Given: “{given}”.", { given });
  }
  if (answer === "yes") {
    if (["", "0"].includes(typed(entries, "faults"))) return outcome(0n);
    throw refused("faults", "“Yes” means no faults. Leave the count empty, or answer no.");
  }
  const faults = read(entries, "faults", parseCount);
  if (faults === 0n) throw refused("faults", "“No” needs the count of faults, 1 or more.");
  return outcome(faults);
}

const typed = (/** @type {Entries} */ entries, /** @type {string} */ key) => stripped(entries[key] ?? "");

/**
 * @template T
 * @param {Entries} entries
 * @param {string} key
 * @param {(text: string) => T} parse
 * @returns {T}
 */
function read(entries, key, parse) {
  if (!typed(entries, key)) throw refused(key, "Enter a value; nothing was entered.");
  return about(() => key, () => parse(entries[key]));
}

/**
 * What `act` returns; a refusal of it is about the field that `field` tells.
 * @template T
 * @param {(refusal: Refusal) => string} field
 * @param {() => T} act
 * @returns {T}
 */
function about(field, act) {
  try {
    return act();
  } catch (refusal) {
    throw refusal instanceof Refusal ? new EntryRefused(field(refusal), refusal) : refusal;
  }
}

const isAbout = ({ facts }, name) => String(facts.name ?? "").includes(name);
const refused = (field, sentence, facts = {}) => new EntryRefused(field, { sentence, facts });
