/**
 * One round with the server: greet it, send what waits, take its answers.
 *
 * Nothing counts as answered unless the answer carries our own mark: a hotel's or a shop's network may answer
 * anything at all with a page of its own.
 *
 * @typedef {import("./entry.js").Entry} Entry
 * @typedef {import("./store.js").Stores} Stores
 * @typedef {"sign_in" | "enrol" | "unreached"} Trouble "enrol" for what was a tablet of the shop and is none any more
 */

import { asSent, iso, newUuid, photosOf, SCHEMA } from "./entry.js";
import { fact, look, setFact, write } from "./store.js";
import { language, word } from "./words.js";

const LARGEST_BATCH = 50;
const PATIENCE = 30_000;
/** With nothing to send, the server hears from the tablet this often, in milliseconds. */
const SIGN_OF_LIFE = 600_000;
/** Answers that blame what was sent. */
const BLAMING = [400, 413, 422];

/** The server cannot be had, or does not know who is here. */
export class NotNow extends Error {
  /**
   * @param {Trouble} trouble
   * @param {number} [status] of the answer, if there was one
   */
  constructor(trouble, status) {
    super(trouble);
    this.trouble = trouble;
    this.status = status;
  }
}

/**
 * Sends everything that waits, oldest first.
 * @param {() => void} changed is called after each step that changed an entry
 * @returns {Promise<Trouble | null>} what stood in the way
 */
export async function exchange(changed) {
  try {
    return await greeted((hello) => sendAs(hello, changed));
  } catch (error) {
    if (error instanceof NotNow) {
      return error.trouble;
    }
    throw error;
  }
}

/**
 * @param {Record<string, any>} hello
 * @param {() => void} changed
 * @returns {Promise<Trouble | null>}
 */
async function sendAs({ tablet, person, csrf }, changed) {
  if (tablet === null && person === null) {
    return (await fact("tablet")) === undefined ? "sign_in" : "enrol";
  }
  await sendAll(csrf, changed);
  return null;
}

/**
 * Greets the server and does something with the token that it gives; once more if another answer has outdated
 * that token meanwhile, as happens around a sign-in.
 * @template T
 * @param {(hello: Record<string, any>) => Promise<T>} act
 * @param {number} [patience] in milliseconds
 * @returns {Promise<T>}
 * @throws {NotNow}
 */
export async function greeted(act, patience) {
  try {
    return await act(await greet(patience));
  } catch (error) {
    if (!(error instanceof NotNow) || error.status !== 401) {
      throw error;
    }
    return act(await greet(patience));
  }
}

/**
 * Asks the server who is here, and what its clock says.
 * @param {number} [patience] in milliseconds
 * @returns {Promise<Record<string, any>>}
 * @throws {NotNow}
 */
export async function greet(patience) {
  const left = Date.now();
  const { body } = await ask("/tablet/hello", {}, patience);
  if (body === null) {
    throw new NotNow("unreached");
  }
  const at = Date.now();
  const ahead = (left + at) / 2 - Date.parse(body.clock);
  const { csrf, ...hello } = body;
  await write(async (stores) => {
    await stores.put("facts", { ...hello, at: iso(new Date(at)), ahead }, "hello");
    if (hello.tablet !== null) {
      await stores.put("facts", hello.tablet, "tablet");
    }
  });
  return body;
}

/**
 * Sends one request.
 * @param {string} path
 * @param {RequestInit} [options]
 * @param {number} [patience] in milliseconds
 * @returns {Promise<{status: number, body: Record<string, any> | null}>} the body only if it is our server's
 * @throws {NotNow}
 */
