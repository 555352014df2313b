/**
 * The way of every entry from a page to the server.
 *
 * An entry is first written into the tablet's memory together with its number. It is held for ten seconds, in which
 * it can be undone, then waits, is sent, and is kept or refused by the server. What the server has not answered for
 * is sent again, under the same uuid.
 *
 * @typedef {import("./entry.js").Entry} Entry
 * @typedef {import("./store.js").Stores} Stores
 */

import { asSent, iso, needsAttention, newUuid, photosOf, SCHEMA, UNSENT } from "./entry.js";
import { exchange } from "./exchange.js";
import { look, NoRoom, storage, StoreFailed, write } from "./store.js";
import { learn } from "./words.js";

export { needsAttention, NoRoom, StoreFailed };

/** How long an entry can be undone, in milliseconds. */
export const HOLD = 10_000;
/** How long the tablet shows what was kept, in milliseconds. */
const KEPT_FOR = 14 * 24 * 3_600_000;

const EVERY = 30_000;
const FIRST_PAUSE = 5_000;
const LONGEST_PAUSE = 300_000;

const others = "BroadcastChannel" in globalThis ? new BroadcastChannel("qc outbox") : null;

/** @typedef {{sha256: string, blob: Blob}} Photo */

/**
 * Writes an entry into the tablet's memory. Once it resolves, the entry is safe on this tablet, and a refused one
 * that it replaces needs no more attention.
 * @param {Pick<Entry, "form" | "content" | "title" | "address" | "person" | "replaces"> & {photos?: Photo[]}} entry
 * @returns {Promise<{uuid: string, sequence: number}>}
 * @throws {NoRoom} when the tablet is full
 * @throws {StoreFailed} when its memory cannot be reached
 */
export async function writeEntry(entry) {
  const uuid = newUuid();
  const sequence = await write((stores) => put(stores, uuid, entry));
  changed();
  schedule(HOLD);
  return { uuid, sequence };
}

/**
 * Takes an entry back while it is held. Its number stays taken, so that no number is missing; a refused one that it
 * was to replace needs attention again.
 * @param {string} uuid
 * @returns {Promise<boolean>} false when it is too late
 */
export async function undo(uuid) {
  const undone = await write(async (stores) => {
    const entry = await stores.get("entries", uuid);
    if (entry?.state !== "holding") {
      return null;
    }
    const { form, content, replaces } = entry;
    await setReplacement(stores, replaces, undefined);
    await stores.put("entries", { ...entry, form: "undone", content: { form, content }, state: "undone-waiting" });
    return entry;
  });
  if (undone !== null) {
    tell("outbox:undone", undone);
    changed();
  }
  return undone !== null;
}

/**
 * Puts a refused entry aside: it stays listed, with the reason, but asks for nothing more.
 * @param {string} uuid
 * @param {string} reason
 */
export async function setAside(uuid, reason) {
  await write(async (stores) => {
    const entry = await stores.get("entries", uuid);
    await stores.put("entries", { ...entry, set_aside: { reason, at: iso(new Date()) } });
  });
  changed();
}

/**
 * What was entered on this tablet, in the order it was entered.
 * @param {{state?: string | string[], item?: {item: string, id: number}, withUndone?: boolean}} [wanted]
 * @returns {Promise<Entry[]>}
 */
export async function entries({ state, item, withUndone = false } = {}) {
  const states = state === undefined ? null : [state].flat();
  const all = await look((stores) => stores.ordered("entries", "sequence"));
  return all.filter(
    (entry) =>
      (withUndone || entry.form !== "undone") &&
      (states === null || states.includes(entry.state)) &&
      (item === undefined || (entry.content.item === item.item && entry.content.id === item.id)),
  );
}

/**
 * One entry, such as a refused one to be corrected.
 * @param {string} uuid
 * @returns {Promise<Entry | undefined>}
 */
export const entry = (uuid) => look((stores) => stores.get("entries", uuid));

/**
 * The photos of an entry that this tablet still has.
 * @param {Entry} entry
 * @returns {Promise<Photo[]>}
 */
