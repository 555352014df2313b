// Which panel is it? Its label is scanned with the tablet's camera, or with a hand scanner that types.

/**
 * Everything said here, in English; a page gives its own, translated, with the same places in braces. The last six are
 * answers of `findPanel`, the others stand beside the camera's picture.
 */
export const WORDS = {
  aim: "Hold the panel's label before the camera.",
  close: "Close",
  lightOn: "Light on",
  lightOff: "Light off",
  noCamera: "This tablet has no camera. Tap the panel in the list instead.",
  refused: "This page may not use the camera. Tap the panel in the list instead.",
  inUse: "Something else is using the camera. Tap the panel in the list instead.",
  insecure: "The camera works only at an address that begins with https. Tap the panel in the list instead.",
  failed: "The camera does not work now. Tap the panel in the list instead.",
  noLabel: "That is no panel's label. Hold a panel's label before the camera, or tap the panel in the list.",
  unknown: "This tablet knows no panel {label}. Check the label, or tap the panel in the list.",
  elsewhere: "Panel {label} waits at {station}, not here.",
  nowhere: "Panel {label} waits at no station: nothing is due on it.",
  held: "Panel {label} is on hold. Ask the shop lead.",
  choose: "There is a panel {label} in several buildings. Which building is it?",
};

/**
 * A label: the code of a building, or null where only a mark was given, and a panel mark.
 * @typedef {{ building: string | null, mark: string }} Label
 *
 * A panel that the tablet knows: where its page is, and the key and the name of the station where it waits, or null.
 * @typedef {{ building: string, mark: string, address: string, waitingAt: string | null,
 *   stationName: string | null, held: boolean }} KnownPanel
 *
 * Either the address to go to; or the key of a sentence in `WORDS`, the facts for its places, and the panels in
 * question: none, one that may be opened all the same, or several to choose from.
 * @typedef {{ address: string } | { key: keyof WORDS, facts: Record<string, string>, panels: KnownPanel[] }} Answer
 */

const LONGEST_TEXT = 500; // an address with a long host, code and mark
const LONGEST_CODE = 20;
const LONGEST_MARK = 40;
const UNPRINTABLE = /[\p{C}\p{Zl}\p{Zp}<>\\]/u;
const WAY_UP = /(^|\/)\.{1,2}(\/|$)/;
const OTHER_SCHEME = /^[a-z][a-z0-9+.-]+:/i;

/**
 * What a scanned text says: a label's address at any host, a code and a mark with a stroke between, or a mark alone.
 *
 * @param {string} text
 * @returns {Label | null} null where it is no label
 */
export function readLabel(text) {
  const trimmed = text.trim();
  if (trimmed.length > LONGEST_TEXT) {
    return null;
  }
  const name = /^https?:/i.test(trimmed) ? nameInAddress(trimmed) : trimmed;
  const isName = name !== null && !UNPRINTABLE.test(name) && !WAY_UP.test(name);
  return isName && !(name === trimmed && OTHER_SCHEME.test(name)) ? splitName(name) : null;
}

/** @param {string} text */
function nameInAddress(text) {
  try {
    const path = /\/p\/([^/]+\/.+)$/.exec(new URL(text).pathname);
    return path && decodeURIComponent(path[1]);
  } catch {
    return null; // no address after all
  }
}

/** @param {string} name */
function splitName(name) {
  const stroke = name.indexOf("/");
  const building = stroke < 0 ? null : name.slice(0, stroke).trim();
  const mark = name.slice(stroke + 1).trim();
  const isBuilding = building === null || (building !== "" && building.length <= LONGEST_CODE);
  const isMark = /[\p{L}\p{N}]/u.test(mark) && mark.length <= LONGEST_MARK;
  return isBuilding && isMark ? { building, mark } : null;
}

/**
 * The panel that a label names, if it waits at this station.
 *
 * @param {KnownPanel[]} list all panels that the tablet knows
 * @param {Label | null} label as `readLabel` gives it
 * @param {string} here the key of this tablet's station
 * @returns {Answer}
 */
export function findPanel(list, label, here) {
  if (label === null) {
    return { key: "noLabel", facts: {}, panels: [] };
  }
  const panels = list.filter((panel) => names(label, panel));
  const facts = { label: label.building === null ? label.mark : `${label.building}/${label.mark}` };
  if (panels.length !== 1) {
    return { key: panels.length === 0 ? "unknown" : "choose", facts, panels };
  }
  const [panel] = panels;
  const key = obstacle(panel, here);
  if (key === null) {
    return { address: panel.address };
  }
  return { key, facts: { label: `${panel.building}/${panel.mark}`, station: panel.stationName ?? "" }, panels };
}

/**
 * Whether a label names a panel, in capitals or not. Codes and marks may hold strokes themselves, so both are compared
 * in one.
 *
 * @param {Label} label
 * @param {KnownPanel} panel
 */
