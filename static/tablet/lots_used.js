// The lots that went into the panel of the page: scanned or typed, and written into the outbox.

import { element, key } from "./element.js";
import { entries, writeEntry } from "./outbox.js";
import { author } from "./people.js";
import { listenForScanner, openCamera } from "./scan.js";
import { word } from "./words.js";

const words = JSON.parse(document.getElementById("lot-words").textContent);
const LONGEST_MARK = 40;
const UNPRINTABLE = /[\p{C}\p{Zl}\p{Zp}<>\\]/u;

/**
 * The mark that a scanned or typed text gives: a lot label's address at any host, or the mark itself.
 * @param {string} text
 * @returns {string | null} null where it is none
 */
export function lotMark(text) {
  const trimmed = text.trim();
  const mark = /^https?:/i.test(trimmed) ? markInAddress(trimmed) : trimmed;
  const isMark = mark !== null && !mark.includes("://") && mark.length <= LONGEST_MARK && /[\p{L}\p{N}]/u.test(mark) && !UNPRINTABLE.test(mark);
  return isMark ? mark : null;
}

/** @param {string} text */
function markInAddress(text) {
  try {
    const path = /\/l\/(.+)$/.exec(new URL(text).pathname);
    return path && decodeURIComponent(path[1]);
  } catch {
    return null; // no address after all
  }
}

/**
 * Shows the lots of a panel, and takes another.
 * @param {Record<string, any>} facts of the page
 * @param {Record<string, any>} [refused] the entry that is put right
 */
export async function open(facts, refused) {
  const dialog = element("dialog", { className: "people lots", "aria-labelledby": "lots-title" });
  const list = element("ul", { className: "open" });
  const said = element("p", { className: "error", role: "alert", hidden: true });
  const done = element("p", { role: "status" });
  const input = element("input", { type: "text", id: "lot-mark", autocomplete: "off", spellcheck: false, maxLength: 500 });
  let replaced = refused?.uuid ?? null;

  const take = async (/** @type {string} */ text) => {
    const mark = lotMark(text);
    said.hidden = mark !== null;
    said.textContent = mark === null ? words.noMark : "";
    if (mark === null) return words.noMark;
    if (!(await write(facts, mark, replaced, said))) return undefined;
    replaced = null;
    input.value = "";
    done.textContent = `✓ ${mark} · ${words.saved}`;
    await showUsed(list, facts);
    return undefined;
  };
  const camera = key(words.scan, () => scan(take));
  const form = element("form", {}, element("div", { className: "row" }, element("label", { htmlFor: "lot-mark" }, words.mark), said, input), done,
    element("div", { className: "ways" }, element("button", { type: "submit", className: "primary" }, words.save), camera));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    take(input.value);
  });
  const title = words.title.replace("{mark}", facts.mark);
  dialog.append(element("header", {}, element("h2", { id: "lots-title" }, title), key(word("close"), () => dialog.close(), "quiet")), list, form);
  // A hand scanner types into the field and presses Enter; elsewhere in the dialog it is heard all the same.
  const stop = listenForScanner(take);
  dialog.addEventListener("close", () => {
    stop();
    dialog.remove();
  });
  document.body.append(dialog);
  await showUsed(list, facts);
  dialog.showModal();
  input.value = refused?.content.mark ?? "";
  if (refused) Object.assign(said, { hidden: false, textContent: (refused.answer?.reasons ?? []).map((/** @type {any} */ { sentence }) => sentence).join(" ") });
  input.focus();
}

/** @param {(text: string) => Promise<string | undefined>} take */
function scan(take) {
  const camera = element("dialog", { className: "scan" });
  camera.addEventListener("close", () => camera.remove());
  document.body.append(camera);
  const own = { ...word("scan"), aim: words.aim };
  for (const failing of ["noCamera", "refused", "inUse", "insecure", "failed"]) own[failing] = words.byHand;
  return openCamera(camera, (text) => {
    if (lotMark(text) === null) return words.noMark;
    take(text);
    return undefined;
  }, own);
}

/**
 * @param {Record<string, any>} facts @param {string} mark @param {string | null} replaced @param {HTMLElement} said
 * @returns {Promise<boolean>} whether it is written
 */
async function write(facts, mark, replaced, said) {
  try {
    const person = await author();
    if (person === null) return false;
    const content = { station: facts.station, item: facts.item, id: facts.id, mark };
    const made = { form: /** @type {const} */ ("lot_use"), content, person: person.id, title: `${facts.mark} · ${mark}`, address: location.pathname + location.search };
    await writeEntry({ ...made, replaces: replaced });
    return true;
  } catch (failed) {
    Object.assign(said, { hidden: false, textContent: word("saveFailed", { sentence: failed.message }) });
    return false;
  }
}

/** What the server knew when it made the page, and what this tablet wrote since. @param {HTMLElement} list @param {Record<string, any>} facts */
async function showUsed(list, facts) {
  const own = (await entries({ item: { item: facts.item, id: facts.id } }))
    .filter((entry) => entry.form === "lot_use" && entry.content.station === facts.station && entry.state !== "refused");
  const known = new Map([...facts.lots.map(({ uuid, mark }) => [uuid, mark]), ...own.map(({ uuid, content }) => [uuid, content.mark])]);
  const marks = [...new Set(known.values())];
  list.replaceChildren(...(marks.length ? marks : [words.none]).map((mark) => element("li", {}, mark)));
}