export async function photosIn(entry) {
  const photos = await look((stores) => Promise.all(photosOf(entry).map((sha256) => stores.get("photos", sha256))));
  return photos.filter((photo) => photo !== undefined);
}

/**
 * How the outbox stands.
 * @returns {Promise<{waiting: number, oldest: Date | null, attention: number, lastSent: Date | null,
 *   trouble: import("./exchange.js").Trouble | null, held: Entry | null, isLow: boolean}>}
 */
export async function status() {
  const [all, lastSent, trouble] = await look((stores) =>
    Promise.all([
      stores.ordered("entries", "sequence"),
      stores.get("facts", "last sent"),
      stores.get("facts", "trouble"),
    ]),
  );
  const unsent = all.filter((each) => ["holding", "waiting"].includes(each.state));
  return {
    waiting: unsent.length,
    oldest: unsent.length === 0 ? null : new Date(unsent[0].entered_at),
    attention: all.filter(needsAttention).length,
    lastSent: lastSent === undefined ? null : new Date(lastSent),
    trouble: trouble ?? null,
    held: unsent.findLast((each) => each.state === "holding") ?? null,
    isLow: (await storage()).isLow,
  };
}

/**
 * Everything the server has not kept, as a file for somebody to carry to it.
 * @returns {Promise<{count: number, file: Blob}>} with how many entries it holds
 */
export async function exportFile() {
  const { unsent, photos, facts } = await look(async (stores) => ({
    unsent: (await stores.ordered("entries", "sequence")).filter(({ state }) => UNSENT.includes(state)),
    photos: await stores.all("photos"),
    facts: {
      outbox: await stores.get("facts", "outbox"),
      next: await stores.get("facts", "next sequence"),
      tablet: await stores.get("facts", "tablet"),
    },
  }));
  const named = new Set(unsent.flatMap(photosOf));
  const pictures = photos.filter((photo) => named.has(photo.sha256));
  const file = {
    log: "qc",
    outbox: facts.outbox ?? null,
    tablet: facts.tablet?.id ?? null,
    written: (facts.next ?? 1) - 1,
    exported_at: iso(new Date()),
    entries: unsent.map(asSent),
    photos: Object.fromEntries(await Promise.all(pictures.map(async (p) => [p.sha256, await base64(p.blob)]))),
  };
  return { count: unsent.length, file: new Blob([JSON.stringify(file, null, 1)], { type: "application/json" }) };
}

/** @type {Promise<void> | null} */
let sending = null;
let failures = 0;
/** @type {ReturnType<typeof setTimeout> | undefined} */
let timer;
let dueAt = Infinity;

/**
 * Sends what waits. While one page of this tablet sends, the others stand in line and then find nothing left.
 * @returns {Promise<void>} resolved when this round is over, however it went: `status` tells
 */
export function send() {
  sending ??= alone(round).finally(() => (sending = null));
  return sending;
}

/** Sends at once, also what could still be undone. */
export async function sendNow() {
  await sending;
  await write((stores) => release(stores, -Infinity));
  await send();
}

/**
 * Begins to send whenever there is something to send and a chance to.
 * @param {{words?: Record<string, import("./words.js").Phrase>}} [options]
 */
export function start({ words } = {}) {
  if (words !== undefined) {
    learn(words);
  }
  addEventListener("online", send);
  addEventListener("pageshow", send);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && send());
  document.addEventListener("people:change", send);
  others?.addEventListener("message", () => {
    tell("outbox:change");
    scheduleNext();
  });
  send();
}

async function round() {
  dueAt = Infinity;
  try {
    await write(async (stores) => {
      await release(stores);
      await prune(stores);
    });
    const trouble = await exchange(changed);
    failures = trouble === "unreached" ? failures + 1 : 0;
    await write((stores) => stores.put("facts", trouble, "trouble"));
    await scheduleNext();
  } catch (error) {
    tell("outbox:failed", { sentence: /** @type {Error} */ (error).message });
    schedule(EVERY);
  }
  changed();
}

async function scheduleNext() {
  const left = await entries({ state: UNSENT, withUndone: true });
  const isHeld = left.some(({ state }) => state === "holding");
  if (left.length > 0) {
    schedule(failures > 0 ? pause(failures) : isHeld ? HOLD : EVERY);
  }
}

