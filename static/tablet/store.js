/**
 * The tablet's memory: promises over IndexedDB.
 *
 * What is written is promised only when its transaction is complete on the disk. A handle that the browser lost,
 * as it does to pages in the background, is dropped and opened anew once; after that the worker is told.
 */

import { word } from "./words.js";

const NAME = "qc";
const VERSION = 1;
const ALL = ["entries", "photos", "facts"];

/** Less room than either of these is little: 50 MB, or a twentieth of what the browser grants. */
const LEAST_ROOM = 50 * 1024 * 1024;
const LEAST_SHARE = 0.05;

/** The tablet cannot keep what it was given. Its message is a sentence for the worker. */
export class StoreFailed extends Error {
  /**
   * @param {string} key of the sentence
   * @param {unknown} [cause]
   */
  constructor(key, cause) {
    super(word(key), { cause });
    this.name = new.target.name;
  }
}

/** There is no room left on the tablet. */
export class NoRoom extends StoreFailed {}

/**
 * What a piece of work may do within its transaction. Nothing else may be waited for there, or it ends.
 * @typedef {object} Stores
 * @property {(store: string, key: IDBValidKey) => Promise<any>} get
 * @property {(store: string) => Promise<any[]>} all in the order of their keys
 * @property {(store: string, index: string) => Promise<any[]>} ordered all of them, in the order of an index
 * @property {(store: string, value: any, key?: IDBValidKey) => Promise<IDBValidKey>} put
 * @property {(store: string, key: IDBValidKey) => Promise<undefined>} remove
 */

/** @type {Promise<IDBDatabase> | null} */
let opening = null;

/**
 * Does the work in one transaction over everything; gives its result once that is safely on the disk.
 * @template T
 * @param {(stores: Stores) => Promise<T>} work may run twice, so it must not do harm by that
 * @returns {Promise<T>}
 */
export function write(work) {
  return withSecondTry("readwrite", work);
}

/**
 * Looks things up in one transaction.
 * @template T
 * @param {(stores: Stores) => Promise<T>} work
 * @returns {Promise<T>}
 */
export function look(work) {
  return withSecondTry("readonly", work);
}

/**
 * @param {string} key
 * @returns {Promise<any>} undefined where nothing is known
 */
export const fact = (key) => look((stores) => stores.get("facts", key));

/**
 * @param {string} key
 * @param {any} value
 */
export const setFact = (key, value) => write((stores) => stores.put("facts", value, key));

/**
 * How the browser keeps the memory, and how much room is left, in bytes.
 * @returns {Promise<{persisted: boolean, usage: number, quota: number, isLow: boolean}>}
 */
export async function storage() {
  const { usage = 0, quota = 0 } = (await navigator.storage?.estimate?.()) ?? {};
  const persisted = (await navigator.storage?.persisted?.()) ?? false;
  const left = quota - usage;
  return { persisted, usage, quota, isLow: quota > 0 && (left < LEAST_ROOM || left < quota * LEAST_SHARE) };
}

/** Asks the browser, after the first touch, never to clear the memory by itself. */
export function askToPersist() {
  const ask = () => navigator.storage?.persist?.().catch(() => false);
  document.addEventListener("pointerup", ask, { once: true });
}

/**
 * @template T
 * @param {IDBTransactionMode} mode
 * @param {(stores: Stores) => Promise<T>} work
 */
async function withSecondTry(mode, work) {
  try {
    return await attempt(mode, work);
  } catch (error) {
    if (!isLost(error)) {
      throw inWords(error);
    }
  }
  await forget();
  return attempt(mode, work).catch((error) => Promise.reject(inWords(error)));
}

/**
 * @template T
 * @param {IDBTransactionMode} mode
 * @param {(stores: Stores) => Promise<T>} work
 * @returns {Promise<T>}
 */
async function attempt(mode, work) {
  const database = await open();
  return new Promise((resolve, reject) => {
    const transaction = database.transaction(ALL, mode, { durability: "strict" });
    /** @type {T} */
    let result;
    /** @type {unknown} */
    let failure = null;
    transaction.oncomplete = () => resolve(result);
    transaction.onabort = () => reject(failure ?? transaction.error);
    work(storesOf(transaction)).then(
      (value) => (result = value),
      (error) => {
        failure = error;
        abort(transaction);
        reject(error);
      },
    );
  });
}

/** @param {IDBTransaction} transaction */
function abort(transaction) {
  try {
    transaction.abort();
  } catch {
    // It has ended by itself already.
  }
}

/**
 * @param {IDBTransaction} transaction
 * @returns {Stores}
 */
function storesOf(transaction) {
  const store = (/** @type {string} */ name) => transaction.objectStore(name);
  return {
    get: async (name, key) => answer(store(name).get(key)),
    all: async (name) => answer(store(name).getAll()),
    ordered: async (name, index) => answer(store(name).index(index).getAll()),
    put: async (name, value, key) => answer(store(name).put(value, key)),
    remove: async (name, key) => answer(store(name).delete(key)),
  };
}

/**
 * @template T
 * @param {IDBRequest<T>} request
 * @returns {Promise<T>}
 */
function answer(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

/** @returns {Promise<IDBDatabase>} */
function open() {
  opening ??= openAnew().catch((error) => {
    opening = null;
    throw error;
  });
  return opening;
}

/** @returns {Promise<IDBDatabase>} */
function openAnew() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, VERSION);
    request.onupgradeneeded = () => create(request.result);
    request.onblocked = () => reject(new StoreFailed("store_blocked"));
    request.onerror = () => reject(request.error);
    request.onsuccess = () => resolve(watched(request.result));
  });
}

/** @param {IDBDatabase} database */
function create(database) {
  database.createObjectStore("entries", { keyPath: "uuid" }).createIndex("sequence", "sequence", { unique: true });
  database.createObjectStore("photos", { keyPath: "sha256" });
  database.createObjectStore("facts");
}

/**
 * Lets go of the handle when a newer page wants to change the stores, or when the browser takes it away.
 * @param {IDBDatabase} database
 */
function watched(database) {
  database.onversionchange = () => forget();
  database.onclose = () => forget();
  return database;
}

async function forget() {
  const dropped = opening;
  opening = null;
  await dropped?.then((database) => database.close()).catch(() => undefined);
}

/** @param {any} error */
function isLost(error) {
  return ["UnknownError", "InvalidStateError"].includes(error?.name) || /connection.*lost/i.test(error?.message);
}

/** @param {any} error */
function inWords(error) {
  if (error?.name === "QuotaExceededError") {
    return new NoRoom("no_room", error);
  }
  if (error?.name === "VersionError") {
    return new StoreFailed("store_newer", error);
  }
  return error instanceof DOMException || error === null ? new StoreFailed("store_failed", error) : error;
}
