// Books in a lot: its mark and the nominal size of its members go into the outbox.

import { parseLength } from "../measure/length.js";
import { Refusal } from "../measure/refusal.js";
import { start as startBar } from "./bar.js";
import { show, twoWays } from "./echo.js";
import { Keypad } from "./keypad.js";
import { writeEntry } from "./outbox.js";
import { author, start as startPeople } from "./people.js";
import { completeUnit, said } from "./step.js";
import { learn, word } from "./words.js";

const words = JSON.parse(document.getElementById("page-words").textContent);
learn(words);
const form = /** @type {HTMLFormElement} */ (document.querySelector("form.entry"));
const pad = /** @type {HTMLElement} */ (form.querySelector(".keypad"));
const units = { system: pad.dataset.mode, denominator: Number(pad.dataset.denominator) };
const keypad = new Keypad(pad, words.keypad);
const inputs = /** @type {HTMLInputElement[]} */ ([...form.querySelectorAll("input[data-keypad]")]);
const error = form.querySelector(".error.whole");
const result = form.querySelector(".result");
let isSaving = false;

/** @param {Event} event */
async function next(event) {
  event.preventDefault();
  for (const input of inputs) completeUnit(input, units.system);
  const empty = inputs.find(({ value }) => !value.trim());
  if (empty && empty !== event.target) return empty.focus();
  if (!isSaving) await save();
}

async function save() {
  isSaving = true;
  try {
    check();
    const person = await author();
    if (person === null) return;
    const { kind, mark, length, width, depth } = Object.fromEntries([...form.querySelectorAll("select, input")].map(({ id, value }) => [id, value]));
    const title = form.dataset.title.replace("{mark}", mark);
    await writeEntry({ form: "lot", content: { kind, mark, length, width, depth }, person: person.id, title, address: location.pathname + location.search });
    Object.assign(result, { hidden: false, textContent: `✓ ${title} · ${word("savedHere")}` });
    for (const input of inputs) clear(input);
    inputs[0].focus();
  } catch (failed) {
    Object.assign(error, { hidden: false, textContent: failed instanceof Refusal ? said(failed) : word("saveFailed", { sentence: failed.message }) });
  } finally {
    isSaving = false;
  }
}

/** Throws a refusal for the first field that cannot be taken. */
function check() {
  error.hidden = true;
  for (const input of inputs) {
    input.focus();
    if (!input.value.trim()) throw new Refusal(word("enterValue"));
    if (input.dataset.keypad === "length") parseLength(input.value);
  }
}

/** @param {HTMLInputElement} input */
function clear(input) {
  input.value = "";
  show(document.getElementById(`${input.id}-echo`), "");
}

form.addEventListener("keypad:next", next);
form.addEventListener("submit", next);
form.addEventListener("input", ({ target }) => {
  if (target.matches("[data-keypad]")) show(document.getElementById(`${target.id}-echo`), twoWays(target.dataset.keypad, target.value, units).join(" = "));
});
startPeople();
startBar();
keypad.serve(inputs[0]);
inputs[0].focus();
document.documentElement.dataset.ready = "";