/**
 * How long to leave the server alone after so many failures in a row.
 * @param {number} times
 */
export function pause(times) {
  return Math.min(LONGEST_PAUSE, FIRST_PAUSE * 2 ** (times - 1)) * (0.75 + Math.random() / 4);
}

/** @param {number} milliseconds */
function schedule(milliseconds) {
  if (Date.now() + milliseconds < dueAt) {
    clearTimeout(timer);
    dueAt = Date.now() + milliseconds;
    timer = setTimeout(send, milliseconds);
  }
}

/**
 * @template T
 * @param {() => Promise<T>} act
 * @returns {Promise<T>}
 */
function alone(act) {
  return navigator.locks === undefined ? act() : navigator.locks.request("qc outbox", act);
}

/**
 * Entries held long enough wait from now on. One from the future shows a clock set back: it need not wait for that.
 * @param {Stores} stores
 * @param {number} [hold] milliseconds that are long enough
 */
async function release(stores, hold = HOLD) {
  for (const held of await stores.all("entries")) {
    const heldFor = Date.now() - Date.parse(held.entered_at);
    if (held.state === "holding" && (heldFor >= hold || heldFor < 0)) {
      await stores.put("entries", { ...held, state: "waiting" });
    }
  }
}

/** @param {Stores} stores */
async function prune(stores) {
  const all = await stores.all("entries");
  const isOver = (/** @type {Entry} */ each) =>
    (each.state.endsWith("kept") || each.replaced_by !== undefined) &&
    Date.now() - Date.parse(each.entered_at) > KEPT_FOR;
  for (const over of all.filter(isOver)) {
    await stores.remove("entries", over.uuid);
  }
  const named = new Set(all.filter((each) => !isOver(each)).flatMap(photosOf));
  for (const photo of await stores.all("photos")) {
    if (!named.has(photo.sha256)) {
      await stores.remove("photos", photo.sha256);
    }
  }
}

/**
 * @param {Stores} stores
 * @param {string} uuid
 * @param {Parameters<typeof writeEntry>[0]} given
 * @returns {Promise<number>} its number
 */
async function put(stores, uuid, { form, content, title, address, person, replaces = null, photos = [] }) {
  const written = await stores.get("entries", uuid);
  if (written !== undefined) {
    return written.sequence;
  }
  const sequence = (await stores.get("facts", "next sequence")) ?? 1;
  const entered_at = iso(new Date());
  const about = { title, address, replaces, state: "holding", sent: null, answer: null, tries: 0 };
  await setReplacement(stores, replaces, uuid);
  await stores.put("entries", { uuid, sequence, schema: SCHEMA, person, entered_at, form, content, ...about });
  await stores.put("facts", sequence + 1, "next sequence");
  if ((await stores.get("facts", "outbox")) === undefined) {
    await stores.put("facts", newUuid(), "outbox");
  }
  for (const photo of photos) {
    if ((await stores.get("photos", photo.sha256)) === undefined) {
      await stores.put("photos", { ...photo, sent: false });
    }
  }
  return sequence;
}

/**
 * @param {Stores} stores
 * @param {string | null | undefined} refused
 * @param {string | undefined} uuid of what replaces it now
 */
async function setReplacement(stores, refused, uuid) {
  const entry = refused && (await stores.get("entries", refused));
  if (entry) {
    await stores.put("entries", { ...entry, replaced_by: uuid });
  }
}

/**
 * @param {Blob} blob
 * @returns {Promise<string>}
 */
function base64(blob) {
  return new Promise((resolve, reject) => {
    const reader = new FileReader();
    reader.onload = () => resolve(String(reader.result).replace(/^[^,]*,/, ""));
    reader.onerror = () => reject(reader.error);
    reader.readAsDataURL(blob);
  });
}

/** Tells this page and all other pages of this tablet that the outbox changed. */
function changed() {
  tell("outbox:change");
  others?.postMessage("change");
}

/**
 * @param {string} name
 * @param {any} [detail]
 */
function tell(name, detail) {
  document.dispatchEvent(new CustomEvent(name, { detail }));
}
