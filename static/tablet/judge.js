// What the readings being typed amount to, and how they will be judged. The server's verdict is the one that counts.

import { judge } from "../measure/conformity.js";
import { workOut } from "../measure/methods.js";
import { inInches, parseLength } from "../measure/length.js";
import { panelShape } from "../measure/panel_shape.js";

/** @typedef {Record<string, any>} Asked one check, as the page's facts state it */
/** @typedef {Record<string, any>} Facts of the page */
/** @typedef {{amount: bigint, verdict: import("../measure/conformity.js").Verdict, deviation: bigint | null, outcome: import("../measure/methods.js").Outcome}} Judged */

/** Of a tolerance: a reading further off its target is measured again before it is taken. */
const FAR = 8n;
const LINES = 6;

/** @param {string | null | undefined} text */
const whole = (text) => (text == null ? null : BigInt(text));

/**
 * @param {Asked} asked
 * @param {Record<string, string>} entries by key of the field
 * @param {Facts} facts
 * @param {Record<string, any>[]} instruments those chosen
 * @returns {Judged}
 * @throws {import("../measure/methods.js").EntryRefused} for an entry that cannot be read
 */
export function judged(asked, entries, facts, instruments) {
  const outcome = workOut(asked.method, entries, circumstances(asked, facts, instruments));
  const limits = { lower: whole(asked.lower), upper: whole(asked.upper), roundedTo: whole(asked.roundedTo) };
  const verdict = judge(outcome.amount, limits, {
    rule: asked.rule, standardUncertainty: outcome.standardUncertainty,
  });
  const target = whole(asked.target);
  return { amount: outcome.amount, verdict, deviation: target === null ? null : outcome.amount - target, outcome };
}

/** Whether a reading is so far from its target that a slip is likelier than such a panel. @param {Asked} asked @param {Judged} reading */
export function isFarOff(asked, { deviation }) {
  const [lower, upper] = [whole(asked.lower), whole(asked.upper)];
  if (deviation === null || lower === null || upper === null || asked.quantity === "count") return false;
  const size = deviation < 0n ? -deviation : deviation;
  return size * 2n > FAR * (upper - lower);
}

/** Whether a second reading tells the same as the first, to within the tolerance. @param {Asked} asked @param {bigint} one @param {bigint} other */
export function agree(asked, one, other) {
  const apart = one < other ? other - one : one - other;
  return apart <= BigInt(asked.upper) - BigInt(asked.lower);
}

/**
 * The shape that six readings give; null while they are not six lengths of one panel.
 * @param {Asked[]} step
 * @param {(asked: Asked) => Record<string, string>} entriesOf
 * @param {Facts} facts
 * @param {Record<string, any>[]} instruments
 * @param {"imperial" | "metric"} system
 */
export function shapeOf(step, entriesOf, facts, instruments, system) {
  const lines = step.flatMap((asked) => {
    const entries = entriesOf(asked);
    return asked.lines.map((line, n) => [line, entries[Object.keys(asked.fields)[n]] ?? ""]);
  });
  if (lines.length !== LINES) return null;
  const { tape } = uncertainties(facts, instruments);
  const nominal = { length: inInches(BigInt(facts.size.length)), width: inInches(BigInt(facts.size.width)) };
  try {
    const readings = Object.fromEntries(lines.map(([line, text]) => [line, inInches(parseLength(text).nanometres)]));
    return panelShape(readings, nominal, inInches(tape), system);
  } catch {
    return null;
  }
}

/** @param {Asked} asked @param {Facts} facts @param {Record<string, any>[]} instruments */
function circumstances(asked, facts, instruments) {
  const bay = facts.bays[asked.bay] ?? {};
  return {
    length: BigInt(facts.size.length), width: BigInt(facts.size.width), depth: BigInt(facts.size.depth),
    bayDepth: whole(bay.depth), bayWidth: whole(bay.width), target: whole(asked.target),
    bore: whole(instruments.find(({ bore }) => bore)?.bore),
    uncertainties: uncertainties(facts, instruments),
  };
}

/** Of the plan, or an instrument's own where it states one. @param {Facts} facts @param {Record<string, any>[]} instruments */
function uncertainties(facts, instruments) {
  const own = instruments.filter(({ uncertainty }) => uncertainty).map(({ kind, uncertainty }) => [kind, uncertainty]);
  const all = { ...facts.uncertainties, ...Object.fromEntries(own) };
  return Object.fromEntries(Object.entries(all).map(([kind, grains]) => [kind, BigInt(grains)]));
}