function names(label, panel) {
  const same = (/** @type {string} */ one, /** @type {string} */ other) => one.toLowerCase() === other.toLowerCase();
  if (label.building === null) {
    return same(label.mark, panel.mark);
  }
  const whole = `${label.building}/${label.mark}`;
  return same(whole, `${panel.building}/${panel.mark}`) || same(whole, panel.mark);
}

/**
 * @param {KnownPanel} panel
 * @param {string} here
 */
function obstacle(panel, here) {
  if (panel.held) {
    return "held";
  }
  if (panel.waitingAt === null) {
    return "nowhere";
  }
  return panel.waitingAt === here ? null : "elsewhere";
}

/**
 * A sentence with its facts in place.
 *
 * @param {string} words
 * @param {Record<string, string>} facts
 */
export const sentence = (words, facts) => words.replace(/\{(\w+)\}/g, (place, name) => facts[name] ?? place);

const FASTEST_PERSON = 50; // ms between keys: a scanner takes a few, a fast typist about 100 (from memory)
const SHORTEST_SCAN = 6; // characters
const ENDS = ["Enter", "Tab"];

/**
 * Listens for a hand scanner: many characters, faster than a person types, and Enter or Tab. It is heard while no field
 * has the focus or one with `data-scan`, which is emptied again. What a person types is left alone.
 *
 * @param {(text: string) => void} onText
 * @returns {() => void} stops listening
 */
export function listenForScanner(onText) {
  let typed = "";
  let last = -Infinity;
  const listening = new AbortController();

  const take = (/** @type {KeyboardEvent} */ event) => {
    if (event.key.length > 1 && !ENDS.includes(event.key)) {
      return; // Shift and its like, which a scanner presses too
    }
    const isScanner = event.timeStamp - last <= FASTEST_PERSON && isPlain(event);
    const before = isScanner ? typed : "";
    last = event.timeStamp;
    typed = "";
    if (!isPlain(event) || !mayScanInto(document.activeElement)) {
      return;
    }
    if (!ENDS.includes(event.key)) {
      typed = before + event.key;
      keepFromPage(event, before);
    } else if ([...before].length >= SHORTEST_SCAN) {
      event.preventDefault(); // Enter would press a button or send a form, Tab would move on
      emptyField(document.activeElement);
      onText(before);
    }
  };
  document.addEventListener("keydown", take, { capture: true, signal: listening.signal });
  return () => listening.abort();
}

/** @param {KeyboardEvent} event */
const isPlain = (event) => !event.ctrlKey && !event.altKey && !event.metaKey && !event.repeat && !event.isComposing;

/** @param {Element | null} element */
const isField = (element) => element?.matches("input, textarea, select, [contenteditable]") ?? false;

/** @param {Element | null} element */
const mayScanInto = (element) => !isField(element) || element.matches("[data-scan]");

/**
 * A space in the middle of a scan must not press the button that has the focus, nor scroll.
 *
 * @param {KeyboardEvent} event
 * @param {string} before
 */
function keepFromPage(event, before) {
  if (before !== "" && !isField(document.activeElement)) {
    event.preventDefault();
  }
}

/** @param {Element | null} element */
function emptyField(element) {
  if (element instanceof HTMLInputElement || element instanceof HTMLTextAreaElement) {
    element.value = "";
    element.dispatchEvent(new Event("input", { bubbles: true }));
  }
}

const BETWEEN_LOOKS = 100; // ms, so that an old tablet still answers to touch
const LONGEST_SIDE = 800; // dots of the picture that is searched: enough for a label that fills a quarter of it
const PICTURE = { facingMode: "environment", width: { ideal: 1280 }, height: { ideal: 720 } };
const REASONS = {
  NotFoundError: "noCamera",
  OverconstrainedError: "noCamera",
  NotAllowedError: "refused",
  SecurityError: "refused",
  NotReadableError: "inUse",
  AbortError: "inUse",
};

/** @typedef {{ video: HTMLVideoElement, said: HTMLElement, light: HTMLButtonElement }} View */
/** @typedef {(video: HTMLVideoElement) => Promise<string | null> | string | null} Reader */

/**
 * Fills an empty `<dialog>` with the camera's picture and looks for codes, until one is taken, the dialog is closed or
 * the page is hidden; the camera is then off. Where it cannot be used, the dialog says so in a sentence.
 *
 * @param {HTMLDialogElement} dialog
 * @param {(text: string) => string | void} onText takes what a code says; a sentence in return is shown, and the
 *   camera looks on
 * @param {typeof WORDS} words
 * @returns {Promise<void>} done when it looks no more
 */
export async function openCamera(dialog, onText, words = WORDS) {
  if (dialog.open) {
    return;
  }
  const view = fill(dialog, words);
  dialog.showModal();
  const closed = whenClosed(dialog);
  try {
    if (navigator.mediaDevices === undefined) {
      view.said.textContent = words.insecure;
      return;
    }
    const track = await openTrack(closed);
    track.addEventListener("ended", () => (view.said.textContent = words.failed));
    offerLight(track, view.light, words);
    view.video.srcObject = new MediaStream([track]);
    await view.video.play();
    await look(view, onText, closed);
    dialog.close();
  } catch (error) {
    if (!closed.aborted) {
      view.said.textContent = words[REASONS[error.name] ?? "failed"];
    }
  }
}

