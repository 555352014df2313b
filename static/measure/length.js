// Lengths as people type and read them, exact: what qc_app/measure/length says, said on the tablet.
// A length is a whole number of nanometres, so every graduation, 1/64 in or 1 mm, is exact.

import { decimal as decimalOf, DECIMAL, entire, isThousandsOrDecimal, isTooLong, LONGEST_ENTRY, tidied } from "./entry.js";
import { nearest, nearestFloat } from "./rational.js";
import { Refusal, shortened } from "./refusal.js";

export const NANOMETRES_PER_INCH = 25_400_000n;

/** Parts of an inch that tapes are divided into. */
const GRADUATIONS = [1, 2, 4, 8, 16, 32, 64];
const FOOT = 12n * NANOMETRES_PER_INCH;
const LONGEST = 1000n * FOOT;
const NANOMETRES_PER_UNIT = { mm: 1_000_000n, cm: 10_000_000n, m: 1_000_000_000n };
export const MINUS = "\u2212";

const MARKS = { "′": "'", "’": "'", "‘": "'", "″": '"', "”": '"', "“": '"', "⁄": "/" };
const VULGAR = {
  "½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
  "⅓": "1/3", "⅔": "2/3", "⅕": "1/5", "⅖": "2/5", "⅗": "3/5", "⅘": "4/5", "⅙": "1/6", "⅚": "5/6",
};
const MARK = new RegExp(`[${Object.keys(MARKS).join("")}]`, "g");
const VULGAR_SIGN = new RegExp(`([0-9]?)([${Object.keys(VULGAR).join("")}])`, "g");
const SIGNED = /^-|[+−–—﹣－]| -[0-9.]/;
const ASCII = /^[\0-\x7f]*$/;

const FRACTION = "(?<top>[0-9]+)/(?<bottom>[0-9]+)";
const QUANTITY = `(?:(?:(?<whole>[0-9]+)[ -])?${FRACTION}|(?<decimal>${DECIMAL}))`;
const FEET_MARK = " ?(?:'|feet|foot|ft\\.?)";
const INCH_MARK = '(?: ?(?:"|inches|inch|in\\.?))?';
const METRIC = entire(`(?<decimal>${DECIMAL}) ?(?<unit>mm|cm|m)`);
const FEET_AND_INCHES = entire(`(?<feet>[0-9]+)${FEET_MARK}(?: - | |-)?${QUANTITY}${INCH_MARK}`);
const FEET = entire(QUANTITY + FEET_MARK);
const INCHES = entire(QUANTITY + INCH_MARK);
const FEET_INCHES_SIXTEENTHS = entire("(?<feet>[0-9]+)-(?<whole>[0-9]+)-(?<top>[0-9]+)");
const FEET_INCHES_FRACTION = entire(`(?<feet>[0-9]+)-(?<whole>[0-9]+)[ -]${FRACTION}${INCH_MARK}`);
const SEVERAL_NUMBERS = entire(`(?:${DECIMAL})(?:[ -](?:${DECIMAL}))+(?:[ -][0-9]+/[0-9]+)?${INCH_MARK}`);

/** @typedef {import("./rational.js").Rational} Nanometres */

/** An entry that is no length, or that could be read as more than one. */
export class LengthRefused extends Refusal {}

/**
 * The exact length that `text` states; a bare number is inches.
 * @param {string} text
 * @returns {{nanometres: bigint}}
 * @throws {LengthRefused} with a sentence that names the entry and what is accepted
 */
export function parseLength(text) {
  if (isTooLong(text)) {
    const facts = { given: shortened(text), limit: LONGEST_ENTRY };
    throw new LengthRefused("“{given}” is too long for a length: at most {limit} characters.", facts);
  }
  const written = spelledOut(text);
  if (!written) throw new LengthRefused("No length was entered. Write one such as 27' 11 3/16\" or 8514 mm.");
  if (SIGNED.test(written)) throw refused("“{given}” has a sign. A measured length has none.", text);
  return { nanometres: checked(read(written, text), text) };
}

/** The entry with plain ASCII marks in lower case: `11⅜″` becomes `11 3/8 "`. @param {string} text */
function spelledOut(text) {
  const written = text
    .replace(VULGAR_SIGN, (_, digit, sign) => `${digit} ${VULGAR[sign]} `.trimStart())
    .replace(MARK, (mark) => MARKS[mark])
    .replaceAll("''", '"');
  const plain = tidied(written);
  return ASCII.test(plain) ? plain.toLowerCase() : plain;
}

/** @param {string} sentence @param {string} given */
const refused = (sentence, given) => new LengthRefused(sentence, { given });

/** @param {string} written @param {string} given @returns {Nanometres} */
function read(written, given) {
  let groups;
  const matches = (/** @type {RegExp} */ pattern) => (groups = pattern.exec(written)?.groups);
  if (matches(METRIC)) return decimal(groups.decimal, NANOMETRES_PER_UNIT[groups.unit], given);
  if (matches(FEET_INCHES_SIXTEENTHS) || matches(FEET_INCHES_FRACTION)) {
    return feetAndInches(groups.feet, mixed({ bottom: "16", ...groups }, given), given);
  }
  if (matches(FEET_AND_INCHES)) return feetAndInches(groups.feet, quantity(groups, given), given);
  if (matches(FEET)) return times12(quantity(groups, given));
  if (matches(INCHES)) return quantity(groups, given);
  if (SEVERAL_NUMBERS.test(written)) {
    throw refused("“{given}” can be read in two ways. Write 12' 3\" or 12 3/16\".", given);
  }
  throw refused("“{given}” is not a length. Write one such as 27' 11 3/16\", 27-11-3, 335.1875 or 8514 mm.", given);
}

