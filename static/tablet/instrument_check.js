// Checks an instrument against its reference. The tablet says at once whether it passes; the server's word counts.

import { parseLength } from "../measure/length.js";
import { parseMass } from "../measure/mass.js";
import { parsePercent } from "../measure/moisture.js";
import { formatDerived, GRAINS } from "../measure/quantity.js";
import { Refusal } from "../measure/refusal.js";
import { checkFields, focusFirst, form, save, setValue, start, units, valueOf } from "./entry_form.js";
import { learn, word } from "./words.js";

learn(JSON.parse(document.getElementById("check-words").textContent));
const { instruments } = JSON.parse(document.getElementById("facts").textContent);
const choice = /** @type {HTMLSelectElement} */ (document.getElementById("instrument"));
const wrongKey = form.querySelector("[data-wrong]");

/** @param {import("../measure/rational.js").Rational} amount */
const inGrains = ({ top, bottom }) => (top * GRAINS * 2n + bottom) / (bottom * 2n);

/** @type {Record<string, (text: string) => bigint>} */
const GRAINS_OF = {
  length: (text) => parseLength(text).nanometres,
  mass: (text) => inGrains(parseMass(text)),
  moisture: (text) => inGrains(parsePercent(text)),
};

const chosen = () => instruments.find(({ id }) => String(id) === choice.value) ?? null;

/** Shows what the chosen kind is asked for. */
function ask() {
  const instrument = chosen();
  for (const part of form.querySelectorAll("[data-kind]")) part.hidden = part.dataset.kind !== instrument?.kind;
  wrongKey.hidden = instrument === null;
  focusFirst();
}

/** @throws {Refusal} while none is chosen */
function needed() {
  const instrument = chosen();
  if (instrument === null) {
    choice.focus();
    throw new Refusal(word("chooseInstrument"));
  }
  return instrument;
}

/** What was compared with what, as typed. @param {string} kind */
function comparisons(kind) {
  const read = valueOf(`${kind}-read`);
  if (kind === "core_cutter") return [{ reference: null, read }];
  const own = [{ reference: valueOf(`${kind}-reference`), read }];
  return kind === "scale" ? [{ reference: "0 g", read: valueOf("scale-zero") }, ...own] : own;
}

/** @param {Record<string, any>} instrument @param {{reference: string | null, read: string}} compared */
function judge({ quantity, bore, steps }, { reference, read }) {
  const against = reference === null ? BigInt(bore) : GRAINS_OF[quantity](reference);
  const off = GRAINS_OF[quantity](read) - against;
  const step = steps.find(([upTo]) => upTo === null || against <= BigInt(upTo));
  if (!step) throw new Refusal(word("tooLarge"));
  return { off: off < 0n ? -off : off, permitted: BigInt(step[1]) };
}

/** Finer than the instrument's own graduation. @param {string} quantity @param {bigint} grains */
function inWords(quantity, grains) {
  if (quantity === "mass") return `${Number(grains) / Number(GRAINS)} g`;
  return formatDerived(quantity, grains, units).replace(/^\+/, "");
}

const title = (/** @type {string} */ name) => form.dataset.title.replace("{name}", name);

function checked() {
  const instrument = needed();
  checkFields();
  const checks = comparisons(instrument.kind);
  const judged = checks.map((compared) => judge(instrument, compared));
  const worst = judged.find(({ off, permitted }) => off > permitted) ?? judged.at(-1);
  const isGood = worst.off <= worst.permitted;
  const facts = { name: instrument.name, off: inWords(instrument.quantity, worst.off), permitted: inWords(instrument.quantity, worst.permitted) };
  const content = { instrument: instrument.id, checks, remark: valueOf("remark") };
  return { form: "instrument_check", content, title: title(instrument.name), told: word(isGood ? "passed" : "failed", facts), isGood };
}

function wrong() {
  const { id, name } = needed();
  const remark = valueOf("remark");
  if (!remark) {
    document.getElementById("remark").focus();
    throw new Refusal(word("sayWhat"));
  }
  const content = { instrument: id, wrong: true, remark };
  return { form: "instrument_check", content, title: title(name), told: word("isWrong", { name }), isGood: false };
}

/** @param {Record<string, any>} content of an entry made here */
function fillIn({ instrument, checks = [], remark }) {
  setValue("instrument", String(instrument));
  ask();
  setValue("remark", remark);
  const kind = chosen()?.kind;
  const [first, last] = [checks[0], checks.at(-1)];
  if (!kind || !last) return;
  if (kind === "scale") setValue("scale-zero", first.read);
  if (kind !== "core_cutter") setValue(`${kind}-reference`, last.reference);
  setValue(`${kind}-read`, last.read);
}

choice.addEventListener("change", ask);
wrongKey.addEventListener("click", () => save(wrong));
start(checked, fillIn);
