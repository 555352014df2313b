// Says under each field, while it can still be corrected, how it was understood and how it will be judged.

import { formatLength, inInches, parseLength } from "../measure/length.js";
import { parseMass } from "../measure/mass.js";
import { formatAmount, formatDeviationOf, formatSpread } from "../measure/quantity.js";
import { Refusal } from "../measure/refusal.js";
import { word } from "./words.js";

/** @typedef {import("../measure/quantity.js").Units} Units */

const MARKS = { within: "✓", outside: "✕", unclear: "!" };
const GRAMS_PER_OUNCE = 28.349523125;

/**
 * What was typed, written two ways; empty while it cannot be read.
 * @param {string} kind of entry
 * @param {string} text
 * @param {Units} units
 * @returns {string[]}
 */
export function twoWays(kind, text, units) {
  if (text.trim() === "") return [];
  try {
    if (kind === "length") return lengthTwoWays(text, units);
    return kind === "mass" ? massTwoWays(text) : [];
  } catch (refused) {
    // Half of a number looks the same as a wrong one, so nothing is said before it is saved.
    if (refused instanceof Refusal) return [];
    throw refused;
  }
}

/** @param {string} text @param {Units} units */
function lengthTwoWays(text, units) {
  const { nanometres } = parseLength(text);
  const own = formatAmount("length", nanometres, units);
  const other = units.system === "imperial" ? `${inInches(nanometres).toFixed(3)} in` : formatLength(nanometres, 16, "imperial");
  return [own, other];
}

/** @param {string} text */
function massTwoWays(text) {
  const { top, bottom } = parseMass(text);
  const grams = Number(top) / Number(bottom);
  const ounces = grams / GRAMS_PER_OUNCE;
  return grams < 1000
    ? [`${grams.toFixed(1)} g`, `${ounces.toFixed(2)} oz`]
    : [`${(grams / 1000).toFixed(3)} kg`, `${(ounces / 16).toFixed(2)} lb`];
}

/**
 * The verdict with the deviation, and the amount where it is not what was typed.
 * @param {Record<string, any>} asked
 * @param {import("./judge.js").Judged} judged
 * @param {Units} units
 * @param {boolean} isBrief where there is little room
 */
export function verdictText(asked, { verdict, deviation, amount, outcome }, units, isBrief) {
  const parts = [`${MARKS[verdict]} ${word(verdict)}`];
  if (asked.quantity === "count") return parts[0];
  if (asked.method !== "tape" && !isBrief) {
    parts.push(formatAmount(asked.quantity, amount, units), formatSpread(asked.quantity, outcome.standardUncertainty, units));
  }
  if (deviation !== null) parts.push(formatDeviationOf(asked.quantity, deviation, units));
  return parts.filter(Boolean).join(" · ");
}

/** Shows a text with its state under a field. @param {HTMLElement} output @param {string} text @param {string} [state] */
export function show(output, text, state = "") {
  output.textContent = text;
  for (const name of ["within", "outside", "unclear"]) output.classList.toggle(name, name === state);
}
