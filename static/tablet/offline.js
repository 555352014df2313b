/**
 * Keeps this build's pages on the tablet and takes a new build only when that can do no harm: when everything is
 * sent, no field is half filled in any tab, and nobody is touching the page.
 *
 * The page may hold `<script type="application/json" id="pages-to-keep">` with a list of addresses, an
 * `.update-bar`, a `.kept-pages` and a `[data-install]`; each is used where it is there.
 */

import { look } from "./store.js";
import { language, learn, word } from "./words.js";

const SECOND = 1000;
const MINUTE = 60 * SECOND;

const KEEP_EVERY = 10 * MINUTE;
const UPDATE_EVERY = 60 * MINUTE;
/** How often it is asked whether a waiting build may be taken. */
const ASK_EVERY = 2 * SECOND;
/** Nobody is pulled out of a page that was touched so lately. */
const HANDS_OFF = 5 * SECOND;

/** Held, shared, by every tab with a half-filled field. */
const HALF_FILLED = "qc half filled";
const UNSENT = ["holding", "waiting", "refused"];

const ANSWERS = "input:not([type=hidden], [type=submit], [type=button], [type=file]), textarea";

let lastTouch = -Infinity;
let isTaking = false;
/** @type {(() => void) | null} */
let releaseLock = null;

learnWords();
offerInstalling();
if (isSwitchedOff()) {
  // A worker that leaves must not be called back.
} else if (!window.isSecureContext) {
  say(word("plain_http"));
} else if (!("serviceWorker" in navigator)) {
  say(word("no_worker"));
} else {
  start().catch(() => say(word("no_worker")));
}

/** A page without a manifest is not meant to be kept, nor to be put on the home screen. */
function isSwitchedOff() {
  return document.querySelector("link[rel=manifest]") === null;
}

async function start() {
  watchFields();
  const { serviceWorker } = navigator;
  serviceWorker.addEventListener("message", ({ data }) => data.kind === "kept" && showKept(data));
  watchWorker(serviceWorker);
  const registration = await serviceWorker.register("/sw.js", { updateViaCache: "none" });
  watchForUpdates(registration);
  await keep();
  setInterval(keep, KEEP_EVERY);
}

/**
 * The first worker belongs to the build of this page; one that comes after it, to another.
 * @param {ServiceWorkerContainer} serviceWorker
 */
function watchWorker(serviceWorker) {
  let hasWorker = serviceWorker.controller !== null;
  serviceWorker.addEventListener("controllerchange", () => {
    if (hasWorker) {
      reloadWhenClean();
    }
    hasWorker = true;
  });
}

