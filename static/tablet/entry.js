/**
 * One entry: what it holds, and what of it goes to the server.
 *
 * @typedef {object} Entry
 * @property {string} uuid
 * @property {number} sequence its number on this tablet
 * @property {number} schema of the program version that wrote it
 * @property {number} person who entered it
 * @property {string} entered_at with the offset of the tablet's clock
 * @property {"readings" | "lot" | "material" | "lot_use" | "instrument_check" | "undone"} form
 * @property {Record<string, any>} content
 * @property {"holding" | "waiting" | "refused" | "kept" | "undone-waiting" | "undone-kept"} state
 * @property {string} title words for lists
 * @property {string} address of the page it was entered on
 * @property {string | null} sent when it was last sent
 * @property {Record<string, any> | null} answer
 * @property {number} tries how often it was sent
 * @property {string} [sentence] why it still waits
 * @property {string | null} [replaces] the uuid of the refused entry that this one puts right
 * @property {string} [replaced_by] the uuid of the entry that puts this refused one right
 * @property {{reason: string, at: string}} [set_aside]
 */

/** Of the entries that this version of the program writes. */
export const SCHEMA = 1;

/** States of entries that the server has not answered for. */
export const UNSENT = ["holding", "waiting", "undone-waiting"];

/**
 * What goes to the server.
 * @param {Entry} entry
 */
export function asSent({ uuid, sequence, person, entered_at, form, content }) {
  return { uuid, sequence, person, entered_at, form, content };
}

/**
 * The photos that an entry names; none once it is undone.
 * @param {Entry} entry
 * @returns {string[]} each a SHA-256
 */
export function photosOf({ content }) {
  return (content.readings ?? []).flatMap((/** @type {{photos?: string[]}} */ reading) => reading.photos ?? []);
}

/**
 * Whether a refused entry still waits for somebody to correct it or to set it aside.
 * @param {Entry} entry
 */
export function needsAttention({ state, set_aside, replaced_by }) {
  return state === "refused" && set_aside === undefined && replaced_by === undefined;
}

/** A random uuid (RFC 9562, version 4), also where the browser offers no `randomUUID`, as on plain http. */
export function newUuid() {
  if (crypto.randomUUID !== undefined) {
    return crypto.randomUUID();
  }
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const digits = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return digits.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

/**
 * A moment as ISO 8601 with the offset of the tablet's clock.
 * @param {Date} moment
 */
export function iso(moment) {
  const offset = -moment.getTimezoneOffset();
  const local = new Date(moment.getTime() + offset * 60_000).toISOString().slice(0, -1);
  const two = (/** @type {number} */ number) => String(number).padStart(2, "0");
  const size = Math.abs(offset);
  return `${local}${offset < 0 ? "-" : "+"}${two(Math.floor(size / 60))}:${two(size % 60)}`;
}
