// What is typed into the fields of a method, and how a refused entry names its field.

import { stripped } from "../entry.js";
import { Refusal, shortened } from "../refusal.js";

/** @typedef {Record<string, string>} Entries what was typed, by the key of its field */

const LONGEST_TEXT = 40;
const UNPRINTABLE = /(?! )[\p{C}\p{Z}]/gu;

/** An entry that cannot be read; `field` is the key of the field it was typed into. */
export class EntryRefused extends Refusal {
  /** @param {string} field @param {Refusal} refusal */
  constructor(field, { sentence, facts }) {
    super(sentence, facts);
    this.field = field;
  }
}

/** @param {string} field @param {string} sentence @param {Record<string, unknown>} [facts] */
export const refused = (field, sentence, facts = {}) => new EntryRefused(field, { sentence, facts });

/** Whether anything was entered there. @param {Entries} entries @param {string} key */
export const has = (entries, key) => stripped(entries[key] ?? "") !== "";

/**
 * What an entry says.
 * @template T
 * @param {Entries} entries
 * @param {string} key
 * @param {(text: string) => T} parse
 * @returns {T}
 * @throws {EntryRefused} for one that is empty or cannot be parsed
 */
export function read(entries, key, parse) {
  if (!has(entries, key)) throw refused(key, "Enter a value; nothing was entered.");
  return about(() => key, () => parse(entries[key]));
}

/**
 * What `act` returns; a refusal of it is about the field that `field` tells.
 * @template T
 * @param {(refusal: Refusal) => string} field
 * @param {() => T} act
 * @returns {T}
 */
export function about(field, act) {
  try {
    return act();
  } catch (refusal) {
    throw refusal instanceof Refusal ? new EntryRefused(field(refusal), refusal) : refusal;
  }
}

/** Whether a refusal names this quantity. @param {Refusal} refusal @param {string} name */
export const isAbout = ({ facts }, name) => String(facts.name ?? "").includes(name);

/** A few words on one line. @param {string} text @throws {Refusal} for more, and for what cannot be printed */
export function parseText(text) {
  const cleaned = stripped(text);
  const printable = cleaned.replace(UNPRINTABLE, "□");
  if (printable === cleaned && [...cleaned].length <= LONGEST_TEXT) return cleaned;
  throw new Refusal("This takes at most {most} characters on one line. Given: “{given}”.", {
    most: LONGEST_TEXT, given: shortened(printable),
  });
}