export async function ask(path, options = {}, patience = PATIENCE) {
  const answer = await fetch(path, {
    credentials: "same-origin",
    cache: "no-store",
    redirect: "manual",
    signal: AbortSignal.timeout(patience),
    ...options,
    headers: { "Accept-Language": language(), ...options.headers },
  }).catch(() => Promise.reject(new NotNow("unreached")));
  if (answer.status === 401) {
    throw new NotNow("sign_in", answer.status);
  }
  const body = await answer.json().catch(() => null);
  const isOurs = body?.log === "qc";
  if (!(answer.ok && isOurs) && !BLAMING.includes(answer.status)) {
    throw new NotNow("unreached", answer.status);
  }
  return { status: answer.status, body: isOurs ? body : null };
}

/**
 * Sends something of our own.
 * @param {string} path
 * @param {string} csrf the token of the last greeting
 * @param {any} content
 * @param {number} [patience] in milliseconds
 */
export function tellServer(path, csrf, content, patience) {
  const headers = { "X-CSRFToken": csrf, "Content-Type": "application/json" };
  return ask(path, { method: "POST", headers, body: JSON.stringify(content) }, patience);
}

/**
 * @param {string} csrf
 * @param {() => void} changed
 */
async function sendAll(csrf, changed) {
  /** @type {Set<string>} */
  const tried = new Set();
  let batch = await nextBatch(tried);
  if (batch.length === 0 && (await isSilent())) {
    await sendBatch([], csrf);
    batch = await nextBatch(tried);
  }
  for (; batch.length > 0; batch = await nextBatch(tried)) {
    batch.forEach(({ uuid }) => tried.add(uuid));
    await sendPhotos(batch, csrf);
    await sendBatch(batch, csrf);
    changed();
  }
}

/**
 * The oldest that wait, all written by the same version of the program.
 * @param {Set<string>} tried in this round already
 * @returns {Promise<Entry[]>}
 */
async function nextBatch(tried) {
  const all = await look((stores) => stores.ordered("entries", "sequence"));
  const waiting = all.filter(({ state, uuid }) => state.endsWith("waiting") && !tried.has(uuid));
  return waiting.filter(({ schema }) => schema === waiting[0].schema).slice(0, LARGEST_BATCH);
}

async function isSilent() {
  const last = await fact("last sent");
  return last === undefined || Date.now() - Date.parse(last) > SIGN_OF_LIFE;
}

/**
 * @param {Entry[]} batch
 * @param {string} csrf
 */
async function sendPhotos(batch, csrf) {
  for (const entry of batch) {
    for (const sha256 of photosOf(entry)) {
      const why = await sendPhoto(sha256, entry.person, csrf);
      if (why !== null) {
        await write((stores) => leavePhotoOut(stores, entry, sha256, why));
      }
    }
  }
}

/**
 * @param {string} sha256
 * @param {number} person
 * @param {string} csrf
 * @returns {Promise<string | null>} why the server will not have it
 */
async function sendPhoto(sha256, person, csrf) {
  const photo = await look((stores) => stores.get("photos", sha256));
  if (photo === undefined || photo.sent) {
    return null;
  }
  const headers = { "X-CSRFToken": csrf, "Content-Type": "image/jpeg" };
  const path = `/photo/${sha256}?person=${person}`;
  const { status, body } = await ask(path, { method: "PUT", headers, body: photo.blob });
  if (body !== null && BLAMING.includes(status)) {
    return body.sentence;
  }
  if (status === 200 && body !== null) {
    await write((stores) => stores.put("photos", { ...photo, sent: true }));
  }
  return null;
}

/**
 * What was measured matters more than its picture: the entry goes without it, and says so in the outbox.
 * @param {Stores} stores
 * @param {Entry} entry
 * @param {string} sha256
 * @param {string} why
 */
async function leavePhotoOut(stores, entry, sha256, why) {
  const isOther = (/** @type {string} */ photo) => photo !== sha256;
  const readings = entry.content.readings.map((/** @type {any} */ each) => ({ ...each, photos: each.photos.filter(isOther) }));
  entry.content = { ...entry.content, readings };
  entry.title = `${entry.title} · ${why}`;
  await stores.put("entries", entry);
}

