// A page with one form: what is typed is echoed, and once it is whole an entry goes into the outbox.

import { parseLength } from "../measure/length.js";
import { parseMass } from "../measure/mass.js";
import { parsePercent } from "../measure/moisture.js";
import { Refusal } from "../measure/refusal.js";
import { start as startBar } from "./bar.js";
import { show, twoWays } from "./echo.js";
import { Keypad } from "./keypad.js";
import { entry as storedEntry, writeEntry } from "./outbox.js";
import { author, start as startPeople } from "./people.js";
import { completeUnit, said } from "./step.js";
import { learn, word } from "./words.js";

const words = JSON.parse(document.getElementById("page-words").textContent);
learn(words);
const PARSERS = { length: parseLength, mass: parseMass, percent: parsePercent };

export const form = /** @type {HTMLFormElement} */ (document.querySelector("form.entry"));
const pad = /** @type {HTMLElement} */ (form.querySelector(".keypad"));
/** @type {import("../measure/quantity.js").Units} */
export const units = { system: pad.dataset.mode, denominator: Number(pad.dataset.denominator) };
const keypad = new Keypad(pad, words.keypad);
const error = form.querySelector(".error.whole");
const result = form.querySelector(".result");

/** @typedef {{form: string, content: Record<string, any>, title: string, told?: string, isGood?: boolean}} Made */
/** @type {() => Made} */
let make;
/** @typedef {(content: Record<string, any>) => void} FillIn puts what an entry holds back into the fields */
/** @type {FillIn} */
let fillIn;
let isSaving = false;
/** The refused entry that is being put right. @type {string | null} */
let refusedEntry = null;

/** The fields in sight, in the order they are typed. @returns {HTMLInputElement[]} */
export const inputs = () => [...form.querySelectorAll("input[data-keypad]")].filter((input) => !input.closest("[hidden]"));

/** What is typed or chosen in a field. @param {string} id */
export const valueOf = (id) => document.getElementById(id).value.trim();

/** Puts what was typed or chosen back into a field. @param {string} id @param {string | null | undefined} text */
export function setValue(id, text) {
  const field = document.getElementById(id);
  field.value = text ?? "";
  if (field.matches("[data-keypad]")) echo({ target: field });
}

/**
 * Begins.
 * @param {() => Made} makeEntry makes the entry of what is typed, or throws a refusal
 * @param {FillIn} fill
 */
export async function start(makeEntry, fill) {
  make = makeEntry;
  fillIn = fill;
  form.addEventListener("keypad:next", next);
  form.addEventListener("submit", next);
  form.addEventListener("input", echo);
  form.addEventListener("focusin", ({ target }) => target.matches("[data-keypad]") && keypad.serve(target));
  document.addEventListener("outbox:undone", ({ detail }) => detail.address === address() && bringBack(detail));
  startPeople();
  startBar();
  focusFirst();
  const refused = /^#entry=([0-9a-f-]+)$/.exec(location.hash)?.[1];
  if (refused) await putRight(refused);
  document.documentElement.dataset.ready = "";
}

const address = () => location.pathname + location.search;

/** @param {{content: Record<string, any>, replaces: string | null}} entry undone, or to be put right */
function bringBack({ content, replaces }) {
  fillIn(content);
  refusedEntry = replaces;
}

/** Shows an entry that the server refused as it was typed, and why it was refused. @param {string} uuid */
async function putRight(uuid) {
  const entry = await storedEntry(uuid);
  if (!entry) return;
  bringBack({ content: entry.content, replaces: uuid });
  const reasons = (entry.answer?.reasons ?? []).map((/** @type {any} */ { sentence }) => sentence);
  refuse(`${word("refusedTitle")}: ${reasons.join(" ")}`);
  error.scrollIntoView({ block: "nearest" });
}

/** @param {string} why */
const refuse = (why) => Object.assign(error, { hidden: false, textContent: why });

/** Goes to the first field. */
export function focusFirst() {
  const [first] = inputs();
  if (!first) return;
  keypad.serve(first);
  first.focus();
}

/** @param {Event} event */
async function next(event) {
  event.preventDefault();
  const fields = inputs();
  for (const input of fields) completeUnit(input, units.system);
  const at = fields.indexOf(/** @type {HTMLInputElement} */ (event.target));
  const following = fields.slice(at + 1).find(({ value }) => !value.trim());
  const isPassed = at >= 0 && (fields[at].value.trim() || fields[at].dataset.optional !== undefined);
  if (event.type === "keypad:next" && isPassed && following) return following.focus();
  await save(make);
}

/** Writes an entry, and makes room for the next. @param {() => Made} makeEntry */
export async function save(makeEntry) {
  if (isSaving) return;
  isSaving = true;
  error.hidden = true;
  try {
    const { told, isGood = true, ...entry } = makeEntry();
    const person = await author();
    if (person === null) return;
    await writeEntry({ ...entry, person: person.id, address: address(), replaces: refusedEntry });
    refusedEntry = null;
    tell(`${isGood ? "✓" : "✕"} ${told ?? entry.title} · ${word("savedHere")}`, isGood);
    for (const input of inputs()) clear(input);
    focusFirst();
  } catch (failed) {
    const why = failed instanceof Refusal ? said(failed) : word("saveFailed", { sentence: failed.message });
    refuse(why);
  } finally {
    isSaving = false;
  }
}

/** @param {string} textContent @param {boolean} isGood */
function tell(textContent, isGood) {
  Object.assign(result, { hidden: false, textContent, className: `result ${isGood ? "within" : "outside"}` });
}

/** Throws a refusal for the first field that cannot be taken, and goes there. */
export function checkFields() {
  for (const input of inputs()) {
    const isEmpty = !input.value.trim();
    if (isEmpty && input.dataset.optional !== undefined) continue;
    input.focus();
    if (isEmpty) throw new Refusal(word("enterValue"));
    PARSERS[input.dataset.keypad]?.(input.value);
  }
}

/** @param {Event} event */
function echo({ target }) {
  if (target.matches("[data-keypad]")) show(document.getElementById(`${target.id}-echo`), twoWays(target.dataset.keypad, target.value, units).join(" = "));
}

/** @param {HTMLInputElement} input */
function clear(input) {
  input.value = "";
  show(document.getElementById(`${input.id}-echo`), "");
}
