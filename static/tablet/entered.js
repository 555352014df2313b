// What was entered on this tablet for the item of the page, laid over what the server knew when it made the page.

import { entries } from "./outbox.js";

/** @typedef {{verdict: string, entries: Record<string, string>, uuid: string, at: string, isAccepted?: boolean, entry: Record<string, any> | null}} Newest */

/**
 * The newest reading of each check, by its key; the tablet's own where that is newer.
 * @param {Record<string, any>} facts of the page
 * @returns {Promise<Map<string, Newest>>}
 */
export async function newestReadings(facts) {
  const newest = new Map();
  for (const asked of facts.steps.flat()) {
    if (asked.reading) newest.set(keyOf(asked), { ...asked.reading, entry: null });
  }
  for (const entry of await entries({ item: { item: facts.item, id: facts.id } })) lay(entry, newest);
  return newest;
}

/** @param {{characteristic: string, place: string}} check */
export const keyOf = ({ characteristic, place }) => `${characteristic}/${place}`;

/** @param {Record<string, any>} entry @param {Map<string, Newest>} newest */
function lay(entry, newest) {
  if (entry.form !== "readings" || entry.replaced_by || entry.set_aside) return;
  for (const reading of entry.content.readings) {
    const before = newest.get(keyOf(reading));
    const isNewer = !before || before.uuid === reading.uuid || new Date(before.at) <= new Date(entry.entered_at);
    // Only the server knows that a reading was accepted; a newer one is judged afresh.
    const isAccepted = before?.uuid === reading.uuid && before.isAccepted;
    if (isNewer) newest.set(keyOf(reading), { ...reading, verdict: verdictOf(entry, reading), isAccepted, at: entry.entered_at, entry });
  }
}

/** The server's verdict once it has answered. @param {Record<string, any>} entry @param {Record<string, any>} reading */
function verdictOf({ state, answer }, { uuid, verdict }) {
  if (state === "refused") return "attention";
  return answer?.readings?.find((/** @type {{uuid: string}} */ told) => told.uuid === uuid)?.verdict ?? verdict;
}
