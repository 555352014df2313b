// Which single reading could explain readings that do not close: what qc_app/measure/quadrilateral/slips says,
// said on the tablet. A change of any one of the six closes the figure, so the culprit is never certain. The
// slips and their weights are common practice on the shop floor, not taken from a standard.

import { AC, adjust, BD, NAMES } from "./adjustment.js";
import { Refusal } from "./refusal.js";
import { nominalSix } from "./six_readings.js";

/** @typedef {import("./adjustment.js").Six} Six */
/**
 * @typedef {object} Suspect one reading that could alone explain the misclosure; sizes in inches
 * @property {import("./adjustment.js").Line} reading
 * @property {number} value as read
 * @property {number} expected what the other five readings give for it
 * @property {number} change expected − value
 * @property {number} uncertainty standard uncertainty of the change
 * @property {string | null} slip the slip it looks like
 * @property {number} plausibility 0 to 1, relative to the other suspects: a ranking, not a probability
 */

const MILLIMETRE = 10 / 254;
/** Slips of the tape by the units on it: name, size in inches, and how often it is met. */
const IMPERIAL_SLIPS = [
  ["one inch", 1, 1],
  ["one foot", 12, 0.8],
  ["half an inch", 0.5, 0.6],
  ["a quarter of an inch", 0.25, 0.3],
  ["an eighth of an inch", 0.125, 0.2],
  ["two inches", 2, 0.2],
  ["ten inches", 10, 0.2],
  ["two feet", 24, 0.1],
];
const METRIC_SLIPS = [
  ["10 mm", 10 * MILLIMETRE, 1],
  ["100 mm", 100 * MILLIMETRE, 1],
  ["5 mm", 5 * MILLIMETRE, 0.4],
  ["20 mm", 20 * MILLIMETRE, 0.2],
  ["1 m", 1000 * MILLIMETRE, 0.6],
];
const SLIPS = { imperial: IMPERIAL_SLIPS, metric: METRIC_SLIPS };
const TURNED_WEIGHT = 0.5;
const TWICE_WEIGHT = 1.5;
const UNNAMED_WEIGHT = 0.02;
/** Inches by which panels are commonly off their nominal size. */
const OFF_SIZE = 0.125;

/**
 * Which single reading could explain an inconsistent panel, most plausible first; none for a consistent one.
 *
 * @param {ReturnType<typeof import("./six_readings.js").testSixReadings>} tested
 * @param {import("./six_readings.js").Nominal} nominal
 * @param {"imperial" | "metric"} [system] of the tape
 * @returns {Suspect[]}
 */
export function suspects({ read, gradient, misclosureUncertainty, isConsistent }, nominal, system = "imperial") {
  if (isConsistent) return [];
  const sizes = nominalSix(nominal);
  const found = [...NAMES.keys()].flatMap((line) => {
    const expected = closing(read, line);
    if (expected === null) return [];
    const [value, uncertainty] = [read[line], misclosureUncertainty / Math.abs(gradient[line])];
    const change = expected - value;
    const { slip, weight } = likeliest(explanations(read, line, change, uncertainty, SLIPS[system]));
    const nearness = off(value - sizes[line]) / off(expected - sizes[line]);
    return [{ reading: NAMES[line], value, expected, change, uncertainty, slip, weight: weight * nearness }];
  });
  const whole = found.reduce((total, { weight }) => total + weight, 0);
  return found
    .map(({ weight, ...suspect }) => ({ ...suspect, plausibility: weight / whole }))
    .sort((one, other) =>
      other.plausibility - one.plausibility || Math.abs(one.change) - Math.abs(other.change));
}

/** What the other five readings give for one; null where no change of it alone closes. @param {Six} read */
function closing(read, line) {
  try {
    return adjust(read, NAMES.map((_, other) => (other === line ? 1 : 0))).lengths[line];
  } catch (refusal) {
    if (refusal instanceof Refusal) return null;
    throw refusal;
  }
}

function explanations(read, line, change, spread, slips) {
  const found = slips.map(([slip, size, weight]) =>
    ({ slip, weight: weight * closeness(Math.abs(change) - size, spread) }));
  found.push(turned(read[line], change, spread), { slip: null, weight: UNNAMED_WEIGHT });
  if (read[AC] === read[BD] && line >= AC) {
    found.push({ slip: "the same diagonal entered twice", weight: TWICE_WEIGHT });
  }
  return found;
}

/** Sixteenths counted from the wrong inch mark: 5/16 entered where 11/16 was read. */
function turned(value, change, spread) {
  const part = value % 1;
  const weight = part ? TURNED_WEIGHT * closeness(change - (1 - 2 * part), spread) : 0;
  return { slip: "sixteenths counted from the wrong inch mark", weight };
}

const likeliest = (found) => found.reduce((best, other) => (other.weight > best.weight ? other : best));
/** How unlikely it is, 1 or more, that a panel deviates so many inches from its nominal size. */
const off = (/** @type {number} */ deviation) => 1 + (deviation / OFF_SIZE) ** 2;
const closeness = (/** @type {number} */ distance, /** @type {number} */ spread) =>
  Math.exp(-0.5 * (distance / spread) ** 2);
