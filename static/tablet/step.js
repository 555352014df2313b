// One step of the entry page: its fields, what is typed in them, and what that amounts to while it is typed.

import { EntryRefused } from "../measure/methods.js";
import { Refusal } from "../measure/refusal.js";
import { show, twoWays, verdictText } from "./echo.js";
import { keyOf } from "./entered.js";
import { judged, shapeOf } from "./judge.js";
import { signed } from "./measured_shape.js";
import { word } from "./words.js";

/** @typedef {Record<string, any>} Asked */
/**
 * @typedef {object} Typed what an entry holds that somebody typed or chose
 * @property {{characteristic: string, place: string, entries: Record<string, string>}[]} readings
 * @property {string} note
 * @property {string} reason
 * @property {number[]} [instruments]
 * @property {boolean} isCorrection
 */

/** A field that keeps the step from being saved, and why. */
export class FieldRefused extends Error {
  /** @param {string | null} id of the field; null for the step as a whole @param {string} sentence */
  constructor(id, sentence) {
    super(sentence);
    this.id = id;
  }
}

export class Step {
  /** @type {{sha256: string, blob: Blob}[]} */
  photos = [];
  /** Resolves once every photo taken is among them. */
  photosMade = Promise.resolve();
  /** Whether it corrects what was saved before, which takes a reason. */
  isCorrection = false;
  /** The marks on the drawing, once there was a fault to mark. @type {import("./fault_marks.js").FaultMarks | null} */
  marks = null;