/**
 * A batch that the server cannot take is sent one by one, so that one bad entry never blocks the others.
 * @param {Entry[]} batch
 * @param {string} csrf
 * @returns {Promise<void>}
 */
async function sendBatch(batch, csrf) {
  const answer = await post(batch, csrf);
  if (isTaken(answer)) {
    return write((stores) => take(stores, batch, answer.body));
  }
  if (batch.length > 1) {
    for (const entry of batch) {
      await sendBatch([entry], csrf);
    }
  } else if (batch.length === 1) {
    const isToBlame = answer.body !== null && isTaken(await post([], csrf, batch[0].schema));
    await write((stores) => settle(stores, batch[0], notTaken(answer, isToBlame)));
  }
}

/** @typedef {Awaited<ReturnType<typeof ask>>} Told */

/**
 * @param {Told} answer
 * @returns {answer is {status: number, body: Record<string, any>}}
 */
const isTaken = ({ status, body }) => status === 200 && body !== null;

/**
 * @param {Entry[]} batch
 * @param {string} csrf
 * @param {number} [schema]
 */
async function post(batch, csrf, schema = batch[0]?.schema ?? SCHEMA) {
  const known = await look(async (stores) => ({
    outbox: await stores.get("facts", "outbox"),
    next: (await stores.get("facts", "next sequence")) ?? 1,
  }));
  const outbox = known.outbox ?? newUuid();
  if (known.outbox === undefined) {
    await setFact("outbox", outbox);
  }
  const about = { outbox, schema, written: known.next - 1, clock: iso(new Date()) };
  return tellServer("/outbox", csrf, { ...about, entries: batch.map(asSent) });
}

/**
 * An answer in the place of the one that the server did not give to an entry it turned away. Unless the same
 * without the entry is taken, the entry is not to blame, and waits.
 * @param {Told} answer
 * @param {boolean} isToBlame
 */
function notTaken({ status, body }, isToBlame) {
  const sentence = body?.sentence ?? word("not_taken", { status });
  return { state: isToBlame ? "refused" : "later", reasons: [{ reading: null, field: null, sentence }] };
}

/**
 * @param {Stores} stores
 * @param {Entry[]} batch
 * @param {Record<string, any>} body
 */
async function take(stores, batch, body) {
  for (const entry of batch) {
    const answer = body.answers.find((/** @type {{uuid: string}} */ each) => each.uuid === entry.uuid);
    await settle(stores, entry, answer ?? { state: "later" });
  }
  const sent = new Set(batch.map(({ uuid }) => uuid));
  await sendAgain(stores, body.missing ?? [], sent);
  await stores.put("facts", iso(new Date()), "last sent");
}

/**
 * @param {Stores} stores
 * @param {Entry} sent
 * @param {Record<string, any>} answer
 */
async function settle(stores, { uuid }, answer) {
  const entry = await stores.get("entries", uuid);
  const { sentence, ...rest } = { ...entry, sent: iso(new Date()), tries: entry.tries + 1 };
  if (answer.state === "later") {
    const why = answer.reasons?.[0]?.sentence ?? answer.sentence ?? word("later");
    await stores.put("entries", { ...rest, sentence: why });
  } else {
    await stores.put("entries", { ...rest, answer, state: entry.form === "undone" ? "undone-kept" : answer.state });
  }
}

/**
 * Numbers that the server has not got, though this tablet thought it had: they wait again.
 * @param {Stores} stores
 * @param {number[]} missing
 * @param {Set<string>} sent just now
 */
async function sendAgain(stores, missing, sent) {
  const numbers = new Set(missing);
  for (const entry of await stores.all("entries")) {
    if (numbers.has(entry.sequence) && entry.state.endsWith("kept") && !sent.has(entry.uuid)) {
      await stores.put("entries", { ...entry, state: entry.form === "undone" ? "undone-waiting" : "waiting" });
    }
  }
}
