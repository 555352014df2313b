// Runs every case through the modules that tablets load, and says where they answer differently.

import { judge } from "../../static/measure/conformity.js";
import { formatDeviation, formatLength, parseLength } from "../../static/measure/length.js";
import { testSixReadings } from "../../static/measure/six_readings.js";

const NEAR = 1e-9;

const whole = (text) => (text === null ? null : BigInt(text));

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

  panels({ readings, length, width, standard_uncertainty }) {
    const found = testSixReadings(readings, { length, width }, standard_uncertainty);
    return {
      misclosure: found.misclosure,
      misclosure_uncertainty: found.misclosureUncertainty,
      is_consistent: found.isConsistent,
    };
  },
};

function answer(part, given) {
  try {
    return ANSWERS[part](given);
  } catch (refusal) {
    if (refusal.sentence === undefined) throw refusal;
    return { sentence: refusal.sentence, facts: refusal.facts, message: refusal.message };
  }
}

/** Whether `found` holds everything that is `expected`; other names in `found` do not count. */
function agrees(expected, found) {
  if (typeof expected === "number") return typeof found === "number" && Math.abs(expected - found) <= NEAR;
  if (typeof expected !== "object") return expected === (typeof found === "bigint" ? String(found) : found);
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