  /**
   * @param {number} number from 1
   * @param {Asked[]} asked
   * @param {Record<string, any>} facts of the page
   * @param {import("../measure/quantity.js").Units} units
   */
  constructor(number, asked, facts, units) {
    Object.assign(this, { number, asked, facts, units });
    this.section = document.getElementById(`step-${number}`);
    this.name = this.section.querySelector("h2").textContent.trim();
    this.section.addEventListener("input", ({ target }) => this.#typed(target));
    this.section.addEventListener("change", ({ target }) => this.#chosen(target));
    this.section.querySelector("[data-note-key]").addEventListener("click", () => this.#openNote());
    this.#chooseLastInstruments();
    this.repeatWords();
  }

  /** Every input for a value, in the order they are typed. @returns {HTMLInputElement[]} */
  get inputs() {
    return this.asked.flatMap((asked) => Object.values(asked.fields).map((id) => document.getElementById(id)));
  }

  /** Those that the keypad serves and that are in sight. */
  get typedInputs() {
    return this.inputs.filter((input) => input.matches("[data-keypad]") && !input.closest("[hidden]"));
  }

  /** What was typed for a check, by key of the field. @param {Asked} asked @returns {Record<string, string>} */
  entriesOf(asked) {
    return Object.fromEntries(Object.entries(asked.fields).map(([key, id]) => [key, valueOf(id)]));
  }

  /** The instruments chosen. */
  get instruments() {
    const ids = [...this.section.querySelectorAll("[data-instrument]")].map(({ value }) => value);
    return this.facts.instruments.filter(({ id }) => ids.includes(String(id)));
  }

  /**
   * What is typed amounts to, check by check.
   * @throws {FieldRefused} naming the first field that cannot be taken
   */
  judgeAll() {
    const readings = this.asked.map((asked) => ({ asked, ...this.#judgeOne(asked) }));
    const missing = [...this.section.querySelectorAll("[data-instrument]")].find(({ value }) => !value);
    if (missing) throw new FieldRefused(missing.id, word("chooseInstrument"));
    return readings;
  }

  /** @param {Asked} asked */
  #judgeOne(asked) {
    const entries = this.entriesOf(asked);
    try {
      return { entries, ...judged(asked, entries, this.facts, this.instruments) };
    } catch (refused) {
      if (refused instanceof EntryRefused) throw new FieldRefused(asked.fields[refused.field], said(refused));
      if (refused instanceof Refusal) throw new FieldRefused(null, said(refused));
      throw refused;
    }
  }

  /** The measured shape, where the step has six readings that make one. */
  shape(entriesOf = (/** @type {Asked} */ asked) => this.entriesOf(asked)) {
    return shapeOf(this.asked, entriesOf, this.facts, this.instruments, this.units.system);
  }

  // While it is typed

  /** @param {EventTarget | null} target */
  #typed(target) {
    const asked = this.asked.find(({ fields }) => Object.values(fields).some((id) => id === target.id || id === target.name));
    if (!asked) return;
    this.refuse(null);
    this.#showFaults(asked);
    this.echo(asked);
  }

  /** @param {EventTarget | null} target */
  #chosen(target) {
    if (target.matches("[data-instrument]")) {
      localStorage.setItem(`instrument ${target.dataset.instrument}`, target.value);
      chooseEverywhere(target);
      for (const asked of this.asked) this.echo(asked);
    } else if (target.matches("[data-photo]")) {
      this.photosMade = Promise.all([this.photosMade, this.#addPhoto(target)]);
    }
  }

  /** @param {Asked} asked */
  echo(asked) {
    const ids = Object.values(asked.fields).filter((id) => document.getElementById(`${id}-echo`));
    for (const id of ids) show(echoOf(id), twoWays(kindOf(id), valueOf(id), this.units).join(" = "));
    const last = ids.filter(isNeeded).at(-1);
    const verdict = last && this.#verdict(asked);
    if (verdict) this.#showVerdict(asked, last, verdict);
    this.#showFit();
  }

  /** Beside what was typed; where several are typed together there is room for one way of writing it. */
  #showVerdict(asked, id, { text, state }) {
    const ways = asked.method === "tape" ? twoWays(kindOf(id), valueOf(id), this.units) : [];
    const written = this.asked.length === 1 ? ways.join(" = ") : (ways.at(-1) ?? "");
    show(echoOf(id), [text, written].filter(Boolean).join(" · "), state);
  }

  /** @param {Asked} asked @returns {{text: string, state: string} | null} */
  #verdict(asked) {
    try {
      const judgement = judged(asked, this.entriesOf(asked), this.facts, this.instruments);
      return { text: verdictText(asked, judgement, this.units, this.asked.length > 1), state: judgement.verdict };
    } catch (refused) {
      if (refused instanceof Refusal) return null;
      throw refused;
    }
  }

  #showFit() {
    const output = this.section.querySelector(".fit");
    const shape = output && this.shape();
    if (!output) return;
    if (!shape) show(output, "");
    else if (shape.isConsistent) show(output, `✓ ${word("fits")}`, "within");
    else show(output, `✕ ${word("misfits", { by: signed(shape.misclosure, this.units) })}`, "outside");
  }

  /** “No” asks how many, and where: on the drawing, which comes once it takes a tap. @param {Asked} asked */
  async #showFaults(asked) {
    const row = this.section.querySelector("[data-places]");
    if (!asked.fields.passed || !row) return;
    const isFaulty = () => valueOf(asked.fields.passed) === "no";
    this.section.querySelector("[data-faults]").hidden = !isFaulty();
    if (isFaulty()) await this.#drawMarks(row, asked);
    row.hidden = !isFaulty();
  }

  /** @param {HTMLElement} row @param {Asked} asked */
  async #drawMarks(row, asked) {
    const { FaultMarks } = await import("./fault_marks.js");
    this.marks ??= new FaultMarks(row);
    this.marks.draw();
    const count = document.getElementById(asked.fields.faults);
    if (this.marks.places.length > Number(count.value || 0)) count.value = String(this.marks.places.length);
  }

  // Notes and photos

