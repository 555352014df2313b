// Runs every case through the modules that tablets load, and says where they answer differently.

import { judge } from "../../static/measure/conformity.js";
import { formatDeviation, formatLength, parseLength } from "../../static/measure/length.js";
import { parseMass } from "../../static/measure/mass.js";
import { workOut } from "../../static/measure/methods.js";
import { parsePercent } from "../../static/measure/moisture.js";
import { panelShape } from "../../static/measure/panel_shape.js";
import {
  formatAmount, formatDerived, formatDeviationOf, formatSpread, parseCount,
} from "../../static/measure/quantity.js";

const NEAR = 1e-9;

const whole = (text) => (text == null ? null : BigInt(text));

const ANSWERS = {
  entries: ({ text }) => ({ nanometres: String(parseLength(text).nanometres) }),

  prints({ nanometres, denominator, system, decimals }) {
    const asked = [BigInt(nanometres), denominator, system, decimals];
    return { length: formatLength(...asked), deviation: formatDeviation(...asked) };
  },

  verdicts(given) {
    const [lower, upper, roundedTo] = [given.lower, given.upper, given.rounded_to].map(whole);
    const decision = { rule: given.rule, standardUncertainty: whole(given.standard_uncertainty) };
    return { verdict: judge(BigInt(given.amount), { lower, upper, roundedTo }, decision) };
  },

  panels({ readings, length, width, standard_uncertainty, system }) {
    const { suspects, squaringMove, ...shape } = panelShape(readings, { length, width }, standard_uncertainty, system);
    return { ...underscored(shape), suspects: inOrder(suspects), squaring_move: moveOf(squaringMove) };
  },

  amounts({ entry, text }) {
    const found = PARSERS[entry](text);
    return typeof found === "bigint" ? { top: found, bottom: 1n } : lowest(found);
  },

  shown({ quantity, grains, system, denominator }) {
    const [amount, units] = [BigInt(grains), { system, denominator }];
    return {
      amount: formatAmount(quantity, amount, units),
      deviation: formatDeviationOf(quantity, amount, units),
      derived: formatDerived(quantity, amount, units),
      spread: formatSpread(quantity, amount < 0n ? -amount : amount, units),
    };
  },

  methods({ method, entries, circumstances, limits, rule }) {
    const found = workOut(method, entries, circumstancesOf(circumstances));
    const { standardUncertainty } = found;
    const [lower, upper, roundedTo] = [limits.lower, limits.upper, limits.rounded_to].map(whole);
    const verdict = judge(found.amount, { lower, upper, roundedTo }, { rule, standardUncertainty });
    return { ...underscored(found), verdict };
  },
};

const PARSERS = { mass: parseMass, percent: parsePercent, count: parseCount };

/** The same with names as the server spells them. */
const underscored = (found) => Object.fromEntries(
  Object.entries(found).map(([name, value]) => [name.replace(/[A-Z]/g, (letter) => `_${letter.toLowerCase()}`), value]),
);

function lowest({ top, bottom }) {
  let [one, other] = [top, bottom];
  while (other) [one, other] = [other, one % other];
  return { top: top / one, bottom: bottom / one };
}

function circumstancesOf({ bay_width, bay_depth, uncertainties, ...sizes }) {
  const wholes = (found) => Object.fromEntries(Object.entries(found).map(([name, text]) => [name, whole(text)]));
  return { ...wholes({ ...sizes, bayWidth: bay_width, bayDepth: bay_depth }), uncertainties: wholes(uncertainties) };
}

/** Of suspects that are equally plausible, as on a rectangle, the order means nothing. */
function inOrder(suspects) {
  const isEqual = (one, other) => Math.round(one.plausibility * 1e6) === Math.round(other.plausibility * 1e6);
  const groups = [];
  for (const suspect of suspects) {
    if (groups.length && isEqual(groups.at(-1)[0], suspect)) groups.at(-1).push(suspect);
    else groups.push([suspect]);
  }
  return groups.flatMap((equal) => equal.sort((one, other) => (one.reading < other.reading ? -1 : 1)));
}

/** A squaring move of no size, the last places of a float, is none. */
const moveOf = (move) => (move === null || move.distance < NEAR ? null : move);

function answer(part, given) {
  try {
    return ANSWERS[part](given);
  } catch (refusal) {
    if (refusal.sentence === undefined) throw refusal;
    return { sentence: refusal.sentence, facts: refusal.facts, field: refusal.field, message: refusal.message };
  }
}

/** Whether `found` holds everything that is `expected`; other names in `found` do not count. */
function agrees(expected, found) {
  if (typeof expected === "number") return typeof found === "number" && Math.abs(expected - found) <= NEAR;
  if (expected === null || typeof expected !== "object") return expected === (typeof found === "bigint" ? String(found) : found);
  if (found === null || typeof found !== "object" || Array.isArray(expected) && expected.length !== found.length) return false;
  return Object.entries(expected).every(([name, value]) => agrees(value, found[name] ?? null));
}

const plain = (_, value) => (typeof value === "bigint" ? String(value) : value);

/** @returns {{count: number, differences: string[]}} how many cases ran, and which are answered differently */
export function compare(vectors) {
  const differences = [];
  let count = 0;
  for (const [part, cases] of Object.entries(vectors)) {
    for (const { answer: expected, ...given } of cases) {
      const found = answer(part, given);
      count += 1;
      if (!agrees(expected, found)) {
        differences.push(`${part}: ${JSON.stringify({ given, expected, found }, plain)}`);
      }
    }
  }
  return { count, differences };
}
