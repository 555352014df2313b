/**
 * Who is at the tablet, and changing that in two taps and a PIN.
 *
 * Every entry carries the person who made it. In a browser where somebody signed in by password it is that person,
 * and nothing is asked. On an enrolled tablet it is whoever gave a PIN last; after a while without a touch the tablet
 * asks whether that person is still there. Nothing here ever touches what is typed into the page.
 *
 * @typedef {import("./pin.js").Person} Person
 */

import { element } from "./element.js";
import { greet, greeted, NotNow, tellServer } from "./exchange.js";
import { fact, write } from "./store.js";
import { language, word } from "./words.js";

/** Without a touch for so long, somebody else may stand here, in milliseconds. */
export const IDLE = 900_000;
const TOUCH_NOTED_EVERY = 30_000;
const USUAL_KEY = 104;
/** How long somebody who chose a language waits for the server, in milliseconds. */
const PATIENCE = 3_000;

/** Fetched when somebody is asked, which is seldom. */
const questions = () => import("./who_dialog.js");
const pins = () => import("./pin.js");

const others = "BroadcastChannel" in globalThis ? new BroadcastChannel("qc people") : null;

let touched = 0;
let noted = 0;

/**
 * Who is there.
 * @returns {Promise<Person | null>}
 */
export async function who() {
  const hello = await fact("hello");
  return isByPassword(hello) ? hello.person : ((await fact("who")) ?? null);
}

/**
 * Who makes the entry that is about to be written: asks whoever stands there if the tablet cannot know.
 * @returns {Promise<Person | null>} null if nobody said so; then nothing may be written
 */
export async function author() {
  const person = await who();
  if (person === null) {
    return ask();
  }
  const isSure = isByPassword(await fact("hello")) || !(await isIdle());
  return isSure ? person : confirmed(person);
}

/**
 * Signs somebody in, with the network or without.
 * @param {Person} person
 * @param {string} pin
 * @returns {Promise<import("./pin.js").Outcome>}
 */
export async function signIn(person, pin) {
  const { check } = await pins();
  const outcome = await check(person, pin);
  if ("person" in outcome) {
    await settle(outcome.person);
  }
  return outcome;
}

/**
 * Lets somebody else take over the tablet, and goes on in their language.
 * @returns {Promise<Person | null>} null if it stays as it was
 */
export const change = onceAtATime(async () => {
  const person = await ask();
  if (person !== null) {
    await speak(person);
  }
  return person;
});

/** Shows who is there on the page's key for that, and notices touches. */
export function start() {
  for (const key of keys()) {
    key.addEventListener("click", change);
  }
  for (const event of ["people:change", "outbox:change"]) {
    document.addEventListener(event, show);
  }
  others?.addEventListener("message", show);
  fact("touched").then((/** @type {number | undefined} */ at) => (touched = Math.max(touched, at ?? 0)));
  for (const event of ["pointerdown", "keydown"]) {
    addEventListener(event, noteTouch, { capture: true, passive: true });
  }
  show();
  fetchQuestions();
}

/** Without a worker that keeps them, the network may be gone by the time somebody is asked. */
function fetchQuestions() {
  if (!navigator.serviceWorker?.controller) {
    Promise.all([questions(), pins()]).catch(() => undefined);
  }
}

/** @param {any} hello */
function isByPassword(hello) {
  return hello !== undefined && hello.tablet === null && hello.person !== null;
}

function keys() {
  return /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll("[data-who]"));
}

async function show() {
  const person = await who();
  const isFixed = isByPassword(await fact("hello"));
  for (const key of keys()) {
    key.textContent = person?.name ?? word("sign_in");
    key.setAttribute("aria-label", person === null || isFixed ? key.textContent : word("change", { name: person.name }));
    key.toggleAttribute("disabled", isFixed);
  }
}