  #openNote() {
    const note = this.section.querySelector("[data-note]");
    this.#showNote(Boolean(note.closest("[hidden]")));
    note.focus();
  }

  /** @param {boolean} isShown */
  #showNote(isShown) {
    this.section.querySelector("[data-note]").closest(".row").hidden = !isShown;
    this.section.querySelector("[data-note-key]").setAttribute("aria-expanded", String(isShown));
  }

  /** @param {HTMLInputElement} input */
  async #addPhoto(input) {
    const [file] = input.files;
    input.value = "";
    if (!file) return;
    try {
      const { reduced } = await import("./photo.js");
      this.photos.push(await reduced(file));
      this.#showPhotos();
    } catch {
      this.refuse(new FieldRefused(null, word("photoFailed")));
    }
  }

  #showPhotos() {
    const list = this.section.querySelector(".photos");
    for (const image of list.querySelectorAll("img")) URL.revokeObjectURL(image.src);
    list.replaceChildren(...this.photos.map((photo, n) => this.#thumbnail(photo, n)));
  }

  /** @param {{blob: Blob}} photo @param {number} n */
  #thumbnail({ blob }, n) {
    const item = document.createElement("li");
    const image = Object.assign(new Image(), { src: URL.createObjectURL(blob), alt: word("photo", { n: n + 1 }) });
    const remove = Object.assign(document.createElement("button"), { type: "button", className: "quiet", textContent: word("photoRemove") });
    remove.addEventListener("click", () => {
      this.photos.splice(n, 1);
      this.#showPhotos();
    });
    item.append(image, remove);
    return item;
  }

  #chooseLastInstruments() {
    for (const select of this.section.querySelectorAll("[data-instrument]")) {
      const known = [...select.options].map(({ value }) => value).filter(Boolean);
      const last = localStorage.getItem(`instrument ${select.dataset.instrument}`);
      if (known.includes(last)) select.value = last;
      else if (known.length === 1) [select.value] = known;
    }
  }

  /** What is set rather than measured, such as the blower, is as it was last time until it is changed. */
  repeatWords() {
    for (const input of this.section.querySelectorAll("[data-repeat]")) {
      const isUntouched = input.value === "" || input.value === input.defaultValue;
      input.defaultValue = localStorage.getItem(`last ${input.dataset.repeat}`) ?? "";
      if (isUntouched) input.value = input.defaultValue;
    }
  }

  /** Keeps for next time what is set rather than measured. */
  rememberWords() {
    for (const { value, dataset } of this.section.querySelectorAll("[data-repeat]")) localStorage.setItem(`last ${dataset.repeat}`, value);
  }

  // Errors, filling in, emptying

  /** Shows why the step is not saved, at its field; null takes it away. @param {FieldRefused | null} refused */
  refuse(refused) {
    for (const error of this.section.querySelectorAll(".error")) Object.assign(error, { hidden: true, textContent: "" });
    for (const wrong of this.section.querySelectorAll(".wrong")) wrong.classList.remove("wrong");
    for (const input of this.section.querySelectorAll("[aria-invalid]")) input.removeAttribute("aria-invalid");
    if (refused === null) return;
    const field = refused.id === null ? null : document.getElementById(refused.id);
    const whole = this.section.querySelector(".error.whole");
    const error = document.getElementById(`${refused.id}-error`) ?? whole;
    Object.assign(error, { hidden: false, textContent: refused.message });
    field?.closest(".row")?.classList.add("wrong");
    field?.setAttribute("aria-invalid", "true");
    focusOn(field);
  }

  /** Fills in what was typed before; never what was not. @param {Record<string, string>} values by id of the field */
  fill(values) {
    for (const [id, value] of Object.entries(values)) setValue(id, value);
    for (const asked of this.asked) {
      this.#showFaults(asked);
      this.echo(asked);
    }
  }

  /** What is typed and not saved, as an entry would hold it; null while nothing is. @returns {Typed | null} */
  get typed() {
    const readings = this.asked.map(({ characteristic, place, fields }) => ({ characteristic, place, entries: typedIn(fields) }));
    const { note, reason, isCorrection } = this;
    const isAny = note || reason || readings.some(({ entries }) => Object.keys(entries).length);
    return isAny ? { readings, note, reason, isCorrection } : null;
  }

  /** Puts what was typed before back to where it was typed. @param {Typed} typed @param {{sha256: string, blob: Blob}[]} [photos] */
  putBack({ readings, note, reason, instruments = [], isCorrection }, photos = []) {
    for (const reading of readings) {
      const fields = this.asked.find((asked) => keyOf(asked) === keyOf(reading))?.fields ?? {};
      const known = Object.entries(reading.entries).filter(([key]) => key in fields);
      this.fill(Object.fromEntries(known.map(([key, text]) => [fields[key], text])));
    }
    for (const select of this.section.querySelectorAll("[data-instrument]")) {
      select.value = instruments.find((id) => select.querySelector(`[value="${id}"]`)) ?? select.value;
    }
    this.section.querySelector("[data-note]").value = note;
    this.#showNote(note !== "");
    this.correct(isCorrection);
    this.section.querySelector("[data-reason]").value = reason;
    this.photos = photos;
    this.#showPhotos();
  }

  get note() {
    return this.section.querySelector("[data-note]").value.trim();
  }

  get reason() {
    return this.section.querySelector("[data-reason]").value.trim();
  }

  /** Asks for the reason of a correction, or no longer. */
  correct(isCorrection = true) {
    this.isCorrection = isCorrection;
    this.section.querySelector("[data-reason-row]").hidden = !isCorrection;
  }

  empty() {
    this.photos = [];
    this.#showPhotos();
    this.correct(false);
    for (const input of this.section.querySelectorAll("[data-note], [data-reason]")) input.value = "";
    this.#showNote(false);
    this.fill(Object.fromEntries(this.asked.flatMap(({ fields }) => Object.values(fields).map((id) => [id, ""]))));
    this.repeatWords();
    this.refuse(null);
  }
}