/** Asks the worker to keep the pages listed, and this one, which it did not see if it is new itself. */
async function keep() {
  const { active } = await navigator.serviceWorker.ready;
  const here = location.href.replace(/#.*/, "");
  active?.postMessage({ kind: "keep", addresses: listedPages(), here, language: language() });
}

/** @returns {string[]} */
function listedPages() {
  return JSON.parse(document.getElementById("pages-to-keep")?.textContent ?? "[]");
}

/** @param {{kept: number, wanted: number}} progress */
function showKept({ kept, wanted }) {
  document.dispatchEvent(new CustomEvent("offline:progress", { detail: { kept, wanted } }));
  const shown = document.querySelector(".kept-pages");
  if (shown !== null && wanted > 0) {
    shown.textContent = word("kept_pages", { kept, wanted });
  }
}

/** @param {ServiceWorkerRegistration} registration */
function watchForUpdates(registration) {
  const look = () => registration.update().catch(() => undefined);
  look();
  setInterval(look, UPDATE_EVERY);
  setInterval(() => registration.waiting && considerTaking(registration.waiting), ASK_EVERY);
}

/** @param {ServiceWorker} waiting */
async function considerTaking(waiting) {
  if (!navigator.serviceWorker.controller) {
    return;
  }
  const isSafe = (await isEverythingSent()) && (await isNothingHalfFilled());
  if (isSafe && performance.now() - lastTouch > HANDS_OFF) {
    take(waiting);
  } else {
    announce(waiting, isSafe);
  }
}

/** @param {ServiceWorker} waiting */
function take(waiting) {
  isTaking = true;
  waiting.postMessage({ kind: "apply" });
}

/** Another tab may have taken the new build while somebody writes here. */
function reloadWhenClean() {
  const turn = async () => {
    if (isHalfFilled() || performance.now() - lastTouch <= (isTaking ? 0 : HANDS_OFF)) {
      return;
    }
    clearInterval(timer);
    location.reload();
  };
  const timer = setInterval(turn, SECOND / 10);
}

/**
 * @param {ServiceWorker} waiting
 * @param {boolean} isSafe
 */
function announce(waiting, isSafe) {
  const key = say(word("new_version"));
  if (key !== null) {
    key.hidden = false;
    key.disabled = !isSafe;
    key.onclick = () => take(waiting);
  }
}

/**
 * Says a sentence in the bar; gives the bar's key.
 * @param {string} sentence
 * @returns {HTMLButtonElement | null}
 */
function say(sentence) {
  const bar = document.querySelector(".update-bar");
  if (!(bar instanceof HTMLElement)) {
    return null;
  }
  const key = bar.querySelector("button") ?? furnish(bar);
  const said = /** @type {HTMLElement} */ (bar.querySelector("p"));
  bar.hidden = false;
  if (said.textContent !== sentence) {
    said.textContent = sentence;
  }
  return key;
}

/** @param {HTMLElement} bar */
function furnish(bar) {
  const said = document.createElement("p");
  said.setAttribute("role", "status");
  const key = Object.assign(document.createElement("button"), { type: "button", hidden: true });
  key.textContent = word("take_now");
  bar.append(said, key);
  return key;
}

async function isEverythingSent() {
  const entries = await look((work) => work.all("entries"));
  return !entries.some((entry) => UNSENT.includes(entry.state));
}

/** Whether no tab holds the lock; it is given back at once. */
function isNothingHalfFilled() {
  return navigator.locks.request(HALF_FILLED, { ifAvailable: true }, (lock) => lock !== null && !isHalfFilled());
}

function watchFields() {
  for (const kind of ["pointerdown", "keydown", "input"]) {
    addEventListener(kind, () => (lastTouch = performance.now()), { capture: true, passive: true });
  }
  addEventListener("input", () => holdLock(isHalfFilled()));
  setInterval(() => holdLock(isHalfFilled()), SECOND);
}

/** @param {boolean} isWanted */
function holdLock(isWanted) {
  if (!isWanted) {
    releaseLock?.();
    releaseLock = null;
  } else if (releaseLock === null) {
    const held = new Promise((resolve) => (releaseLock = () => resolve(undefined)));
    navigator.locks.request(HALF_FILLED, { mode: "shared" }, () => held);
  }
}

/** Whether something was typed or answered that is not saved yet. */
function isHalfFilled() {
  return [...document.querySelectorAll(ANSWERS)].some((field) =>
    field instanceof HTMLInputElement && ["checkbox", "radio"].includes(field.type)
      ? field.checked !== field.defaultChecked
      : field.value !== field.defaultValue,
  );
}

function offerInstalling() {
  const offer = document.querySelector("[data-install]");
  const key = offer?.querySelector("[data-install-key]");
  const byHand = offer?.querySelector("[data-install-by-hand]");
  if (!(offer instanceof HTMLElement) || !(key instanceof HTMLElement) || !(byHand instanceof HTMLElement)) {
    return;
  }
  // Only iPads and iPhones say whether they were started from the home screen; they have no key for it.
  offer.hidden = byHand.hidden = navigator.standalone !== false;
  addEventListener("beforeinstallprompt", (event) => {
    event.preventDefault();
    offer.hidden = key.hidden = false;
    key.onclick = () => event.prompt();
  });
  addEventListener("appinstalled", () => (offer.hidden = true));
}

function learnWords() {
  const block = document.getElementById("offline-words");
  learn(JSON.parse(block?.textContent ?? "{}"));
}
