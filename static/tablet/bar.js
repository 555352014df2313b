/** The line on station pages that says how the outbox stands, and offers to undo the last entry for ten seconds. */

import { element, mark } from "./element.js";
import { HOLD, start as startOutbox, status, undo } from "./outbox.js";
import { askToPersist } from "./store.js";
import { age, timeOfDay, word } from "./words.js";

const AMBER_AFTER = 15 * 60_000;
const RED_AFTER = 4 * 3_600_000;
const RED_ABOVE = 200;
const LOOK_EVERY = 30_000;
const SECOND = 1_000;

/** @typedef {Awaited<ReturnType<typeof status>>} Status */

const sign = element("span", { className: "sign-of-outbox" });
const headline = element("strong", { role: "status" });
const dot = element("span", { className: "visually-hidden" });
const rest = element("span", { className: "rest" });
const link = element("a", { className: "outbox-state" }, sign, element("span", {}, headline, dot, rest));
const saved = element("span", { role: "status" });
const left = element("span", { className: "left", "aria-hidden": "true" });
const undoKey = element("button", { type: "button", className: "undo" });
const held = element("div", { className: "held", hidden: true }, saved, undoKey);
const alarm = element("p", { className: "alarm", role: "alert", hidden: true });

/** The entry that can be undone now. @type {import("./entry.js").Entry | null} */
let undoable = null;
/** @type {ReturnType<typeof setTimeout> | undefined} */
let tick;

/** Starts the outbox, and shows how it stands where the page has a place for that. */
export function start() {
  const place = /** @type {HTMLElement | null} */ (document.querySelector(".outbox-bar"));
  if (place !== null) {
    fill(place);
  }
  askToPersist();
  startOutbox({ words: place?.dataset.words === undefined ? undefined : JSON.parse(place.dataset.words) });
}

/** @param {HTMLElement} place */
function fill(place) {
  link.href = word("outbox_address");
  undoKey.append(word("undo"), " ", left);
  undoKey.addEventListener("click", takeBack);
  place.replaceChildren(link, held, alarm);
  document.addEventListener("outbox:change", show);
  document.addEventListener("outbox:failed", ({ detail }) => raise(detail.sentence));
  setInterval(show, LOOK_EVERY);
  show();
}

let looks = 0;

/** An older look that takes longer never covers a newer one. */
async function show() {
  const look = ++looks;
  try {
    const now = await status();
    if (look !== looks) return;
    alarm.hidden = true;
    const { state, words } = inWords(now);
    sign.replaceChildren(mark(state));
    put(headline, words[0]);
    put(dot, words.length > 1 ? " · " : "");
    put(rest, words.slice(1).join(" · "));
    undoable = now.held;
    count();
  } catch (error) {
    raise(/** @type {Error} */ (error).message);
  }
}

/**
 * A region that speaks must not say the same again.
 * @param {HTMLElement} place
 * @param {string} text
 */
function put(place, text) {
  if (place.textContent !== text) {
    place.textContent = text;
  }
}

/** @param {string} sentence */
function raise(sentence) {
  put(alarm, sentence);
  alarm.hidden = false;
}

/**
 * How the outbox stands, the most urgent first.
 * @param {Status} now
 * @returns {{state: "within" | "none" | "unclear" | "outside", words: string[]}}
 */
export function inWords(now) {
  const since = now.oldest === null ? 0 : Date.now() - now.oldest.getTime();
  const words = [
    now.isLow && word("little_room"),
    now.attention > 0 && word("need_attention", { count: now.attention }),
    now.waiting > 0 && word(now.trouble === "sign_in" ? "sign_in_to_send" : "waiting", { count: now.waiting }),
    now.waiting > 0 && now.trouble === "enrol" && word("not_enrolled"),
    now.waiting > 0 && word("oldest", { age: age(since) }),
    now.waiting > 0 && now.lastSent !== null && word("last_sent", { time: timeOfDay(now.lastSent) }),
    now.waiting === 0 && (now.lastSent === null ? word("nothing_yet") : word("all_sent")),
    now.waiting === 0 && now.lastSent !== null && timeOfDay(now.lastSent),
  ];
  return { state: stateOf(now, since), words: words.filter((each) => typeof each === "string") };
}

/**
 * @param {Status} now
 * @param {number} since the oldest was entered, in milliseconds
 */
function stateOf(now, since) {
  if (now.attention > 0 || since > RED_AFTER || now.waiting > RED_ABOVE) {
    return "outside";
  }
  if (now.isLow || since > AMBER_AFTER || (now.waiting > 0 && ["sign_in", "enrol"].includes(now.trouble ?? ""))) {
    return "unclear";
  }
  return now.waiting > 0 ? "none" : "within";
}

/** Shows the seconds left to undo; a number that changes, nothing that moves. */
function count() {
  clearTimeout(tick);
  const until = undoable === null ? 0 : Date.parse(undoable.entered_at) + HOLD;
  const seconds = Math.ceil((until - Date.now()) / SECOND);
  held.hidden = seconds <= 0;
  link.hidden = !held.hidden;
  if (undoable !== null && seconds > 0) {
    put(saved, word("saved", { time: timeOfDay(new Date(undoable.entered_at)) }));
    put(left, String(seconds));
    tick = setTimeout(count, SECOND);
  }
}

/** A second tap finds nothing more to take back. */
async function takeBack() {
  const taken = undoable;
  undoable = null;
  if (taken !== null && !(await undo(taken.uuid))) {
    raise(word("undo_too_late"));
  }
}
