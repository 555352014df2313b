// Decimal numbers as people type them, read exactly: what qc_app/measure/entry says, said on the tablet.

import { Refusal, shortened } from "./refusal.js";

/** Characters looked at; anything longer is refused before any pattern is tried. */
export const LONGEST_ENTRY = 40;
export const DECIMAL = "[0-9]+(?:[.,][0-9]+)?|\\.[0-9]+";

/** A pattern for the whole of a text. @param {string} pattern */
export const entire = (pattern) => new RegExp(`^(?:${pattern})$`);

// Not \s, which leaves out separators that the server takes for space, and holds one that it does not.
const SPACES = "[\\t-\\r\\x1c-\\x20\\x85\\xa0\\u1680\\u2000-\\u200a\\u2028\\u2029\\u202f\\u205f\\u3000]+";
const ANY_SPACES = new RegExp(SPACES, "g");
const END_SPACES = new RegExp(`^${SPACES}|${SPACES}$`, "g");
const ONE_DECIMAL = entire(DECIMAL);
const THOUSANDS = /^[1-9][0-9]{0,2},[0-9]{3}$/;

/** The text without spaces at its ends. @param {string} text */
export const stripped = (text) => text.replace(END_SPACES, "");

/** The text with every run of spaces as one, and none at the ends. @param {string} text */
export const tidied = (text) => stripped(text).replace(ANY_SPACES, " ");

/** @param {string} text */
export const isTooLong = (text) => [...text].length > LONGEST_ENTRY;

/** Whether the comma in a number can be read both ways, as in `8,514`. @param {string} number */
export const isThousandsOrDecimal = (number) => THOUSANDS.test(number);

/**
 * The value of digits with at most one point or comma.
 * @param {string} number
 * @returns {import("./rational.js").Rational}
 */
export function decimal(number) {
  const [digits, places = ""] = number.split(/[.,]/);
  return { top: BigInt(digits + places), bottom: 10n ** BigInt(places.length) };
}

/**
 * The exact value of one plain decimal number.
 * @param {string} text
 * @throws {Refusal} for a sign, an exponent, several numbers, an ambiguous comma
 */
export function decimalNumber(text) {
  const given = shortened(text);
  if (!ONE_DECIMAL.test(text)) {
    throw new Refusal("“{given}” is not a plain number such as 14 or 14.5.", { given });
  }
  if (isThousandsOrDecimal(text)) {
    throw new Refusal(
      "The comma in “{given}” can mean thousands or decimals. Write a decimal point, or no comma.",
      { given },
    );
  }
  return decimal(text);
}
