/**
 * Keeps the board up to date: asks for its parts while the page is seen, and replaces those that changed.
 *
 * Nothing is replaced while somebody touches or scrolls the board or has the focus in it; then a key says how
 * much is new. What could not be asked for is said to be old, in words.
 */

/** @typedef {{asOf: string, stale: string, justLost: string, signedOut: string, oneChange: string, changes: string}} Words */

const EVERY = 10_000;
const LONGEST_WAIT = 120_000;
const PATIENCE = 8_000;
/** How long after the last touch or scroll the board stays as it is. */
const SETTLES = 5_000;

const board = /** @type {HTMLElement} */ (document.getElementById("board"));
const asOf = /** @type {HTMLElement} */ (document.getElementById("board-as-of"));
const show = /** @type {HTMLButtonElement} */ (document.getElementById("board-show"));
const counts = /** @type {HTMLElement} */ (document.getElementById("board-counts"));
/** @type {Words} */
const words = JSON.parse(document.getElementById("board-words")?.textContent ?? "{}");

let version = board.dataset.version ?? "";
let time = asOf.dataset.asOf ?? "";
let heardAt = Date.now();
let touchedAt = -SETTLES;
let isTouched = false;
let failures = 0;
let isSignedOut = false;
let timer = 0;
/** @type {HTMLElement | null} What came while nothing could be replaced. */
let waiting = null;

/** @param {string} sentence @param {Record<string, string | number>} facts */
const fill = (sentence, facts) => sentence.replace(/\{(\w+)\}/g, (_whole, name) => String(facts[name] ?? ""));

/** @param {Element} text @param {string} said */
function say(text, said) {
  if (text.textContent !== said) text.textContent = said;
}

/** Whether somebody is at work on the board just now. */
function isInHand() {
  const focused = document.activeElement?.closest(".board-part");
  return isTouched || Boolean(focused) || performance.now() - touchedAt < SETTLES;
}

/** Says how old the board is. */
function tellAge() {
  const minutes = Math.floor((Date.now() - heardAt) / 60_000);
  const isStale = failures > 0 || minutes > 0;
  const sentence = isSignedOut ? words.signedOut : !isStale ? words.asOf : minutes ? words.stale : words.justLost;
  asOf.classList.toggle("stale", isStale || isSignedOut);
  say(asOf, fill(sentence, { time, minutes }));
}

/** @param {HTMLElement} parts @returns {[Element, Element][]} each part shown that differs, and its new form */
function changed(parts) {
  return [...board.querySelectorAll(".board-part")].flatMap((old) => {
    const fresh = parts.querySelector(`#${old.id}`);
    const differs = fresh instanceof HTMLElement && fresh.dataset.version !== /** @type {HTMLElement} */ (old).dataset.version;
    return differs ? [/** @type {[Element, Element]} */ ([old, fresh])] : [];
  });
}

/** The first part that begins within what is seen, or else the one that fills it, and how far down it begins. */
function anchor() {
  const top = board.querySelector(".board-bar")?.getBoundingClientRect().bottom ?? 0;
  const parts = [...board.querySelectorAll(".board-part")].map((one) => ({ id: one.id, box: one.getBoundingClientRect() }));
  const seen = parts.filter(({ box }) => box.bottom > top && box.top < window.innerHeight);
  const part = seen.find(({ box }) => box.top >= top) ?? seen[0];
  return part ? { id: part.id, top: part.box.top } : null;
}

/** Replaces what changed; what is seen stays where it is. */
function replace() {
  if (!waiting) return;
  const kept = window.scrollY > 0 ? anchor() : null;
  for (const [old, fresh] of changed(waiting)) old.replaceWith(document.adoptNode(fresh));
  const moved = kept ? (document.getElementById(kept.id)?.getBoundingClientRect().top ?? kept.top) - kept.top : 0;
  if (moved) window.scrollBy({ top: moved, behavior: "instant" });
  waiting = null;
  show.hidden = true;
}

/** Replaces what changed, or says how much it is while somebody is at work here. */
function settle() {
  if (!waiting) return;
  const pairs = changed(waiting);
  if (pairs.length === 0 || !isInHand()) return replace();
  say(show, pairs.length === 1 ? words.oneChange : fill(words.changes, { count: pairs.length }));
  show.hidden = false;
}

/** @param {string} text the parts as the server sent them @returns {HTMLElement | null} */
function read(text) {
  return new DOMParser().parseFromString(text, "text/html").querySelector(".board-parts");
}

/** @param {Response} answer */
async function take(answer) {
  if (answer.status === 401 || answer.status === 403 || answer.redirected) {
    isSignedOut = true;
    return;
  }
  if (answer.status !== 304) {
    const parts = answer.ok ? read(await answer.text()) : null;
    // A network in between may answer anything with a page of its own.
    if (!parts) throw new Error("no board came");
    version = answer.headers.get("ETag") ?? "";
    waiting = parts;
    say(counts, parts.dataset.counts ?? "");
  }
  time = answer.headers.get("X-As-Of") ?? time;
  heardAt = Date.now();
  failures = 0;
}

/** Asks once, and again after a while: the longer without an answer, the longer. */
async function ask() {
  clearTimeout(timer);
  if (document.hidden || isSignedOut) return;
  try {
    const headers = version ? { "If-None-Match": version } : {};
    const signal = AbortSignal.timeout(PATIENCE);
    await take(await fetch(board.dataset.parts ?? "", { headers, signal, cache: "no-store" }));
  } catch {
    failures += 1;
  }
  settle();
  tellAge();
  const wait = Math.min(EVERY * 2 ** Math.max(failures - 1, 0), LONGEST_WAIT);
  clearTimeout(timer);
  timer = window.setTimeout(ask, wait);
}

function touch() {
  touchedAt = performance.now();
}

function seen() {
  if (!document.hidden) ask();
}

show.addEventListener("click", () => {
  const first = waiting ? changed(waiting)[0]?.[0].id : null;
  replace();
  const title = first ? document.getElementById(first)?.querySelector("h2") : null;
  title?.scrollIntoView({ block: "center", behavior: "instant" });
  title?.focus({ preventScroll: true });
});
board.addEventListener("pointerdown", () => { isTouched = true; touch(); });
for (const name of ["pointerup", "pointercancel"]) {
  window.addEventListener(name, () => { isTouched = false; touch(); });
}
for (const name of ["scroll", "wheel", "keydown"]) window.addEventListener(name, touch, { passive: true });
document.addEventListener("visibilitychange", seen);
window.addEventListener("pageshow", seen);
window.addEventListener("online", seen);
setInterval(() => { settle(); tellAge(); }, 1_000);
document.documentElement.dataset.ready = "";