/** @param {Person} person */
async function settle(person) {
  await write((stores) => stores.put("facts", person, "who"));
  await touch(Date.now());
  others?.postMessage("change");
  const detail = { person, language: person.language, isDifferent: isForeign(person) };
  document.dispatchEvent(new CustomEvent("people:change", { detail }));
}

/** A touch after a long while does not count: it may be somebody else's. */
function noteTouch() {
  const now = Date.now();
  if (touched > 0 && now - touched < IDLE) {
    touched = now;
    if (now - noted > TOUCH_NOTED_EVERY) {
      touch(now);
    }
  }
}

/** @param {number} now */
function touch(now) {
  touched = now;
  noted = now;
  return write((stores) => stores.put("facts", now, "touched"));
}

async function isIdle() {
  touched = Math.max(touched, (await fact("touched")) ?? 0);
  return Date.now() - touched >= IDLE;
}

const ask = onceAtATime(async () => {
  const hello = await helloWithNames();
  const present = await who();
  const { whoIsHere } = await questions();
  return whoIsHere({
    people: hello?.people ?? [],
    present,
    keySize: hello?.tablet?.key_size ?? USUAL_KEY,
    signIn,
    speak: (language) => chooseLanguage(/** @type {Person} */ (present), language),
  });
});

/**
 * Asks whoever taps again, before the question is there, no second time: both get the one answer.
 * @param {() => Promise<Person | null>} act
 * @returns {() => Promise<Person | null>}
 */
function onceAtATime(act) {
  /** @type {Promise<Person | null> | null} */
  let going = null;
  return () => (going ??= act().finally(() => (going = null)));
}

/** What the server said last; it is asked again where it has named nobody, as on a tablet enrolled just now. */
async function helloWithNames() {
  const known = await fact("hello");
  if (known?.people?.length > 0) {
    return known;
  }
  return greet(PATIENCE).catch((error) => (error instanceof NotNow ? known : Promise.reject(error)));
}

/**
 * @param {Person} person
 * @returns {Promise<Person | null>}
 */
async function confirmed(person) {
  const { stillHere } = await questions();
  const said = await stillHere(person);
  if (said === "yes") {
    await touch(Date.now());
    return person;
  }
  return said === "no" ? ask() : null;
}

/**
 * Without the network the choice holds on this tablet only.
 * @param {Person} present
 * @param {string} chosen
 */
async function chooseLanguage(present, chosen) {
  const person = { ...present, language: chosen };
  try {
    const said = { person: person.id, language: chosen };
    await greeted(({ csrf }) => tellServer("/tablet/language", csrf, said, PATIENCE), PATIENCE);
  } catch (error) {
    if (!(error instanceof NotNow)) {
      throw error;
    }
  }
  await settle(person);
  return person;
}

/** @param {Person} person */
function isForeign(person) {
  return Boolean(person.language) && person.language !== language();
}

/**
 * Opens the page in the language of whoever is there; asks first where that could cost something typed.
 * @param {Person} person
 */
async function speak(person) {
  if (!isForeign(person)) {
    return;
  }
  const address = new URL(location.href);
  address.searchParams.set("language", /** @type {string} */ (person.language));
  if (!isHalfFilled() || (await mayReload(person))) {
    location.assign(address);
  }
}

/** Whether something was typed or chosen on the page that is not written yet. */
function isHalfFilled() {
  const inputs = "main input:not([type=hidden]), main textarea";
  const fields = /** @type {NodeListOf<HTMLInputElement>} */ (document.querySelectorAll(inputs));
  return [...fields].some((field) => field.value !== field.defaultValue || field.checked !== field.defaultChecked);
}

/** @param {Person} person */
async function mayReload(person) {
  const { choose } = await import("./dialog.js");
  const name = word("languages")[/** @type {string} */ (person.language)];
  const stay = { text: word("language_stay"), value: false, isMain: true };
  const go = { text: word("language_go", { language: name }), value: true };
  return choose(word("language_ask", { language: name }), [stay, go], element("p", {}, word("language_cost")));
}
