/** Asking who is at the tablet: large keys with the names, then a PIN on large digits. */

import { choose, inDialog, lay } from "./dialog.js";
import { element, key } from "./element.js";
import { word } from "./words.js";

/**
 * @typedef {import("./pin.js").Person} Person
 * @typedef {object} Asked
 * @property {Person[]} people who may be here
 * @property {Person | null} present
 * @property {number} keySize the side of a digit's key in CSS pixels, so that it is 20 mm on this glass
 * @property {(person: Person, pin: string) => Promise<import("./pin.js").Outcome>} signIn
 * @property {(language: string) => Promise<Person>} speak called when whoever is present chooses a language
 */

const LONGEST_PIN = 8;

/**
 * @param {Asked} asked
 * @returns {Promise<Person | null>}
 */
export function whoIsHere(asked) {
  return inDialog((dialog, answer) => {
    dialog.style.setProperty("--key", `${asked.keySize}px`);
    layNames(dialog, asked, answer);
  });
}

/**
 * @param {Person} person
 * @returns {Promise<"yes" | "no" | null>}
 */
export function stillHere({ name }) {
  return choose(word("still", { name }), [
    { text: word("still_yes", { name }), value: "yes", isMain: true },
    { text: word("still_no"), value: "no" },
  ]);
}

/** @typedef {(person: Person) => void} Answer */

/**
 * @param {HTMLDialogElement} dialog
 * @param {Asked} asked
 * @param {Answer} answer
 */
function layNames(dialog, asked, answer) {
  const names = asked.people.map((person) => {
    const made = key(person.name, () => layPin(dialog, person, asked, answer));
    made.setAttribute("aria-current", String(person.id === asked.present?.id));
    return made;
  });
  const list = element("div", { className: "names" }, ...names);
  const nobody = element("p", {}, word("nobody_known"));
  lay(dialog, word("who_is_here"), names.length === 0 ? nobody : list, languageKeys(asked, answer));
}

/**
 * @param {Asked} asked
 * @param {Answer} answer
 */
function languageKeys({ present, speak }, answer) {
  const known = present === null ? [] : Object.entries(word("languages"));
  const keys = known.map(([language, name]) => {
    const made = key(name, async () => answer(await speak(language)), "quiet");
    made.lang = language;
    return made;
  });
  return element("div", { className: "languages" }, ...keys);
}

/**
 * @param {HTMLDialogElement} dialog
 * @param {Person} person
 * @param {Asked} asked
 * @param {Answer} answer
 */
function layPin(dialog, person, asked, answer) {
  const field = element("input", {
    type: "password",
    id: "people-pin",
    inputMode: "numeric",
    autocomplete: "off",
    maxLength: LONGEST_PIN,
  });
  const label = element("label", { htmlFor: field.id }, word("pin"));
  const said = element("p", { className: "said", role: "alert" });
  const other = key(word("other_person"), () => layNames(dialog, asked, answer), "quiet other");
  let isChecking = false;
  const form = element("form", { className: "pin" }, label, field, said, digits(field), other);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (isChecking) {
      return;
    }
    isChecking = true;
    said.textContent = word("checking");
    const pin = field.value;
    field.value = "";
    const outcome = await asked.signIn(person, pin).finally(() => {
      isChecking = false;
    });
    if ("person" in outcome) {
      answer(outcome.person);
    } else {
      said.textContent = outcome.sentence;
    }
  });
  lay(dialog, person.name, form);
  dialog.onkeydown = (event) => typed(event, form, field);
}

/**
 * Digits as on a telephone.
 * @param {HTMLInputElement} field
 */
function digits(field) {
  const digit = (/** @type {string} */ text) => key(text, () => add(field, text));
  const back = key(word("delete_last"), () => removeLast(field), "quiet");
  const enter = element("button", { type: "submit", className: "primary" }, word("pin_enter"));
  return element("div", { className: "digits" }, ...[..."123456789"].map(digit), back, digit("0"), enter);
}

/**
 * @param {HTMLInputElement} field
 * @param {string} digit
 */
function add(field, digit) {
  field.value = (field.value + digit).slice(0, LONGEST_PIN);
}

/** @param {HTMLInputElement} field */
function removeLast(field) {
  field.value = field.value.slice(0, -1);
}

/**
 * A keyboard works wherever the focus is: the field need not be touched, which would open a keyboard on the glass.
 * @param {KeyboardEvent} event
 * @param {HTMLFormElement} form
 * @param {HTMLInputElement} field
 */
function typed(event, form, field) {
  if (event.target === field) {
    return;
  }
  if (/^\d$/.test(event.key)) {
    add(field, event.key);
  } else if (event.key === "Backspace") {
    removeLast(field);
  } else if (event.key === "Enter" && !(event.target instanceof HTMLButtonElement)) {
    form.requestSubmit();
  }
}