/** Chosen once, an instrument serves every step of the page that waits for one of its kind. @param {HTMLSelectElement} chosen */
function chooseEverywhere({ dataset: { instrument }, value }) {
  for (const select of document.querySelectorAll(`[data-instrument="${instrument}"]`)) select.value ||= value;
}

/** A refusal in the language of the page. @param {Refusal} refusal */
export function said({ sentence, facts }) {
  const sentences = word("sentences");
  // What was measured is named in words; all other facts are numbers, or what somebody typed.
  const named = { ...facts, name: sentences[facts.name] ?? facts.name };
  return (sentences[sentence] ?? sentence).replace(/\{(\w+)\}/g, (place, name) => String(named[name] ?? place));
}

/** @param {string} id */
const echoOf = (id) => document.getElementById(`${id}-echo`);

/** @param {string} id */
const kindOf = (id) => document.getElementById(id).dataset.keypad ?? "";

/** Whether the field must be filled in. @param {string} id */
const isNeeded = (id) => document.getElementById(id).dataset.optional === undefined;

/** A bare number in a metric shop is millimetres, and says so. @param {HTMLInputElement} input @param {string} system */
export function completeUnit(input, system) {
  if (system === "metric" && input.dataset.keypad === "length" && /^\s*[\d.,]+\s*$/.test(input.value)) {
    input.value = `${input.value.trim()} mm`;
    input.dispatchEvent(new Event("input", { bubbles: true }));
  }
}

/** @param {string} id of an input, or of the group of two answers */
function valueOf(id) {
  const field = document.getElementById(id);
  if (!field.matches("fieldset")) return field.value;
  return field.querySelector(":checked")?.value ?? "";
}

/** What is typed, by key of the field; not what stands there by itself. @param {Record<string, string>} fields */
function typedIn(fields) {
  const typed = Object.entries(fields).map(([key, id]) => [key, valueOf(id), document.getElementById(id).defaultValue]);
  return Object.fromEntries(typed.filter(([, text, own]) => text && text !== own));
}

/** @param {string} id @param {string} value */
function setValue(id, value) {
  const field = document.getElementById(id);
  if (!field.matches("fieldset")) field.value = value;
  else for (const radio of field.querySelectorAll("input")) radio.checked = radio.value === value;
}

/** @param {HTMLElement | null} field */
function focusOn(field) {
  (field?.matches("fieldset") ? field.querySelector("input") : field)?.focus();
}