const times12 = (/** @type {Nanometres} */ { top, bottom }) => ({ top: 12n * top, bottom });

function quantity(groups, given) {
  if (groups.decimal === undefined) return mixed(groups, given);
  return decimal(groups.decimal, NANOMETRES_PER_INCH, given);
}

function decimal(number, unit, given) {
  if (isThousandsOrDecimal(number)) {
    throw refused("The comma in “{given}” can mean thousands or decimals. Write a decimal point, or no comma.", given);
  }
  const { top, bottom } = decimalOf(number);
  return { top: top * unit, bottom };
}

function mixed(groups, given) {
  const [inches, top, bottom] = [groups.whole ?? "0", groups.top, groups.bottom].map(BigInt);
  if (bottom === 1n || !GRADUATIONS.includes(Number(bottom))) {
    throw refused("“{given}” has a fraction that no tape shows: halves, 4ths, 8ths, 16ths, 32nds or 64ths.", given);
  }
  if (top >= bottom) throw refused("“{given}” has a fraction of an inch that is not less than 1.", given);
  return { top: (inches * bottom + top) * NANOMETRES_PER_INCH, bottom };
}

function feetAndInches(feet, { top, bottom }, given) {
  if (top >= FOOT * bottom) throw refused("“{given}” has 12 inches or more beside the feet.", given);
  return { top: BigInt(feet) * FOOT * bottom + top, bottom };
}

function checked({ top, bottom }, given) {
  if (top > LONGEST * bottom) throw refused("“{given}” is longer than 1000 ft. Check the unit.", given);
  if (top % bottom) throw refused("“{given}” has more decimals than can be kept exactly.", given);
  return top / bottom;
}

/** The float nearest to so many inches. @param {bigint} nanometres */
export const inInches = (nanometres) => nearestFloat(nanometres, NANOMETRES_PER_INCH);

/** @param {bigint} size nanometres @param {string} name @throws {Refusal} naming a size not more than zero */
export function checkSize(size, name) {
  if (size > 0n) return;
  throw new Refusal("The {name} must be more than zero, not {inches} in.", { name, inches: inInches(size) });
}

/**
 * A length as the trade writes it, rounded to 1/`denominator` in or to `decimals` places of a millimetre,
 * half-way to the even one. Below zero it carries a minus sign (U+2212), unless it rounds to zero.
 * @param {bigint} nanometres
 * @param {number} [denominator] 1, 2, 4 … 64
 * @param {"imperial" | "metric"} [system]
 * @param {number} [decimals]
 * @returns {string}
 * @throws {Refusal} for an unknown graduation or system
 */
export function formatLength(nanometres, denominator = 16, system = "imperial", decimals = 1) {
  return signed(nanometres, "", denominator, system, decimals);
}

/** A deviation from a target: `formatLength` with a plus sign above zero. @type {typeof formatLength} */
export function formatDeviation(nanometres, denominator = 16, system = "imperial", decimals = 1) {
  return signed(nanometres, "+", denominator, system, decimals);
}

function signed(nanometres, plus, denominator, system, decimals) {
  const magnitude = nanometres < 0n ? -nanometres : nanometres;
  const isMetric = system === "metric";
  const [size, steps] = isMetric ? millimetres(magnitude, decimals) : inches(magnitude, denominator, system);
  if (steps === 0n) return size;
  return (nanometres < 0n ? MINUS : plus) + size;
}

function millimetres(nanometres, decimals) {
  const scale = 10n ** BigInt(decimals);
  const steps = nearest(nanometres * scale, NANOMETRES_PER_UNIT.mm);
  const places = String(steps % scale).padStart(decimals, "0").replace(/0+$/, "");
  return [`${steps / scale}${places && `.${places}`} mm`, steps];
}

function inches(nanometres, denominator, system) {
  if (system !== "imperial") {
    throw new Refusal("Lengths are shown as imperial or metric, not “{system}”.", { system });
  }
  if (!GRADUATIONS.includes(denominator)) {
    throw new Refusal("An inch is divided into 1, 2, 4, 8, 16, 32 or 64 parts, not {denominator}.", { denominator });
  }
  const parts = BigInt(denominator);
  const steps = nearest(nanometres * parts, NANOMETRES_PER_INCH);
  const [feet, whole] = [steps / (12n * parts), (steps / parts) % 12n];
  let [top, bottom] = [steps % parts, parts];
  while (top && top % 2n === 0n) [top, bottom] = [top / 2n, bottom / 2n];
  const numbers = feet ? [`${feet}'`, whole] : whole || !top ? [whole] : [];
  if (top) numbers.push(`${top}/${bottom}`);
  return [`${numbers.join(" ")}"`, steps];
}
