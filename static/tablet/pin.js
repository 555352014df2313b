/**
 * Whether a PIN is somebody's: the server says so, or, without a network, what the tablet kept of the last time it did.
 *
 * A PIN of a few digits is no lock for what is stored here: it says who entered what. So the tablet keeps only a
 * slow, salted hash of it, for people who signed in here with the network up, and asks for patience after slips.
 *
 * @typedef {{id: number, name: string, language: string | null}} Person
 * @typedef {{person: Person} | {sentence: string, seconds: number}} Outcome
 */

import { greeted, NotNow, tellServer } from "./exchange.js";
import { fact, write } from "./store.js";
import { word } from "./words.js";

/** Of PBKDF2 with HMAC-SHA-256 (OWASP Password Storage Cheat Sheet). */
const ITERATIONS = 600_000;
/** How long the worker waits for the server before the tablet decides, in milliseconds. */
const PATIENCE = 5_000;
const FREE_SLIPS = 2;
const FIRST_WAIT = 5_000;
const LONGEST_WAIT = 900_000;

/**
 * @param {Person} person
 * @param {string} pin
 * @returns {Promise<Outcome>}
 */
export async function check(person, pin) {
  try {
    return await checkThere(person, pin);
  } catch (error) {
    if (!(error instanceof NotNow)) {
      throw error;
    }
    return error.trouble === "sign_in" ? no("not_enrolled") : checkHere(person, pin);
  }
}

/**
 * @param {Person} person
 * @param {string} pin
 * @returns {Promise<Outcome>}
 */
async function checkThere(person, pin) {
  const { status, body } = await greeted(
    ({ csrf }) => tellServer("/tablet/sign-in", csrf, { person: person.id, pin }, PATIENCE),
    PATIENCE,
  );
  if (status !== 200 || body === null) {
    return body === null ? checkHere(person, pin) : { sentence: body.sentence, seconds: body.seconds ?? 0 };
  }
  await remember(body.person, pin);
  return { person: body.person };
}

/**
 * @param {Person} person
 * @param {string} pin
 * @returns {Promise<Outcome>}
 */
async function checkHere(person, pin) {
  const known = (await fact("people"))?.[person.id];
  if (known === undefined) {
    return no("sign_in_once");
  }
  const wait = Math.ceil((known.not_before - Date.now()) / 1000);
  if (wait > 0) {
    return no("pin_wait", wait);
  }
  // Counted before it is known to be wrong: closing the page in between does not save the slip.
  const slips = known.slips + 1;
  const pause = slips > FREE_SLIPS ? Math.min(LONGEST_WAIT, FIRST_WAIT * 2 ** (slips - FREE_SLIPS - 1)) : 0;
  await change(person.id, { slips, not_before: Date.now() + pause });
  if (!same(await derived(pin, known.salt, known.iterations), known.hash)) {
    return pause > 0 ? no("pin_wait", pause / 1000) : no("pin_wrong");
  }
  await change(person.id, { slips: 0, not_before: 0 });
  return { person };
}

/**
 * @param {Person} person
 * @param {string} pin
 */
async function remember(person, pin) {
  if (crypto.subtle === undefined) {
    return;
  }
  const salt = crypto.getRandomValues(new Uint8Array(16));
  const hash = await derived(pin, salt, ITERATIONS);
  await change(person.id, { salt, iterations: ITERATIONS, hash, slips: 0, not_before: 0 });
}

/**
 * @param {number} id
 * @param {Record<string, any>} changes
 */
function change(id, changes) {
  return write(async (stores) => {
    const people = (await stores.get("facts", "people")) ?? {};
    await stores.put("facts", { ...people, [id]: { ...people[id], ...changes } }, "people");
  });
}

/**
 * @param {string} pin
 * @param {Uint8Array<ArrayBuffer>} salt
 * @param {number} iterations
 */
async function derived(pin, salt, iterations) {
  const key = await crypto.subtle.importKey("raw", new TextEncoder().encode(pin), "PBKDF2", false, ["deriveBits"]);
  const how = { name: "PBKDF2", hash: "SHA-256", salt, iterations };
  return new Uint8Array(await crypto.subtle.deriveBits(how, key, 256));
}

/**
 * @param {Uint8Array} one
 * @param {Uint8Array} other
 */
const same = (one, other) => one.every((byte, place) => byte === other[place]);

/**
 * @param {string} key
 * @param {number} [seconds]
 * @returns {Outcome}
 */
const no = (key, seconds = 0) => ({ sentence: word(key, { count: seconds }), seconds });