/**
 * @param {HTMLDialogElement} dialog
 * @param {typeof WORDS} words
 * @returns {View}
 */
function fill(dialog, words) {
  const video = document.createElement("video");
  video.muted = true;
  video.playsInline = true; // else a telephone shows it in a player of its own
  const said = document.createElement("p");
  said.setAttribute("role", "status");
  said.textContent = words.aim;
  const light = key(words.lightOn);
  light.hidden = true;
  const close = key(words.close);
  close.addEventListener("click", () => dialog.close());
  dialog.classList.add("camera");
  dialog.setAttribute("aria-label", words.aim);
  const keys = document.createElement("div");
  keys.append(close, light);
  dialog.replaceChildren(video, said, keys);
  return { video, said, light };
}

/** @param {string} text */
function key(text) {
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = text;
  return button;
}

/**
 * Closes the dialog when the page is hidden, and tells when it was closed for whatever reason.
 *
 * @param {HTMLDialogElement} dialog
 */
function whenClosed(dialog) {
  const closing = new AbortController();
  const { signal } = closing;
  dialog.addEventListener("close", () => closing.abort(), { signal });
  window.addEventListener("pagehide", () => dialog.close(), { signal });
  document.addEventListener("visibilitychange", () => document.hidden && dialog.close(), { signal });
  signal.addEventListener("abort", () => dialog.replaceChildren());
  return signal;
}

/**
 * The picture of the back camera, or of another where there is none at the back; off as soon as it is closed.
 *
 * @param {AbortSignal} closed
 */
async function openTrack(closed) {
  const stream = await navigator.mediaDevices.getUserMedia({ video: PICTURE });
  const [track] = stream.getVideoTracks();
  closed.addEventListener("abort", () => track.stop());
  if (closed.aborted) {
    track.stop(); // it was closed while the browser still asked for permission
  }
  closed.throwIfAborted();
  return track;
}

/**
 * @param {MediaStreamTrack} track
 * @param {HTMLButtonElement} light
 * @param {typeof WORDS} words
 */
function offerLight(track, light, words) {
  let isOn = false;
  light.hidden = !track.getCapabilities?.().torch;
  light.addEventListener("click", async () => {
    try {
      await track.applyConstraints({ advanced: [{ torch: !isOn }] });
      isOn = !isOn;
      light.textContent = isOn ? words.lightOff : words.lightOn;
    } catch {
      light.hidden = true; // it said it had one
    }
  });
}

/**
 * @param {View} view
 * @param {(text: string) => string | void} onText
 * @param {AbortSignal} closed
 */
async function look(view, onText, closed) {
  const read = await newReader();
  let last = null;
  while (!closed.aborted) {
    const text = await read(view.video);
    if (text !== null && text !== last && !closed.aborted) {
      last = text;
      const answer = onText(text);
      if (answer === undefined) {
        return;
      }
      view.said.textContent = answer;
    }
    await new Promise((resolve) => setTimeout(resolve, BETWEEN_LOOKS));
  }
}

/**
 * The browser's own reader of codes where it has one, else the one that comes with these pages; also when the first
 * gives up, as some do that only promise to read.
 *
 * @returns {Promise<Reader>}
 */
async function newReader() {
  let read = (await browsersReader()) ?? (await ownReader());
  return async (video) => {
    try {
      return await read(video);
    } catch {
      read = await ownReader();
      return null;
    }
  };
}

/** @returns {Promise<Reader | null>} */
async function browsersReader() {
  const formats = (await window.BarcodeDetector?.getSupportedFormats()) ?? [];
  if (!formats.includes("qr_code")) {
    return null;
  }
  const detector = new BarcodeDetector({ formats: ["qr_code"] });
  return async (video) => (await detector.detect(video))[0]?.rawValue ?? null;
}

/** @returns {Promise<Reader>} */
async function ownReader() {
  await import("../vendor/jsqr.js"); // leaves its function in the window
  const context = document.createElement("canvas").getContext("2d", { willReadFrequently: true });
  return (video) => {
    const { data, width, height } = picture(video, context);
    return window.jsQR(data, width, height, { inversionAttempts: "dontInvert" })?.data || null;
  };
}

/**
 * @param {HTMLVideoElement} video
 * @param {CanvasRenderingContext2D} context
 */
function picture(video, context) {
  const scale = Math.min(1, LONGEST_SIDE / Math.max(video.videoWidth, video.videoHeight));
  const width = Math.round(video.videoWidth * scale);
  const height = Math.round(video.videoHeight * scale);
  Object.assign(context.canvas, { width, height });
  context.drawImage(video, 0, 0, width, height);
  return context.getImageData(0, 0, width, height);
}
